-- Which chain had come how far at a checkpoint, one row for each chain that moved since the checkpoint before: with the
-- entries' hashes this gives every checkpoint's root again. Of checkpoints that were made earlier nothing is known.
CREATE TABLE checkpoint_moves (
    trial_id   uuid   NOT NULL,
    chain_id   uuid   NOT NULL,
    n          bigint NOT NULL,
    checkpoint bigint NOT NULL,
    CONSTRAINT checkpoint_moves_pkey PRIMARY KEY (trial_id, chain_id, n),
    CONSTRAINT checkpoint_moves_chain_fkey FOREIGN KEY (trial_id, chain_id) REFERENCES ledger_heads (trial_id, chain_id),
    CONSTRAINT checkpoint_moves_checkpoint_fkey FOREIGN KEY (trial_id, checkpoint) REFERENCES checkpoints (trial_id, n)
);
