DROP TABLE cards, slip_sheets;
ALTER TABLE units DROP CONSTRAINT units_slip_key;
ALTER TABLE units
    DROP COLUMN drawn_by,
    DROP COLUMN draw_n,
    DROP COLUMN slip,
    DROP COLUMN drawn_at,
    DROP COLUMN drawn_offset,
    DROP COLUMN lost_at,
    DROP COLUMN lost_offset;
ALTER TABLE enrolments DROP COLUMN noters, DROP COLUMN brought_by, DROP COLUMN guardian;
ALTER TABLE outings DROP COLUMN cell, DROP COLUMN card;
