DROP TABLE upkeep;
