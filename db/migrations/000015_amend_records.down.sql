ALTER TABLE counts DROP COLUMN analysed;
DROP TABLE dispute_decisions;
DROP TABLE disputes;
DROP TABLE welfare_overrides;
DROP TABLE temperatures;
ALTER TABLE catches DROP COLUMN welfare, DROP COLUMN disputed;
ALTER TABLE outings DROP COLUMN version, DROP COLUMN void, DROP COLUMN disputed;
-- Earlier programs know one version.
DELETE FROM protocols WHERE version > 1;
UPDATE trials SET protocol_version = 1 WHERE protocol_version > 1;
UPDATE outings SET protocol_version = 1 WHERE protocol_version > 1;
ALTER TABLE protocols DROP COLUMN at, DROP COLUMN by_account, DROP COLUMN reason;
