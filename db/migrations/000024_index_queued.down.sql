DROP INDEX publications_queued_idx, analyses_queued_idx;
