-- Whose enrolment it is, is looked up by account; the way of a catch looks enrolments up by their id. A key over every row begins like the
-- primary key, which the server may take for it while the table is nearly empty; only what asks for an account can use this one.
ALTER TABLE enrolments DROP CONSTRAINT enrolments_account_key;
CREATE UNIQUE INDEX enrolments_account_key ON enrolments (trial_id, account_id) WHERE account_id IS NOT NULL;
