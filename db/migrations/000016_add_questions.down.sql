DROP TABLE questions;
ALTER TABLE enrolments DROP COLUMN guardian_by, DROP COLUMN guardian_at;
