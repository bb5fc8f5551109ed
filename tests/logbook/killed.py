"""Imports one logbook into another, or collects logs, and kills itself at a given tick of the database's own work.

Ticks are counted from the word "begun"; a run that comes to its end says "done" and how many there were.
"""

import os
import signal
import sqlite3
import sys

target, what, last_tick = sys.argv[1], sys.argv[2], int(sys.argv[3])
ticks = 0
begun = False


def tick() -> int:
    global ticks
    ticks += begun
    if ticks > last_tick:
        os.kill(os.getpid(), signal.SIGKILL)
    return 0


def connect(*args, **options):
    db = plain_connect(*args, **options)
    db.set_progress_handler(tick, 20)
    return db


plain_connect, sqlite3.connect = sqlite3.connect, connect

from tourier.logbook import Logbook  # noqa: E402

with Logbook(target) as book:
    if what == "collect":
        import logbook_support as support

        days = [support.Day(support.small_plan(made_at_s=support.BEGIN + n * 10**5), seed=n) for n in range(12)]
        begun = True
        print("begun", flush=True)
        for day in days:
            day.collect(book)
    else:
        begun = True
        print("begun", flush=True)
        book.import_from(what)
    begun = False
    print("done", ticks, flush=True)
