"""What batches teach: quantities fitted to the logs, and the ledger they are kept in."""
