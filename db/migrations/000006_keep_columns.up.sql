-- What an imported table says of a fish beside what an angler sends: the kind of water, the dressing that carried the
-- change, and its further columns as a JSON object of texts. Null where there is none, as for every fish of a drawn trial.
ALTER TABLE catches
    ADD COLUMN water_type text,
    ADD COLUMN fly        text,
    ADD COLUMN further    text,
    ADD CONSTRAINT catches_water_type_check CHECK (char_length(water_type) BETWEEN 1 AND 200),
    ADD CONSTRAINT catches_fly_check CHECK (char_length(fly) BETWEEN 1 AND 200),
    ADD CONSTRAINT catches_further_check CHECK (jsonb_typeof(further::jsonb) = 'object');

-- Fish are counted by more than before.
DELETE FROM counts;
