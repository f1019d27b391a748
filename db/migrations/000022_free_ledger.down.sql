ALTER TABLE ledger_entries ADD CONSTRAINT ledger_entries_head_fkey
    FOREIGN KEY (trial_id, chain_id) REFERENCES ledger_heads (trial_id, chain_id);
ALTER TABLE ledger_parts ADD CONSTRAINT ledger_parts_entry_fkey
    FOREIGN KEY (trial_id, chain_id, n) REFERENCES ledger_entries (trial_id, chain_id, n);
