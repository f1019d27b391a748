-- What waits is looked for each minute: it is few among the many that are done.
CREATE INDEX analyses_queued_idx ON analyses (trial_id, n) WHERE state = 'queued';
CREATE INDEX publications_queued_idx ON publications (trial_id, edition) WHERE state = 'queued';
