"""Files as the truth: partitioned Parquet, a ledger, keys and an audit trail."""
