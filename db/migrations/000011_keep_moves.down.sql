DROP TABLE checkpoint_moves;
