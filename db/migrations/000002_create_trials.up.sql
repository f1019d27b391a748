-- Trials and their rule sheets. From here on every key begins with the trial, so that all but the small tables can be
-- spread by trial (PARTITION BY HASH (trial_id)) without another change.
--
-- All indexes of a table beginning alike, those of a nearly empty table look equally good to the server, which then takes
-- the newest. So where rows are looked up by their id on the way of a catch, the primary key is made last.

CREATE TABLE trials (
    id               uuid        NOT NULL,
    club_id          uuid        NOT NULL,
    title            text        NOT NULL,
    state            text        NOT NULL,
    design           text        NOT NULL,
    source           text        NOT NULL,
    revision         integer     NOT NULL,
    protocol_version integer     NOT NULL,
    fingerprint      bytea,
    commitment       bytea,
    scheme           integer     NOT NULL,
    sealed_seed      bytea,
    seed             bytea,
    created_at       timestamptz NOT NULL,
    registered_at    timestamptz,
    closed_at        timestamptz,
    locked_at        timestamptz,
    CONSTRAINT trials_pkey PRIMARY KEY (id),
    CONSTRAINT trials_club_fkey FOREIGN KEY (club_id) REFERENCES clubs (id),
    CONSTRAINT trials_state_check
        CHECK (state IN ('draft', 'registered', 'open', 'paused', 'closed', 'locked', 'published', 'abandoned')),
    CONSTRAINT trials_design_check CHECK (design IN ('paired', 'paired_by_outing')),
    CONSTRAINT trials_source_check CHECK (source IN ('drawn', 'recorded')),
    CONSTRAINT trials_fingerprint_check CHECK (octet_length(fingerprint) = 32),
    CONSTRAINT trials_commitment_check CHECK (octet_length(commitment) = 32),
    CONSTRAINT trials_seed_check CHECK (octet_length(seed) = 32),
    -- The rules compare times with closed_at in each of these states.
    CONSTRAINT trials_closed_check CHECK (state NOT IN ('closed', 'locked', 'published') OR closed_at IS NOT NULL)
);
CREATE INDEX trials_club_idx ON trials (club_id, id);

CREATE TABLE protocols (
    trial_id  uuid    NOT NULL,
    version   integer NOT NULL,
    protocol  json    NOT NULL,
    canonical bytea   NOT NULL,
    CONSTRAINT protocols_pkey PRIMARY KEY (trial_id, version),
    CONSTRAINT protocols_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id)
);

CREATE TABLE state_changes (
    trial_id   uuid        NOT NULL,
    n          integer     NOT NULL,
    at         timestamptz NOT NULL,
    by_account uuid        NOT NULL,
    from_state text        NOT NULL,
    to_state   text        NOT NULL,
    reason     text        NOT NULL,
    CONSTRAINT state_changes_pkey PRIMARY KEY (trial_id, n),
    CONSTRAINT state_changes_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id)
);

CREATE TABLE enrolments (
    trial_id    uuid        NOT NULL,
    id          uuid        NOT NULL,
    chain_id    uuid        NOT NULL,
    account_id  uuid,
    pseudonym   text        NOT NULL,
    code        bytea,
    consent     json        NOT NULL,
    enrolled_at timestamptz NOT NULL,
    sent_digest bytea,
    left_at     timestamptz,
    erased_at   timestamptz,
    CONSTRAINT enrolments_pseudonym_key UNIQUE (trial_id, pseudonym),
    CONSTRAINT enrolments_account_key UNIQUE (trial_id, account_id),
    CONSTRAINT enrolments_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id),
    CONSTRAINT enrolments_account_fkey FOREIGN KEY (account_id) REFERENCES accounts (id),
    CONSTRAINT enrolments_code_check CHECK (octet_length(code) = 32),
    CONSTRAINT enrolments_digest_check CHECK (octet_length(sent_digest) = 32),
    CONSTRAINT enrolments_erased_check CHECK (erased_at IS NULL OR (account_id IS NULL AND code IS NULL))
);
ALTER TABLE enrolments ADD CONSTRAINT enrolments_pkey PRIMARY KEY (trial_id, id);
