DROP TABLE tombstones, amendments, catches, deviations, periods, units, outings;
