DROP TABLE cards_in;
