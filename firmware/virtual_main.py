"""Starts the bench timer on the virtual board: the same as main.py, found on the host or on the flash image."""

import main

main.start()
