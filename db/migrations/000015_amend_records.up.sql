-- Later versions of a rule sheet: when, by whom and why. The first has none of the three.
ALTER TABLE protocols
    ADD COLUMN at         timestamptz,
    ADD COLUMN by_account uuid,
    ADD COLUMN reason     text;

-- Outings are corrected like catches, and may have been opened by mistake. Disputed is what two members agreed to exclude.
-- Null is version 1, and no.
ALTER TABLE outings
    ADD COLUMN version  integer,
    ADD COLUMN void     boolean,
    ADD COLUMN disputed boolean;

-- Signs of harm to a fish, joined by +; null where none was seen, as where nobody agreed to exclude it.
ALTER TABLE catches
    ADD COLUMN welfare  text,
    ADD COLUMN disputed boolean;
ALTER TABLE catches ADD CONSTRAINT catches_welfare_check
    CHECK (welfare <> '' AND string_to_array(welfare, '+') <@ ARRAY['bleeding', 'dead', 'deep_hooked']);

-- The water's temperature during the day.
CREATE TABLE temperatures (
    trial_id     uuid        NOT NULL,
    id           uuid        NOT NULL,
    enrolment_id uuid        NOT NULL,
    outing_id    uuid        NOT NULL,
    at           timestamptz NOT NULL,
    at_offset    smallint    NOT NULL,
    value        float8      NOT NULL,
    unit         text        NOT NULL,
    received_at  timestamptz NOT NULL,
    sent_digest  bytea,
    CONSTRAINT temperatures_outing_fkey
        FOREIGN KEY (trial_id, enrolment_id, outing_id) REFERENCES outings (trial_id, enrolment_id, id),
    CONSTRAINT temperatures_digest_check CHECK (octet_length(sent_digest) = 32)
);
CREATE INDEX temperatures_enrolment_idx ON temperatures (trial_id, enrolment_id);
CREATE INDEX temperatures_outing_idx ON temperatures (trial_id, outing_id);
ALTER TABLE temperatures ADD CONSTRAINT temperatures_pkey PRIMARY KEY (trial_id, id);

-- An organiser's word that an angler may fish on, on one day, in water at the stop temperature. Whom it was for is forgotten with
-- the angler.
CREATE TABLE welfare_overrides (
    trial_id     uuid        NOT NULL,
    n            integer     NOT NULL,
    enrolment_id uuid,
    day          text        NOT NULL,
    reason       text        NOT NULL,
    at           timestamptz NOT NULL,
    by_account   uuid,
    CONSTRAINT welfare_overrides_pkey PRIMARY KEY (trial_id, n),
    CONSTRAINT welfare_overrides_enrolment_fkey FOREIGN KEY (trial_id, enrolment_id) REFERENCES enrolments (trial_id, id)
);
CREATE INDEX welfare_overrides_enrolment_idx ON welfare_overrides (trial_id, enrolment_id);

-- Disputes about a fish or an outing, at most one a record, and what two other members decided. enrolment_id is the record's.
CREATE TABLE disputes (
    trial_id     uuid        NOT NULL,
    id           uuid        NOT NULL,
    enrolment_id uuid        NOT NULL,
    kind         text        NOT NULL,
    subject      uuid        NOT NULL,
    words        text        NOT NULL,
    filed_by     uuid,
    filed_as     text        NOT NULL,
    filed_at     timestamptz NOT NULL,
    CONSTRAINT disputes_subject_key UNIQUE (trial_id, subject),
    CONSTRAINT disputes_enrolment_fkey FOREIGN KEY (trial_id, enrolment_id) REFERENCES enrolments (trial_id, id),
    CONSTRAINT disputes_kind_check CHECK (kind IN ('catch', 'outing'))
);
CREATE INDEX disputes_enrolment_idx ON disputes (trial_id, enrolment_id);
ALTER TABLE disputes ADD CONSTRAINT disputes_pkey PRIMARY KEY (trial_id, id);

CREATE TABLE dispute_decisions (
    trial_id   uuid        NOT NULL,
    dispute_id uuid        NOT NULL,
    n          integer     NOT NULL,
    decision   text        NOT NULL,
    reason     text        NOT NULL,
    by_account uuid,
    by_role    text        NOT NULL,
    at         timestamptz NOT NULL,
    CONSTRAINT dispute_decisions_pkey PRIMARY KEY (trial_id, dispute_id, n),
    CONSTRAINT dispute_decisions_dispute_fkey FOREIGN KEY (trial_id, dispute_id) REFERENCES disputes (trial_id, id),
    CONSTRAINT dispute_decisions_n_check CHECK (n IN (1, 2)),
    CONSTRAINT dispute_decisions_decision_check CHECK (decision IN ('keep', 'exclude'))
);

-- How many of an enrolment's fish are analysed, so that they can be summed without reading tallies. Voided outings are no longer
-- counted as blank: all are counted anew.
DELETE FROM counts;
ALTER TABLE counts ADD COLUMN analysed bigint;
