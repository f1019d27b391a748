-- What anglers record. A device's time stands with its offset from UTC in minutes, so that it comes back as it was
-- sent; both are null where an imported table has no time. An enrolment's records refer to each other only within the
-- enrolment. There is no key to accounts or trials here: a fish being saved must not lock a row that two anglers share.

CREATE TABLE outings (
    trial_id                uuid        NOT NULL,
    id                      uuid        NOT NULL,
    enrolment_id            uuid        NOT NULL,
    protocol_version        integer     NOT NULL,
    water                   text        NOT NULL,
    started_at              timestamptz,
    started_offset          smallint,
    started_late            boolean     NOT NULL,
    water_temperature_value float8,
    water_temperature_unit  text,
    conditions              text        NOT NULL,
    note                    text        NOT NULL,
    received_at             timestamptz NOT NULL,
    sent_digest             bytea,
    ended_at                timestamptz,
    ended_offset            smallint,
    end_reason              text,
    end_not_logged          integer,
    end_received_at         timestamptz,
    end_digest              bytea,
    CONSTRAINT outings_enrolment_key UNIQUE (trial_id, enrolment_id, id),
    CONSTRAINT outings_enrolment_fkey FOREIGN KEY (trial_id, enrolment_id) REFERENCES enrolments (trial_id, id),
    CONSTRAINT outings_started_check CHECK ((started_at IS NULL) = (started_offset IS NULL)),
    CONSTRAINT outings_temperature_check
        CHECK ((water_temperature_value IS NULL) = (water_temperature_unit IS NULL)),
    CONSTRAINT outings_ended_check CHECK ((ended_at IS NULL) = (ended_offset IS NULL)),
    CONSTRAINT outings_end_check
        CHECK ((end_reason IS NULL) = (end_not_logged IS NULL) AND (end_reason IS NULL) = (end_received_at IS NULL)),
    CONSTRAINT outings_digest_check CHECK (octet_length(sent_digest) = 32),
    CONSTRAINT outings_end_digest_check CHECK (octet_length(end_digest) = 32)
);
ALTER TABLE outings ADD CONSTRAINT outings_pkey PRIMARY KEY (trial_id, id);

CREATE TABLE units (
    trial_id       uuid        NOT NULL,
    id             uuid        NOT NULL,
    enrolment_id   uuid        NOT NULL,
    n              integer     NOT NULL,
    first          text        NOT NULL,
    same_fly_check boolean     NOT NULL,
    fetched_at     timestamptz NOT NULL,
    opened_at      timestamptz,
    opened_offset  smallint,
    CONSTRAINT units_enrolment_key UNIQUE (trial_id, enrolment_id, id),
    CONSTRAINT units_n_key UNIQUE (trial_id, enrolment_id, n),
    CONSTRAINT units_enrolment_fkey FOREIGN KEY (trial_id, enrolment_id) REFERENCES enrolments (trial_id, id),
    CONSTRAINT units_n_check CHECK (n > 0),
    CONSTRAINT units_first_check CHECK (first IN ('test_lower', 'control_lower')),
    CONSTRAINT units_opened_check CHECK ((opened_at IS NULL) = (opened_offset IS NULL))
);
ALTER TABLE units ADD CONSTRAINT units_pkey PRIMARY KEY (trial_id, id);

CREATE TABLE periods (
    trial_id        uuid        NOT NULL,
    id              uuid        NOT NULL,
    enrolment_id    uuid        NOT NULL,
    outing_id       uuid,
    unit_id         uuid,
    block           text        NOT NULL,
    half            integer     NOT NULL,
    drawn           text        NOT NULL,
    fished          text        NOT NULL,
    confirmed       boolean     NOT NULL,
    started_at      timestamptz,
    started_offset  smallint,
    received_at     timestamptz NOT NULL,
    sent_digest     bytea,
    version         integer     NOT NULL,
    ended_at        timestamptz,
    ended_offset    smallint,
    swap_now_at     timestamptz,
    swap_now_offset smallint,
    end_reason      text,
    end_received_at timestamptz,
    end_digest      bytea,
    CONSTRAINT periods_enrolment_key UNIQUE (trial_id, enrolment_id, id),
    -- In a drawn trial; an imported period has no unit, and perhaps no outing and no arrangement.
    CONSTRAINT periods_half_key UNIQUE (trial_id, unit_id, half),
    CONSTRAINT periods_outing_fkey
        FOREIGN KEY (trial_id, enrolment_id, outing_id) REFERENCES outings (trial_id, enrolment_id, id),
    CONSTRAINT periods_unit_fkey
        FOREIGN KEY (trial_id, enrolment_id, unit_id) REFERENCES units (trial_id, enrolment_id, id),
    CONSTRAINT periods_drawn_check CHECK (drawn IN ('test_lower', 'control_lower', '')),
    CONSTRAINT periods_fished_check CHECK (fished IN ('test_lower', 'control_lower') OR (fished = '' AND unit_id IS NULL)),
    CONSTRAINT periods_unit_check CHECK (unit_id IS NULL OR (outing_id IS NOT NULL AND drawn <> '' AND fished <> '' AND half IN (1, 2))),
    CONSTRAINT periods_started_check CHECK ((started_at IS NULL) = (started_offset IS NULL)),
    CONSTRAINT periods_ended_check CHECK ((ended_at IS NULL) = (ended_offset IS NULL)),
    CONSTRAINT periods_swap_now_check CHECK ((swap_now_at IS NULL) = (swap_now_offset IS NULL)),
    CONSTRAINT periods_end_check CHECK ((end_reason IS NULL) = (end_received_at IS NULL)),
    CONSTRAINT periods_digest_check CHECK (octet_length(sent_digest) = 32),
    CONSTRAINT periods_end_digest_check CHECK (octet_length(end_digest) = 32)
);
CREATE INDEX periods_outing_idx ON periods (trial_id, outing_id);
ALTER TABLE periods ADD CONSTRAINT periods_pkey PRIMARY KEY (trial_id, id);

CREATE TABLE deviations (
    trial_id     uuid        NOT NULL,
    id           uuid        NOT NULL,
    enrolment_id uuid        NOT NULL,
    outing_id    uuid        NOT NULL,
    period_id    uuid,
    kind         text        NOT NULL,
    water        text        NOT NULL,
    from_at      timestamptz NOT NULL,
    from_offset  smallint    NOT NULL,
    until_at     timestamptz,
    until_offset smallint,
    note         text        NOT NULL,
    received_at  timestamptz NOT NULL,
    sent_digest  bytea,
    CONSTRAINT deviations_outing_fkey
        FOREIGN KEY (trial_id, enrolment_id, outing_id) REFERENCES outings (trial_id, enrolment_id, id),
    CONSTRAINT deviations_period_fkey
        FOREIGN KEY (trial_id, enrolment_id, period_id) REFERENCES periods (trial_id, enrolment_id, id),
    CONSTRAINT deviations_kind_check
        CHECK (kind IN ('third_fly', 'wrong_fly', 'wrong_way_round', 'fly_lost', 'spacing_changed', 'depth_changed',
                        'could_not_swap', 'off_trial', 'back_on', 'moved')),
    CONSTRAINT deviations_until_check CHECK ((until_at IS NULL) = (until_offset IS NULL)),
    CONSTRAINT deviations_digest_check CHECK (octet_length(sent_digest) = 32)
);
CREATE INDEX deviations_enrolment_idx ON deviations (trial_id, enrolment_id);
ALTER TABLE deviations ADD CONSTRAINT deviations_pkey PRIMARY KEY (trial_id, id);
CREATE INDEX deviations_outing_idx ON deviations (trial_id, outing_id);

CREATE TABLE catches (
    trial_id       uuid        NOT NULL,
    id             uuid        NOT NULL,
    enrolment_id   uuid        NOT NULL,
    period_id      uuid        NOT NULL,
    taken_pattern  text        NOT NULL,
    taken_position text        NOT NULL,
    outcome        text        NOT NULL,
    foul_hooked    boolean     NOT NULL,
    rig_intact     boolean     NOT NULL,
    double_id      uuid,
    species        text        NOT NULL,
    origin         text        NOT NULL,
    caught_at      timestamptz,
    caught_offset  smallint,
    noted_at       timestamptz,
    noted_offset   smallint,
    length_value   float8,
    length_unit    text,
    note           text        NOT NULL,
    noted_by       uuid,
    received_at    timestamptz NOT NULL,
    sent_digest    bytea,
    version        integer     NOT NULL,
    void           boolean     NOT NULL,
    after_lock     boolean     NOT NULL,
    reason         text        NOT NULL,
    ledger_n       bigint,
    CONSTRAINT catches_period_fkey
        FOREIGN KEY (trial_id, enrolment_id, period_id) REFERENCES periods (trial_id, enrolment_id, id),
    CONSTRAINT catches_taken_position_check CHECK (taken_position IN ('', 'lower', 'upper', 'unknown', 'other')),
    CONSTRAINT catches_outcome_check CHECK (outcome IN ('landed', 'lost', 'touched')),
    CONSTRAINT catches_origin_check CHECK (origin IN ('wild', 'stocked', 'unknown')),
    CONSTRAINT catches_caught_check CHECK ((caught_at IS NULL) = (caught_offset IS NULL)),
    CONSTRAINT catches_noted_check CHECK ((noted_at IS NULL) = (noted_offset IS NULL)),
    CONSTRAINT catches_length_check CHECK ((length_value IS NULL) = (length_unit IS NULL)),
    CONSTRAINT catches_digest_check CHECK (octet_length(sent_digest) = 32)
);
CREATE INDEX catches_enrolment_idx ON catches (trial_id, enrolment_id, id);
CREATE INDEX catches_period_idx ON catches (trial_id, period_id);
ALTER TABLE catches ADD CONSTRAINT catches_pkey PRIMARY KEY (trial_id, id);

CREATE TABLE amendments (
    trial_id     uuid        NOT NULL,
    subject      uuid        NOT NULL,
    n            integer     NOT NULL,
    enrolment_id uuid,
    kind         text        NOT NULL,
    at           timestamptz NOT NULL,
    by_account   uuid        NOT NULL,
    reason       text        NOT NULL,
    old_values   json,
    new_values   json,
    CONSTRAINT amendments_pkey PRIMARY KEY (trial_id, subject, n),
    CONSTRAINT amendments_enrolment_fkey FOREIGN KEY (trial_id, enrolment_id) REFERENCES enrolments (trial_id, id)
);
CREATE INDEX amendments_enrolment_idx ON amendments (trial_id, enrolment_id);

-- The ids of erased records, and of whose they were: a replay of one is answered "gone".
CREATE TABLE tombstones (
    trial_id     uuid NOT NULL,
    id           uuid NOT NULL,
    enrolment_id uuid NOT NULL,
    CONSTRAINT tombstones_pkey PRIMARY KEY (trial_id, id),
    CONSTRAINT tombstones_enrolment_fkey FOREIGN KEY (trial_id, enrolment_id) REFERENCES enrolments (trial_id, id)
);
