"""What went wrong and at which fold, from the account and what the cook saw."""
