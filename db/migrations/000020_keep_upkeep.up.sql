-- What came of the last run of what the service does by itself again and again.
CREATE TABLE upkeep (
    task     text        NOT NULL,
    begun_at timestamptz NOT NULL,
    ended_at timestamptz NOT NULL,
    failed   boolean     NOT NULL,
    good_at  timestamptz,
    faults   bigint      NOT NULL,
    CONSTRAINT upkeep_pkey PRIMARY KEY (task),
    CONSTRAINT upkeep_faults_check CHECK (faults >= 0)
);
