DROP TABLE draw_nights, draw_words;
