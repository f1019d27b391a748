DROP TABLE events, handovers, links, sessions;
DELETE FROM memberships WHERE role = 'former';
ALTER TABLE memberships DROP CONSTRAINT memberships_role_check;
ALTER TABLE memberships ADD CONSTRAINT memberships_role_check CHECK (role IN ('organiser', 'angler', 'auditor'));
ALTER TABLE invitations DROP COLUMN name;
ALTER TABLE tokens DROP COLUMN scopes, DROP COLUMN expires_at, DROP COLUMN last_used_at;
ALTER TABLE accounts DROP COLUMN email, DROP COLUMN password;
