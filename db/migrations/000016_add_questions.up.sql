-- What members ask of the organiser about a trial, and what was answered. The text is the trial's: it outlives its asker's
-- account, which is null once the asker was erased.
CREATE TABLE questions (
    trial_id    uuid        NOT NULL,
    n           integer     NOT NULL,
    asked_by    uuid,
    asked_as    text        NOT NULL,
    asked_at    timestamptz NOT NULL,
    question    text        NOT NULL,
    answered_by uuid,
    answered_at timestamptz,
    answer      text,
    CONSTRAINT questions_pkey PRIMARY KEY (trial_id, n),
    CONSTRAINT questions_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id),
    CONSTRAINT questions_n_check CHECK (n > 0),
    CONSTRAINT questions_asked_as_check CHECK (asked_as IN ('organiser', 'angler', 'auditor')),
    CONSTRAINT questions_answered_check CHECK ((answer IS NULL) = (answered_at IS NULL))
);

-- Who has seen that the guardian of an angler under age agrees; the guardian's name is kept nowhere.
ALTER TABLE enrolments ADD COLUMN guardian_by uuid, ADD COLUMN guardian_at timestamptz;
ALTER TABLE enrolments ADD CONSTRAINT enrolments_guardian_by_check CHECK ((guardian_by IS NULL) = (guardian_at IS NULL));
