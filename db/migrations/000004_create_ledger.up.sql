-- The hash chains of the records. Parts and salts stand apart from the entries, so that they can be erased while the
-- chain still verifies.

-- One row per chain, changed with every record: room is left in its pages, and no column that changes is indexed, so
-- that a new version of a row stays on its page (HOT).
CREATE TABLE ledger_heads (
    trial_id uuid   NOT NULL,
    chain_id uuid   NOT NULL,
    n        bigint NOT NULL,
    hash     bytea,
    CONSTRAINT ledger_heads_pkey PRIMARY KEY (trial_id, chain_id),
    CONSTRAINT ledger_heads_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id),
    CONSTRAINT ledger_heads_hash_check CHECK ((n = 0) = (hash IS NULL) AND octet_length(hash) = 32)
) WITH (fillfactor = 40, autovacuum_vacuum_threshold = 200, autovacuum_vacuum_scale_factor = 0.5);

CREATE TABLE ledger_entries (
    trial_id       uuid   NOT NULL,
    chain_id       uuid   NOT NULL,
    n              bigint NOT NULL,
    kind           text   NOT NULL,
    subject        uuid   NOT NULL,
    public_digest  bytea  NOT NULL,
    private_digest bytea  NOT NULL,
    hash           bytea  NOT NULL,
    CONSTRAINT ledger_entries_pkey PRIMARY KEY (trial_id, chain_id, n),
    CONSTRAINT ledger_entries_head_fkey
        FOREIGN KEY (trial_id, chain_id) REFERENCES ledger_heads (trial_id, chain_id),
    CONSTRAINT ledger_entries_n_check CHECK (n > 0),
    CONSTRAINT ledger_entries_digest_check
        CHECK (octet_length(public_digest) = 32 AND octet_length(private_digest) = 32 AND octet_length(hash) = 32)
);

CREATE TABLE ledger_parts (
    trial_id     uuid   NOT NULL,
    chain_id     uuid   NOT NULL,
    n            bigint NOT NULL,
    public       bytea  NOT NULL,
    public_salt  bytea  NOT NULL,
    private      bytea  NOT NULL,
    private_salt bytea  NOT NULL,
    CONSTRAINT ledger_parts_pkey PRIMARY KEY (trial_id, chain_id, n),
    CONSTRAINT ledger_parts_entry_fkey
        FOREIGN KEY (trial_id, chain_id, n) REFERENCES ledger_entries (trial_id, chain_id, n),
    CONSTRAINT ledger_parts_salt_check CHECK (octet_length(public_salt) = 32 AND octet_length(private_salt) = 32)
);

-- covers counts the chains and entries under the root, null when a chain moved while the checkpoint was made: then
-- another one is due.
CREATE TABLE checkpoints (
    trial_id uuid        NOT NULL,
    n        bigint      NOT NULL,
    at       timestamptz NOT NULL,
    root     bytea       NOT NULL,
    hash     bytea       NOT NULL,
    covers   bigint,
    CONSTRAINT checkpoints_pkey PRIMARY KEY (trial_id, n),
    CONSTRAINT checkpoints_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id),
    CONSTRAINT checkpoints_digest_check CHECK (octet_length(root) = 32 AND octet_length(hash) = 32)
);

-- Cached counts of an enrolment's fish, as of entry counted_at of its chain.
CREATE TABLE counts (
    trial_id     uuid   NOT NULL,
    enrolment_id uuid   NOT NULL,
    counted_at   bigint NOT NULL,
    tallies      json   NOT NULL,
    effort       json   NOT NULL,
    CONSTRAINT counts_pkey PRIMARY KEY (trial_id, enrolment_id),
    CONSTRAINT counts_enrolment_fkey FOREIGN KEY (trial_id, enrolment_id) REFERENCES enrolments (trial_id, id)
) WITH (fillfactor = 70);
