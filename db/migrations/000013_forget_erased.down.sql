-- Erased anglers get a name again that tells nothing; withdrawn analyses become failed ones. What was forgotten stays so.
DROP INDEX analyses_checkpoint_key;
ALTER TABLE analyses DROP CONSTRAINT analyses_withdrawn_check, DROP CONSTRAINT analyses_state_check;
UPDATE analyses SET state = 'failed', failure = 'withdrawn' WHERE state = 'withdrawn';
ALTER TABLE analyses ADD CONSTRAINT analyses_state_check CHECK (state IN ('queued', 'done', 'failed'));
CREATE UNIQUE INDEX analyses_checkpoint_key ON analyses (trial_id, checkpoint) WHERE state <> 'failed';
ALTER TABLE analyses DROP COLUMN withdrawn_at;
UPDATE enrolments SET pseudonym = 'erased ' || id WHERE pseudonym IS NULL;
ALTER TABLE enrolments DROP CONSTRAINT enrolments_pseudonym_check;
ALTER TABLE enrolments ALTER COLUMN pseudonym SET NOT NULL;
ALTER TABLE enrolments DROP COLUMN erased_outings, DROP COLUMN erased_fish;
