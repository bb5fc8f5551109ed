"""Curves as terminal cells, for the command line and the desk application alike; numpy only."""
