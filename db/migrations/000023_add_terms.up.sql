-- The oldest program that may run on this schema, told by the last of its steps: a step that takes away what older programs use raises it.
CREATE TABLE schema_terms (
    one    boolean NOT NULL,
    oldest bigint  NOT NULL,
    CONSTRAINT schema_terms_pkey PRIMARY KEY (one),
    CONSTRAINT schema_terms_one_check CHECK (one)
);
INSERT INTO schema_terms (one, oldest) VALUES (true, 19);
