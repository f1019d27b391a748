ALTER TABLE deviations DROP COLUMN fly;
ALTER TABLE periods DROP COLUMN test_fly, DROP COLUMN control_fly;
DROP TABLE fly_moves, fly_envelopes, fly_batches, cards, slip_sheets;
ALTER TABLE units DROP CONSTRAINT units_slip_key;
ALTER TABLE units
    DROP COLUMN drawn_by,
    DROP COLUMN draw_n,
    DROP COLUMN slip,
    DROP COLUMN drawn_at,
    DROP COLUMN drawn_offset,
    DROP COLUMN lost_at,
    DROP COLUMN lost_offset;
ALTER TABLE enrolments DROP COLUMN noters, DROP COLUMN brought_by;
ALTER TABLE outings DROP COLUMN cell, DROP COLUMN card;
