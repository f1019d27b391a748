CREATE TABLE analyses (
    trial_id         uuid        NOT NULL,
    n                integer     NOT NULL,
    state            text        NOT NULL,
    checkpoint       bigint      NOT NULL,
    requested_at     timestamptz NOT NULL,
    requested_by     uuid,
    finished_at      timestamptz,
    protocol_version integer     NOT NULL,
    program_version  text        NOT NULL,
    settings         json,
    fingerprint      bytea,
    input            bytea,
    result           bytea,
    failure          text        NOT NULL,
    CONSTRAINT analyses_pkey PRIMARY KEY (trial_id, n),
    CONSTRAINT analyses_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id),
    CONSTRAINT analyses_state_check CHECK (state IN ('queued', 'done', 'failed')),
    CONSTRAINT analyses_n_check CHECK (n > 0),
    CONSTRAINT analyses_fingerprint_check CHECK (octet_length(fingerprint) = 32)
);
-- One analysis per checkpoint; one that failed does not stand in the way of another.
CREATE UNIQUE INDEX analyses_checkpoint_key ON analyses (trial_id, checkpoint) WHERE state <> 'failed';

CREATE TABLE imports (
    trial_id   uuid        NOT NULL,
    file       bytea       NOT NULL,
    at         timestamptz NOT NULL,
    by_account uuid        NOT NULL,
    rows       integer     NOT NULL,
    CONSTRAINT imports_pkey PRIMARY KEY (trial_id, file),
    CONSTRAINT imports_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id),
    CONSTRAINT imports_file_check CHECK (octet_length(file) = 32)
);

-- The job queue makes its own tables in here.
CREATE SCHEMA jobs;
