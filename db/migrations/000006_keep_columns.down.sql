ALTER TABLE catches
    DROP COLUMN water_type,
    DROP COLUMN fly,
    DROP COLUMN further;

DELETE FROM counts;
