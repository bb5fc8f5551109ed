"""The record of a batch: the file of the logbook, what the timer handed over, and what both look like when read."""
