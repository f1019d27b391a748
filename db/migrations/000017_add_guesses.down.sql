ALTER TABLE enrolments DROP COLUMN guess;
