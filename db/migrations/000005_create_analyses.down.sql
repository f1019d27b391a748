DROP SCHEMA jobs;
DROP TABLE imports, analyses;
