"""Keeps the temperatures: coded at each reading, on flash every half minute; now and then the air and the memory.

At most FLUSH_S of temperatures is lost with the power. What could not be written is said.
"""

import store as S

from shared_schedule import day as D
from shared_schedule import journal as J
from shared_schedule.samples import SampleWriter
from shared_schedule.units import NO_CDEG

SAMPLE_S = 5
FLUSH_S = 30
AIR_S = 900
MEASURE_S = 300


class Keeper:
    """`app` gives bench, sampler, air, store, board, clock, supervisor, alarms and raise_()."""

    def __init__(self, app, now_s):
        self._app = app
        self._numbers = tuple([channel.number for channel in app.sampler.channels])
        self._writer = SampleWriter(SAMPLE_S, self._numbers)
        self._flushed_s = 0
        self._aired_s = self._measured_s = now_s
        self._lost = 0  # octets of samples that flash refused, not yet said
        self._unwritten = 0  # blocks of samples that flash refused, one after the other

    def begin(self, now_s):
        """Another batch is in hand: its log begins now."""
        self._writer = SampleWriter(SAMPLE_S, self._numbers)
        self._flushed_s = now_s

    def clock_set(self, now_s):
        self._flushed_s = self._aired_s = self._measured_s = now_s

    def turn(self, now_s):
        """Take the reading just made into the log; measure memory at quiet moments."""
        app = self._app
        bench = app.bench
        if bench.plan is not None and bench.mode != D.FINISHED:
            readings = app.sampler.readings
            if not self._writer.add(now_s, readings):
                self.flush()
                self._writer.add(now_s, readings)
            if not 0 <= now_s - self._flushed_s < FLUSH_S - SAMPLE_S:
                self._flushed_s = now_s
                self.flush()
            if not 0 <= now_s - self._aired_s < AIR_S:
                self._aired_s = now_s
                if app.air is not None and app.air.cdeg != NO_CDEG:
                    bench.note(now_s, J.AIR, app.air.cdeg, app.air.rh_pct)
        if not 0 <= now_s - self._measured_s < MEASURE_S:
            self._measured_s = now_s
            app.supervisor.measure()
            if app.supervisor.low_memory:
                app.raise_(J.LOW_MEMORY, 0, now_s)

    def flush(self):
        """Write the samples in hand."""
        app = self._app
        writer = self._writer
        if not writer.count:
            return
        now_s = app.clock.now_s
        block = writer.block()
        try:
            if app.store.append_samples(block):
                app.board.mark("samples %d" % (writer.next_at_s - SAMPLE_S))
                self._unwritten = 0
                if self._lost:
                    app.bench.note(now_s, J.LOST, S.LOST_SAMPLES, self._lost)
                    self._lost = 0
                app.alarms.clear(J.LOW_MEMORY, S.NO_ROOM)
                return
            if app.store.losses:
                what, octets = app.store.losses.pop()
                app.bench.note(now_s, J.LOST, what, octets)
            app.raise_(J.LOW_MEMORY, S.NO_ROOM, now_s)
        except OSError:
            app.bench.store_failed = True
            self._unwritten += 1
            self._lost += len(block)
            if self._unwritten >= 2:  # a single failure passes; the gap is in the log
                app.raise_(J.LOW_MEMORY, S.NO_ROOM, now_s)
        writer.restart()
