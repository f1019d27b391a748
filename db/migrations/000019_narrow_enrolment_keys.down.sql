DROP INDEX enrolments_account_key;
ALTER TABLE enrolments ADD CONSTRAINT enrolments_account_key UNIQUE (trial_id, account_id);
