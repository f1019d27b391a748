-- The members' words that are mixed into a trial's draw, and whether the list is closed. A word outlives its giver's
-- account, which is null once the giver was erased.
CREATE TABLE draw_words (
    trial_id   uuid        NOT NULL,
    n          integer     NOT NULL,
    account_id uuid,
    word       text        NOT NULL,
    at         timestamptz NOT NULL,
    CONSTRAINT draw_words_pkey PRIMARY KEY (trial_id, n),
    CONSTRAINT draw_words_account_key UNIQUE (trial_id, account_id),
    CONSTRAINT draw_words_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id),
    CONSTRAINT draw_words_n_check CHECK (n BETWEEN 1 AND 20),
    CONSTRAINT draw_words_word_check CHECK (char_length(word) BETWEEN 1 AND 40)
);

CREATE TABLE draw_nights (
    trial_id  uuid        NOT NULL,
    closed_at timestamptz NOT NULL,
    CONSTRAINT draw_nights_pkey PRIMARY KEY (trial_id),
    CONSTRAINT draw_nights_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id)
);

-- Where units were handed out already, the draw stands without words.
INSERT INTO draw_nights (trial_id, closed_at) SELECT trial_id, min(fetched_at) FROM units GROUP BY trial_id;
