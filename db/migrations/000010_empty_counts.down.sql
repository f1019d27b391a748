DELETE FROM counts;
