-- Where an outing was, as coarse as the protocol's grid and no finer: the south-west corner of its cell.
ALTER TABLE outings
    ADD COLUMN cell text,
    ADD CONSTRAINT outings_cell_check CHECK (cell ~ '^[0-9]{1,2}[.][0-9]{1,2}[NS] [0-9]{1,3}[.][0-9]{1,2}[EW]$');
