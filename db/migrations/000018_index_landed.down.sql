DROP INDEX catches_landed_idx;
