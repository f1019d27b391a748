-- How people get in: passwords, sessions, single-use links, offers of the organiser's role, and what happened to accounts.

ALTER TABLE accounts ADD COLUMN email text, ADD COLUMN password text;
ALTER TABLE accounts ADD CONSTRAINT accounts_email_key UNIQUE (email);
ALTER TABLE accounts ADD CONSTRAINT accounts_email_check CHECK (email = lower(email));

-- A token without scopes was made before there were any and has them all.
ALTER TABLE tokens ADD COLUMN scopes text[], ADD COLUMN expires_at timestamptz, ADD COLUMN last_used_at timestamptz;
ALTER TABLE tokens ADD CONSTRAINT tokens_scopes_check CHECK (scopes <@ ARRAY['read', 'log', 'organise', 'account']);

ALTER TABLE invitations ADD COLUMN name text;

-- Who was a member may still keep his own records.
ALTER TABLE memberships DROP CONSTRAINT memberships_role_check;
ALTER TABLE memberships ADD CONSTRAINT memberships_role_check CHECK (role IN ('organiser', 'angler', 'auditor', 'former'));

CREATE TABLE sessions (
    id         uuid        NOT NULL,
    account_id uuid        NOT NULL,
    hash       bytea       NOT NULL,
    created_at timestamptz NOT NULL,
    used_at    timestamptz NOT NULL,
    CONSTRAINT sessions_pkey PRIMARY KEY (id),
    CONSTRAINT sessions_hash_key UNIQUE (hash),
    CONSTRAINT sessions_account_fkey FOREIGN KEY (account_id) REFERENCES accounts (id),
    CONSTRAINT sessions_hash_check CHECK (octet_length(hash) = 32)
);
CREATE INDEX sessions_account_idx ON sessions (account_id, id);

CREATE TABLE links (
    id         uuid        NOT NULL,
    kind       text        NOT NULL,
    hash       bytea       NOT NULL,
    account_id uuid,
    club_id    uuid,
    made_by    uuid,
    made_at    timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    used_at    timestamptz,
    CONSTRAINT links_pkey PRIMARY KEY (id),
    CONSTRAINT links_hash_key UNIQUE (hash),
    CONSTRAINT links_account_fkey FOREIGN KEY (account_id) REFERENCES accounts (id),
    CONSTRAINT links_club_fkey FOREIGN KEY (club_id) REFERENCES clubs (id),
    CONSTRAINT links_kind_check CHECK (kind IN ('reset', 'first_admin') AND (kind = 'reset') = (account_id IS NOT NULL)),
    CONSTRAINT links_hash_check CHECK (octet_length(hash) = 32)
);
CREATE INDEX links_account_idx ON links (account_id, id);

CREATE TABLE handovers (
    id           uuid        NOT NULL,
    club_id      uuid        NOT NULL,
    from_account uuid        NOT NULL,
    to_account   uuid        NOT NULL,
    offered_at   timestamptz NOT NULL,
    expires_at   timestamptz NOT NULL,
    taken_at     timestamptz,
    ended_at     timestamptz,
    CONSTRAINT handovers_pkey PRIMARY KEY (id),
    CONSTRAINT handovers_club_fkey FOREIGN KEY (club_id) REFERENCES clubs (id),
    CONSTRAINT handovers_from_fkey FOREIGN KEY (from_account) REFERENCES accounts (id),
    CONSTRAINT handovers_to_fkey FOREIGN KEY (to_account) REFERENCES accounts (id),
    CONSTRAINT handovers_ended_check CHECK (taken_at IS NULL OR ended_at IS NULL)
);
CREATE INDEX handovers_club_idx ON handovers (club_id, id);

CREATE TABLE events (
    id         uuid        NOT NULL,
    account_id uuid        NOT NULL,
    kind       text        NOT NULL,
    by_account uuid,
    club_id    uuid,
    at         timestamptz NOT NULL,
    CONSTRAINT events_pkey PRIMARY KEY (id),
    CONSTRAINT events_account_fkey FOREIGN KEY (account_id) REFERENCES accounts (id),
    CONSTRAINT events_club_fkey FOREIGN KEY (club_id) REFERENCES clubs (id)
);
CREATE INDEX events_account_idx ON events (account_id, id);
CREATE INDEX events_club_idx ON events (club_id, id);
