DROP TABLE origins, repeats, package_chunks, publications;
ALTER TABLE trials DROP COLUMN original;
