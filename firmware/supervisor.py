"""Watches over the loop: every task alive or no food for the watchdog; how long each took; how low memory went.

The only module that feeds the watchdog. Times are measured with the interpreter's own microsecond counter, which
serves nothing else.
"""

import gc
import time

# Tasks, in the order of a turn.
LINK = 0
BUTTONS = 1
SAMPLE = 2
DAY = 3
STORE = 4
SCREEN = 5
TASKS = ("link", "buttons", "sample", "day", "store", "screen")
_ALL = (1 << len(TASKS)) - 1

BUCKETS_MS = (1, 2, 5, 10, 20, 50)
WATCHDOG_MS = 8300  # an RP2040's longest is 8388
LOW_MEMORY = 24576  # less free than this after a collection: screens may be next to fail


class Supervisor:
    def __init__(self, board, watched):
        self._board = board
        self._watched = watched
        self._alive = 0
        self._begun = 0
        self.histogram = [[0] * (len(BUCKETS_MS) + 1) for _ in TASKS]
        self.worst_us = [0] * len(TASKS)
        self.total_ms = [0] * len(TASKS)
        self._rest_us = [0] * len(TASKS)
        self.loop_worst_us = 0
        self._loop_us = 0
        self.heap_free = 0
        self.heap_low = 0
        self.low_memory = False

    def arm(self):
        """Start the watchdog, when it is wanted: as late as can be, when all is ready for the first turn."""
        if self._watched:
            self._board.watchdog_start(WATCHDOG_MS)

    def begin(self):
        """A task's turn begins."""
        self._begun = time.ticks_us()

    def end(self, task):
        """It has ended, alive."""
        us = time.ticks_diff(time.ticks_us(), self._begun)
        self._alive |= 1 << task
        if us > self.worst_us[task]:
            self.worst_us[task] = us
        at = 0
        while at < len(BUCKETS_MS) and us >= BUCKETS_MS[at] * 1000:
            at += 1
        self.histogram[task][at] += 1
        self._loop_us += us
        rest = self._rest_us[task] + us
        self.total_ms[task] += rest // 1000
        self._rest_us[task] = rest % 1000

    def turn(self):
        """A turn of the loop is over: feed the watchdog when every task has been seen since the last feeding."""
        if self._loop_us > self.loop_worst_us:
            self.loop_worst_us = self._loop_us
        self._loop_us = 0
        if self._watched and self._alive == _ALL:
            self._alive = 0
            self._board.keep_time(True)
            self._board.watchdog_feed()

    def histogram_text(self, task):
        """A task's turns by how long they took: counts below each of BUCKETS_MS and above the last; None: no such."""
        if task not in TASKS:
            return None
        return ",".join(["%d" % count for count in self.histogram[TASKS.index(task)]]).encode()

    def latency_text(self):
        """Worst turn of each task in 0.1 ms, then all its turns together in s."""
        worst = ["%d" % (us // 100) for us in self.worst_us]
        return (",".join(worst) + ";" + ",".join(["%d" % (ms // 1000) for ms in self.total_ms])).encode()

    def measure(self):
        """Collect garbage and take note of memory; call at a quiet moment."""
        gc.collect()
        self.heap_free = gc.mem_free()
        if not self.heap_low or self.heap_free < self.heap_low:
            self.heap_low = self.heap_free
        self.low_memory = self.heap_free < LOW_MEMORY
        return self.heap_free
