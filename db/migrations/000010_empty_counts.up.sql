-- A week's fish are counted in the month of its Thursday now, and outings under ids that tell no time: all are counted anew.
DELETE FROM counts;
