-- The organiser's word that every paper card of a closed trial was handed in, so that locking need not wait for them.
CREATE TABLE cards_in (
    trial_id   uuid        NOT NULL,
    at         timestamptz NOT NULL,
    by_account uuid        NOT NULL,
    reason     text        NOT NULL,
    CONSTRAINT cards_in_pkey PRIMARY KEY (trial_id),
    CONSTRAINT cards_in_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id)
);
