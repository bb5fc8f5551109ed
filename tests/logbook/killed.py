"""Imports one logbook into another, or collects logs, and says when it begins; the kill test ends it wherever it is."""

import sys

from tourier.logbook import Logbook

target, what = sys.argv[1:]
with Logbook(target) as book:
    if what == "collect":
        import logbook_support as support

        days = [support.Day(support.small_plan(made_at_s=support.BEGIN + n * 10**5), seed=n) for n in range(12)]
        print("begun", flush=True)
        for day in days:
            day.collect(book)
    else:
        print("begun", flush=True)
        book.import_from(what)
    print("done", flush=True)
