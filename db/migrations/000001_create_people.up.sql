-- The small tables: people, clubs and what lets them in. They are not spread by trial.

CREATE TABLE accounts (
    id         uuid        NOT NULL,
    name       text        NOT NULL,
    admin      boolean     NOT NULL,
    created_at timestamptz NOT NULL,
    CONSTRAINT accounts_pkey PRIMARY KEY (id)
);

CREATE TABLE tokens (
    id         uuid        NOT NULL,
    account_id uuid        NOT NULL,
    name       text        NOT NULL,
    hash       bytea       NOT NULL,
    created_at timestamptz NOT NULL,
    revoked_at timestamptz,
    CONSTRAINT tokens_pkey PRIMARY KEY (id),
    CONSTRAINT tokens_hash_key UNIQUE (hash),
    CONSTRAINT tokens_account_fkey FOREIGN KEY (account_id) REFERENCES accounts (id),
    CONSTRAINT tokens_hash_check CHECK (octet_length(hash) = 32)
);
CREATE INDEX tokens_account_idx ON tokens (account_id, id);

CREATE TABLE clubs (
    id         uuid        NOT NULL,
    name       text        NOT NULL,
    created_at timestamptz NOT NULL,
    CONSTRAINT clubs_pkey PRIMARY KEY (id)
);

CREATE TABLE memberships (
    club_id    uuid        NOT NULL,
    account_id uuid        NOT NULL,
    role       text        NOT NULL,
    joined_at  timestamptz NOT NULL,
    CONSTRAINT memberships_pkey PRIMARY KEY (club_id, account_id),
    CONSTRAINT memberships_club_fkey FOREIGN KEY (club_id) REFERENCES clubs (id),
    CONSTRAINT memberships_account_fkey FOREIGN KEY (account_id) REFERENCES accounts (id),
    CONSTRAINT memberships_role_check CHECK (role IN ('organiser', 'angler', 'auditor'))
);
CREATE INDEX memberships_account_idx ON memberships (account_id, club_id);

CREATE TABLE invitations (
    id         uuid        NOT NULL,
    club_id    uuid        NOT NULL,
    role       text        NOT NULL,
    hash       bytea       NOT NULL,
    uses       integer     NOT NULL,
    used       integer     NOT NULL,
    created_by uuid        NOT NULL,
    created_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    revoked_at timestamptz,
    CONSTRAINT invitations_pkey PRIMARY KEY (id),
    CONSTRAINT invitations_hash_key UNIQUE (hash),
    CONSTRAINT invitations_club_fkey FOREIGN KEY (club_id) REFERENCES clubs (id),
    CONSTRAINT invitations_role_check CHECK (role IN ('organiser', 'angler', 'auditor')),
    CONSTRAINT invitations_hash_check CHECK (octet_length(hash) = 32),
    CONSTRAINT invitations_used_check CHECK (used BETWEEN 0 AND uses)
);
CREATE INDEX invitations_club_idx ON invitations (club_id, id);
