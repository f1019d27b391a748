-- What erasing an angler leaves: numbers. Ids of version 7 tell the millisecond in which each fish was noted, so of an
-- erased record stands only what of its id may be published (its first 48 bits cleared); and analyses that counted the
-- angler keep no byte of what they read or found.

ALTER TABLE enrolments ALTER COLUMN pseudonym DROP NOT NULL;
ALTER TABLE enrolments
    ADD COLUMN erased_outings bigint,
    ADD COLUMN erased_fish    bigint,
    ADD CONSTRAINT enrolments_pseudonym_check CHECK (pseudonym IS NOT NULL OR erased_at IS NOT NULL);

ALTER TABLE analyses ADD COLUMN withdrawn_at timestamptz;
ALTER TABLE analyses DROP CONSTRAINT analyses_state_check;
ALTER TABLE analyses
    ADD CONSTRAINT analyses_state_check CHECK (state IN ('queued', 'done', 'failed', 'withdrawn')),
    ADD CONSTRAINT analyses_withdrawn_check
        CHECK ((state = 'withdrawn') = (withdrawn_at IS NOT NULL) AND (state <> 'withdrawn' OR (input IS NULL AND result IS NULL)));
DROP INDEX analyses_checkpoint_key;
CREATE UNIQUE INDEX analyses_checkpoint_key ON analyses (trial_id, checkpoint) WHERE state NOT IN ('failed', 'withdrawn');

-- Who was erased before: counted from the chain, which still says how many records of a kind there were.
UPDATE enrolments e
SET pseudonym = NULL,
    erased_outings = (SELECT count(*) FROM ledger_entries l WHERE l.trial_id = e.trial_id AND l.chain_id = e.id AND l.kind = 'outing'),
    erased_fish = (SELECT count(*) FROM ledger_entries l WHERE l.trial_id = e.trial_id AND l.chain_id = e.id AND l.kind = 'catch')
WHERE e.erased_at IS NOT NULL;
UPDATE ledger_entries l
SET subject = ('00000000-0000' || substr(l.subject::text, 14))::uuid
FROM enrolments e
WHERE e.erased_at IS NOT NULL AND l.trial_id = e.trial_id AND l.chain_id = e.id AND substr(l.subject::text, 15, 1) = '7';
UPDATE tombstones SET id = ('00000000-0000' || substr(id::text, 14))::uuid WHERE substr(id::text, 15, 1) = '7';
UPDATE analyses a
SET state = 'withdrawn', withdrawn_at = e.erased_at, input = NULL, result = NULL, failure = ''
FROM enrolments e
WHERE e.trial_id = a.trial_id AND e.erased_at IS NOT NULL AND a.requested_at BETWEEN e.enrolled_at AND e.erased_at;
UPDATE looks l
SET decision = CASE decision WHEN '' THEN 'no_decision' ELSE decision END, information = NULL, fraction = NULL, spent = NULL,
    boundary_p = NULL, p = NULL, log_odds = NULL, e_value = NULL, share_low = NULL, share_high = NULL
FROM analyses a
WHERE a.trial_id = l.trial_id AND a.n = l.analysis AND a.state = 'withdrawn';
