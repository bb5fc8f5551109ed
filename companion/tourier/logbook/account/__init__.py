"""What really happened in a batch: its steps, whose the readings were, and what the log says of the kitchen."""
