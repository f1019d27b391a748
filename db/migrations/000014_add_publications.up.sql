-- The editions of a trial's published package. What everybody may read of an edition stands beside it; its bytes stand in
-- chunks, so that a package of any size is read a piece at a time, and go when it is withdrawn.
CREATE TABLE publications (
    trial_id        uuid        NOT NULL,
    edition         integer     NOT NULL,
    state           text        NOT NULL,
    licence         text        NOT NULL,
    name_club       boolean     NOT NULL,
    remarks         text        NOT NULL,
    asked_at        timestamptz NOT NULL,
    asked_by        uuid        NOT NULL,
    made_at         timestamptz,
    withdrawn_at    timestamptz,
    why             text        NOT NULL,
    failure         text        NOT NULL,
    program_version text        NOT NULL,
    title           text        NOT NULL,
    question        text        NOT NULL,
    club            text        NOT NULL,
    sentence        text        NOT NULL,
    package         bytea,
    size            bigint      NOT NULL,
    anglers         bigint      NOT NULL,
    fish            bigint      NOT NULL,
    CONSTRAINT publications_pkey PRIMARY KEY (trial_id, edition),
    CONSTRAINT publications_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id),
    CONSTRAINT publications_state_check CHECK (state IN ('queued', 'standing', 'failed', 'withdrawn')),
    CONSTRAINT publications_edition_check CHECK (edition > 0),
    CONSTRAINT publications_package_check CHECK (octet_length(package) = 32),
    CONSTRAINT publications_standing_check CHECK (state <> 'standing' OR (package IS NOT NULL AND made_at IS NOT NULL))
);
-- One edition is made or stands at a time.
CREATE UNIQUE INDEX publications_standing_key ON publications (trial_id) WHERE state IN ('queued', 'standing');

CREATE TABLE package_chunks (
    trial_id uuid    NOT NULL,
    edition  integer NOT NULL,
    n        integer NOT NULL,
    bytes    bytea   NOT NULL,
    CONSTRAINT package_chunks_pkey PRIMARY KEY (trial_id, edition, n),
    CONSTRAINT package_chunks_edition_fkey FOREIGN KEY (trial_id, edition) REFERENCES publications (trial_id, edition)
);
ALTER TABLE package_chunks ALTER COLUMN bytes SET STORAGE EXTERNAL; -- they are compressed already

-- Which of a trial's repeats were registered here.
CREATE TABLE repeats (
    trial_id  uuid NOT NULL,
    repeat_id uuid NOT NULL,
    CONSTRAINT repeats_pkey PRIMARY KEY (trial_id, repeat_id),
    CONSTRAINT repeats_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id)
);

-- Trials that were read from a package published elsewhere, and where from.
ALTER TABLE trials ADD COLUMN original uuid;
CREATE TABLE origins (
    trial_id uuid        NOT NULL,
    original uuid        NOT NULL,
    edition  integer     NOT NULL,
    package  bytea       NOT NULL,
    licence  text        NOT NULL,
    club     text        NOT NULL,
    read_at  timestamptz NOT NULL,
    read_by  uuid        NOT NULL,
    findings bytea       NOT NULL,
    CONSTRAINT origins_pkey PRIMARY KEY (trial_id),
    CONSTRAINT origins_trial_fkey FOREIGN KEY (trial_id) REFERENCES trials (id),
    CONSTRAINT origins_package_check CHECK (octet_length(package) = 32)
);
