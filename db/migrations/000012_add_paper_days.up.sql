-- Where an outing was, as coarse as the protocol's grid and no finer: the south-west corner of its cell.
ALTER TABLE outings
    ADD COLUMN cell text,
    ADD COLUMN card integer,
    ADD CONSTRAINT outings_cell_check CHECK (cell ~ '^[0-9]{1,2}[.][0-9]{1,2}[NS] [0-9]{1,3}[.][0-9]{1,2}[EW]$');

-- What drew a unit's order, null for the service itself; draw_n is its number in the service's draw, null where that is n. Where
-- a coin or a slip drew it, the angler says when. A unit lost with its phone is never dealt again.
ALTER TABLE units
    ADD COLUMN drawn_by     text,
    ADD COLUMN draw_n       integer,
    ADD COLUMN slip         integer,
    ADD COLUMN drawn_at     timestamptz,
    ADD COLUMN drawn_offset smallint,
    ADD COLUMN lost_at      timestamptz,
    ADD COLUMN lost_offset  smallint,
    ADD CONSTRAINT units_slip_key UNIQUE (trial_id, slip),
    ADD CONSTRAINT units_drawn_by_check CHECK (drawn_by IN ('phone', 'slip', 'coin')),
    ADD CONSTRAINT units_draw_n_check CHECK (draw_n IS NULL OR (draw_n > 0 AND drawn_by IS NULL)),
    ADD CONSTRAINT units_slip_check CHECK (slip IS NULL OR (slip > 0 AND drawn_by IS NOT DISTINCT FROM 'slip')),
    ADD CONSTRAINT units_drawn_check CHECK ((drawn_by IS NULL) = (drawn_at IS NULL) AND (drawn_at IS NULL) = (drawn_offset IS NULL)),
    ADD CONSTRAINT units_lost_check CHECK ((lost_at IS NULL) = (lost_offset IS NULL));

-- Who printed which sealed slips for whom. What they say inside is stored nowhere.
CREATE TABLE slip_sheets (
    trial_id     uuid        NOT NULL,
    n            integer     NOT NULL,
    enrolment_id uuid        NOT NULL,
    first_slip   integer     NOT NULL,
    last_slip    integer     NOT NULL,
    printed_by   uuid        NOT NULL,
    printed_at   timestamptz NOT NULL,
    CONSTRAINT slip_sheets_pkey PRIMARY KEY (trial_id, n),
    CONSTRAINT slip_sheets_enrolment_fkey FOREIGN KEY (trial_id, enrolment_id) REFERENCES enrolments (trial_id, id),
    CONSTRAINT slip_sheets_slips_check CHECK (first_slip > 0 AND last_slip >= first_slip)
);

-- Who may note for an angler, and of a guest for a day, who has no account, who brought the guest.
-- The list stands in the row that intake reads anyway.
ALTER TABLE enrolments
    ADD COLUMN noters     uuid[],
    ADD COLUMN brought_by uuid,
    ADD CONSTRAINT enrolments_noters_check CHECK (cardinality(noters) BETWEEN 1 AND 10),
    ADD CONSTRAINT enrolments_brought_by_check CHECK (brought_by IS NULL OR account_id IS NULL),
    ADD CONSTRAINT enrolments_erased_noters_check CHECK (erased_at IS NULL OR (noters IS NULL AND brought_by IS NULL));

-- Paper cards that were typed in, each under the number printed on it, with what was typed, so that a second typing can be compared.
CREATE TABLE cards (
    trial_id     uuid        NOT NULL,
    number       integer     NOT NULL,
    enrolment_id uuid        NOT NULL,
    outing_id    uuid        NOT NULL,
    content      bytea       NOT NULL,
    written_at   timestamptz NOT NULL,
    typed_by     uuid,
    typed_at     timestamptz NOT NULL,
    again_by     uuid,
    again_at     timestamptz,
    differs      text[],
    CONSTRAINT cards_pkey PRIMARY KEY (trial_id, number),
    CONSTRAINT cards_outing_fkey
        FOREIGN KEY (trial_id, enrolment_id, outing_id) REFERENCES outings (trial_id, enrolment_id, id),
    CONSTRAINT cards_number_check CHECK (number > 0)
);

-- Flies: batches, their envelopes under random codes, and what happened to these. Nothing here tells one pattern from the other. A
-- period may say which of the numbered flies were fished, a report of a lost fly which took its place.
CREATE TABLE fly_batches (
    trial_id     uuid        NOT NULL,
    n            integer     NOT NULL,
    batch        text        NOT NULL,
    tied_by      text        NOT NULL,
    hook_lot     text        NOT NULL,
    materials    text        NOT NULL,
    made_by      uuid,
    made_at      timestamptz NOT NULL,
    inspected_by uuid,
    inspected_at timestamptz,
    remarks      text        NOT NULL,
    CONSTRAINT fly_batches_pkey PRIMARY KEY (trial_id, n),
    CONSTRAINT fly_batches_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id),
    CONSTRAINT fly_batches_n_check CHECK (n > 0)
);

CREATE TABLE fly_envelopes (
    trial_id    uuid    NOT NULL,
    code        text    NOT NULL,
    batch       integer NOT NULL,
    per_pattern integer NOT NULL,
    CONSTRAINT fly_envelopes_pkey PRIMARY KEY (trial_id, code),
    CONSTRAINT fly_envelopes_batch_fkey FOREIGN KEY (trial_id, batch) REFERENCES fly_batches (trial_id, n)
);

CREATE TABLE fly_moves (
    trial_id     uuid        NOT NULL,
    n            integer     NOT NULL,
    code         text        NOT NULL,
    kind         text        NOT NULL,
    enrolment_id uuid,
    flies        integer     NOT NULL,
    at           timestamptz NOT NULL,
    by_account   uuid,
    note         text        NOT NULL,
    CONSTRAINT fly_moves_pkey PRIMARY KEY (trial_id, n),
    CONSTRAINT fly_moves_envelope_fkey FOREIGN KEY (trial_id, code) REFERENCES fly_envelopes (trial_id, code),
    CONSTRAINT fly_moves_enrolment_fkey FOREIGN KEY (trial_id, enrolment_id) REFERENCES enrolments (trial_id, id),
    CONSTRAINT fly_moves_kind_check CHECK (kind IN ('issued', 'topped_up', 'returned', 'lost'))
);

ALTER TABLE periods ADD COLUMN test_fly smallint, ADD COLUMN control_fly smallint;
ALTER TABLE deviations ADD COLUMN fly smallint;
