DROP TABLE counts, checkpoints, ledger_parts, ledger_entries, ledger_heads;
