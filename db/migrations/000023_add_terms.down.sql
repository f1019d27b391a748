DROP TABLE schema_terms;
