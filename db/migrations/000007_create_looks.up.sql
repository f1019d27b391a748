-- Planned counts of open trials, one row each; what was decided never changes.
CREATE TABLE looks (
    trial_id    uuid        NOT NULL,
    n           integer     NOT NULL,
    analysis    integer     NOT NULL,
    checkpoint  bigint      NOT NULL,
    at          timestamptz NOT NULL,
    by_account  uuid,
    fish        bigint      NOT NULL,
    anglers     bigint      NOT NULL,
    decision    text        NOT NULL,
    information double precision,
    fraction    double precision,
    spent       double precision,
    boundary_p  double precision,
    p           double precision,
    log_odds    double precision,
    e_value     double precision,
    share_low   double precision,
    share_high  double precision,
    CONSTRAINT looks_pkey PRIMARY KEY (trial_id, n),
    CONSTRAINT looks_analysis_fkey FOREIGN KEY (trial_id, analysis) REFERENCES analyses (trial_id, n),
    CONSTRAINT looks_n_check CHECK (n > 0),
    CONSTRAINT looks_decision_check CHECK (decision IN ('', 'go_on', 'stop', 'stop_futile', 'no_decision', 'ended'))
);
CREATE UNIQUE INDEX looks_analysis_key ON looks (trial_id, analysis);
