"""Imports one logbook into another and says when it begins; the kill test ends it wherever it stands."""

import sys

from tourier.logbook import Logbook

with Logbook(sys.argv[1]) as book:
    print("begun", flush=True)
    book.import_from(sys.argv[2])
    print("done", flush=True)
