"""What the link asks of the timer, answered from app, day and store. Methods as link.DeviceSession wants them."""

import gc
import struct

import config
from clock import EARLIEST_S
from store import AGREED, COLLECTED, COLLECTED_JOURNAL, COLLECTED_SAMPLES

from shared_schedule import day as D
from shared_schedule import messages as m
from shared_schedule import plan as P
from shared_schedule import thermistor
from shared_schedule.units import NO_CDEG
from shared_schedule.voice import degrees

_STEP_MS = 20  # of a turn for a plan on its way in


class Handler:
    def __init__(self, app):
        self.app = app
        self._taking = None  # a plan on its way from octets to the day: [octets, its decoding, the plan, on flash]

    # --- who and what ---------------------------------------------------------------------------------------------

    def hello(self):
        app = self.app
        store = app.store
        return {
            "firmware": config.FIRMWARE,
            "board_id": app.board.board_id(),
            "boot_id": store.boots & 0xFFFFFFFF,
            "plan_id": store.plan_id if app.bench.plan is not None else 0,
            "running": app.bench.mode,
            "clock_ok": 1 if app.clock.ok else 0,
            "heap_free": gc.mem_free(),
            "journal_octets": store.journal_size(),
            "samples_octets": store.samples_octets(),
            "read_block": app.board.READ_BLOCK,
        }

    def state(self):
        app = self.app
        bench = app.bench
        steps = b""
        focus = -1
        if bench.plan is not None:
            state = bench.state
            focus = D.focus(bench.plan, state, app.clock.now_s)
            for index in range(min(len(bench.plan.steps), m.STEPS_MAX)):
                steps += struct.pack(
                    m.STEP_RECORD, state.steps[index], state.started_at_s[index], state.ended_at_s[index]
                )
        top = app.alarms.top
        return {
            "plan_id": app.store.plan_id if bench.plan is not None else 0,
            "at_s": app.clock.now_s,
            "running": bench.mode,
            "focus": focus if 0 <= focus < 255 else 255,
            "alarm": top.kind if top is not None else 0,
            "fault": app.sampler.probe.fault | app.sampler.bench.fault << 4,
            "steps": steps,
        }

    def telemetry(self):
        app = self.app
        g = app.ui.glance
        left = g.left_s if g.left_s <= 0x7FFFFFFF else -1
        return {
            "at_s": app.clock.now_s, "mode": g.mode, "word": g.code, "step_id": g.step_id, "fold_n": g.fold_n,
            "fold_of": g.fold_of, "bench_cdeg": app.sampler.bench.cdeg, "probe_cdeg": app.sampler.probe.cdeg,
            "low_cdeg": g.low_cdeg, "high_cdeg": g.high_cdeg, "left_s": left, "slack_s": g.slack_s,
            "alarm": g.alarm, "fault": g.fault,
            "more": b"".join([struct.pack("<Bh", c.number, c.cdeg) for c in app.sampler.channels[2:]]),
        }  # fmt: skip

    # --- plan -----------------------------------------------------------------------------------------------------

    def plan_held(self):
        app = self.app
        if app.bench.plan is None:
            return 0, 0
        return app.store.plan_id, app.store.plan_id  # the id is the CRC-32 of the bytes

    def plan_room(self):
        return m.PLAN_MAX

    def on_plan(self, data):
        gc.collect()
        self._taking = [data, P.decoding(data), None, False]

    def plan_step(self):
        """One step of the plan on its way in; the old one goes on meanwhile, and is replaced in one turn at the end."""
        taking = self._taking
        try:
            answer = self._take(taking)
        except MemoryError:
            # Two whole plans do not fit beside each other; without the old one's steps, which flash holds, the new may.
            answer = self._take_alone(taking)
        except (ValueError, OSError):
            self._taking = None
            raise
        if answer is not None:
            self._taking = None
        return answer

    def _take(self, taking):
        data, decoding, plan, stored = taking
        if plan is None:
            board = self.app.board
            begun = board.ticks_ms()
            while taking[2] is None and (board.ticks_ms() - begun) & 0x3FFFFFFF < _STEP_MS:
                taking[2] = next(decoding)
            return None
        refusal = self._refusal(plan)
        if refusal is not None:
            return refusal
        bench = self.app.bench
        plan_id = P.plan_id(data)
        if bench.plan is not None and bench.mode == D.DAY_RUNNING:
            if not stored:
                self.app.store.next_plan(data)
                taking[3] = True
                return None
            bench.replace(plan, data, plan_id, self.app.clock.now_s)
            self.app.plan_changed(self.app.clock.now_s)
            return m.OK, "replaced; what has happened stays"
        return self._begin(plan, data, plan_id)

    def _take_alone(self, taking):
        bench = self.app.bench
        data = taking[0]
        taking[1] = taking[2] = None
        bench.put_aside()
        gc.collect()
        try:
            plan = P.decode(data)
            refusal = self._refusal(plan)
            if refusal is not None:
                return refusal
            if bench.aside is None or bench.mode != D.DAY_RUNNING:
                return self._begin(plan, data, P.plan_id(data))
            self.app.store.next_plan(data)
            bench.replace(plan, data, P.plan_id(data), self.app.clock.now_s)
            self.app.plan_changed(self.app.clock.now_s)
            return m.OK, "replaced; what has happened stays"
        except MemoryError:
            plan = None
            return m.TOO_LARGE, "the timer has no memory for so many steps; plan fewer at a time"
        finally:
            plan = None
            bench.take_back()

    def _refusal(self, plan):
        """Why a plan may not be taken now, None when it may."""
        app = self.app
        bench = app.bench
        held = bench.plan or bench.aside
        if held is None:
            return None
        if bench.mode == D.DAY_RUNNING and plan.name != held.name:
            return m.BUSY, "a day is running (%s); finish or forget it first" % held.name
        if bench.mode == D.FINISHED and app.store.flags & COLLECTED != COLLECTED:
            # Only the batch in hand can be collected: another plan would put this one's log out of reach.
            return m.REFUSED, "the log of %s was not collected; collect it, or forget it" % held.name
        return None

    def _begin(self, plan, data, plan_id):
        app = self.app
        if app.bench.mode == D.IDLE and (app.bench.plan or app.bench.aside) is not None:
            app.store.mark(AGREED)  # nothing happened under it
        if not app.store.make_room(len(data) + 4096):
            return m.STORAGE, "the timer is full of logs that were not collected; collect them first"
        app.flush()
        app.bench.begin(plan, data, plan_id, app.clock.now_s)
        app.plan_changed(app.clock.now_s)
        return m.OK, "stored"

    # --- logs -----------------------------------------------------------------------------------------------------

    def log_info(self, stream):
        store = self.app.store
        if stream == m.STREAM_JOURNAL:
            return 0, store.journal_size()
        if stream == m.STREAM_SAMPLES:
            self.app.flush()
            return 0, store.samples_octets()
        if stream == m.STREAM_PLAN:
            return 0, store.plan_size()
        if stream == m.STREAM_CRASH:
            return 0, store.crash_size()
        return None

    def log_read(self, stream, offset, n, into):
        store = self.app.store
        into = into[:n]
        if stream == m.STREAM_JOURNAL:
            return store.read_journal(offset, n, into)
        if stream == m.STREAM_SAMPLES:
            return store.read_samples(offset, n, into)
        if stream == m.STREAM_PLAN:
            return store.read_plan(offset, n, into)
        return store.read_crash(offset, n, into)

    def log_drop(self, plan_id, stream, upto):
        store = self.app.store
        if stream == m.STREAM_CRASH:
            store.drop_crash()
            return m.OK, ""
        if plan_id != store.plan_id or not store.number:
            return m.NO_PLAN, "that plan is not held"
        if self.app.bench.mode == D.DAY_RUNNING:
            return m.OK, "kept until the day is finished"
        if stream == m.STREAM_JOURNAL and upto >= store.journal_size():
            store.mark(COLLECTED_JOURNAL)
        elif stream == m.STREAM_SAMPLES and upto >= store.samples_octets():
            store.mark(COLLECTED_SAMPLES)
        return m.OK, ""

    # --- clock, commands ------------------------------------------------------------------------------------------

    def clock_get(self):
        clock = self.app.clock
        return clock.now_s, clock.millis(), clock.offset_min, 1 if clock.ok else 0

    def clock_set(self, now_s, ms, offset_min):
        if now_s < EARLIEST_S or now_s > P.S32_MAX or ms > 999 or abs(offset_min) > 1080:
            return m.BAD_VALUE, "not a time this timer can have"
        self.app.set_clock(now_s + (1 if ms >= 500 else 0), offset_min)
        return m.OK, ""

    def command(self, action, step_id, arg):
        app = self.app
        bench = app.bench
        now_s = app.clock.now_s
        if action == m.ACTION_ACKNOWLEDGE:
            return (m.OK, "") if app.acknowledge(now_s) else (m.ALREADY, "no alarm stands")
        if action == m.ACTION_SNOOZE:
            return (m.OK, "") if app.alarms.snooze(now_s) else (m.ALREADY, "no alarm stands")
        if bench.plan is None:
            return m.NO_PLAN, "no plan is held"
        if action == m.ACTION_FORGET_PLAN:
            if bench.mode == D.DAY_RUNNING and arg != D.DELIBERATE:
                return m.REFUSED, "a day is running; say it deliberately"
            kept = app.store.flags & COLLECTED == COLLECTED
            if bench.mode == D.FINISHED and not kept and arg != D.DELIBERATE:
                return m.REFUSED, "its log was not collected; collect it, or say it deliberately"
            app.flush()
            if not kept:
                app.store.mark(AGREED)  # said deliberately, or nothing happened under it
            bench.forget()
            app.plan_changed(now_s)
            return m.OK, ""
        if action == m.ACTION_BEND:
            return self._bend(arg, now_s)
        events = {
            m.ACTION_STEP_START: D.EV_START_STEP, m.ACTION_STEP_DONE: D.EV_STEP_DONE, m.ACTION_STEP_SKIP: D.EV_SKIP,
            m.ACTION_UNDO: D.EV_UNDO, m.ACTION_TICK: D.EV_TICK,
        }  # fmt: skip
        if action not in events:
            return m.UNKNOWN, "no such action"
        effects = app.apply(bench.press((events[action], step_id, arg), now_s, D.BY_LINK), now_s)
        for effect in effects:
            if effect[0] == D.FX_REFUSED:
                if bench.store_failed:
                    return m.STORAGE, "the timer could not write its journal"
                if self._so_already(action, step_id):
                    return m.ALREADY, ""
                return m.REFUSED, D.REASONS[effect[2]]
        return m.OK, ""

    def _so_already(self, action, step_id):
        bench = self.app.bench
        index = bench.plan.index_of(step_id)
        if index < 0:
            return False
        state = bench.state.steps[index]
        return (
            (action == m.ACTION_STEP_START and D.is_open(state))
            or (action == m.ACTION_STEP_DONE and state == D.DONE)
            or (action == m.ACTION_STEP_SKIP and state == D.SKIPPED)
        )

    def _bend(self, verdict, now_s):
        app = self.app
        cdeg = app.sampler.probe.cdeg
        if not 1 <= verdict <= 3:
            return m.BAD_VALUE, "a verdict is 1 cracked, 2 bent clean or 3 greasy"
        if cdeg == NO_CDEG:
            return m.REFUSED, "the probe has no reading"
        if not app.bench.bend(cdeg, verdict, now_s):
            return m.STORAGE, "the timer could not write its journal"
        return m.OK, "at " + self._said(cdeg)

    def note(self, text):
        from shared_schedule import journal as J

        app = self.app
        if app.bench.plan is None:
            return m.NO_PLAN, "no plan is held"
        if not app.store.room_for_note(len(text)):
            return m.STORAGE, "its memory is nearly full: collect the log first"
        ok = app.bench.note(app.clock.now_s, J.NOTE, text)
        return (m.OK, "") if ok else (m.STORAGE, "the timer could not write its journal")

    # --- settings, health -----------------------------------------------------------------------------------------

    def setting_get(self, key):
        app = self.app
        if key == "batches":
            out = b""
            for batch in app.store.batches()[-12:]:
                out += struct.pack("<IB", batch[1], batch[2])
            return out
        if key == "wear_years":
            erases = app.board.flash_counts()[1]
            return b"%d" % app.store.wear_years(erases, app.uptime_s())
        if key == "latency":
            return app.supervisor.latency_text()
        if key.startswith("histogram:"):
            return app.supervisor.histogram_text(key[10:])
        for values in (app.settings, app.calibration):
            if key in values.values:
                return values.text(key).encode()
        return None

    def setting_set(self, key, value):
        app = self.app
        text = bytes(value).decode()
        if key == "ice_point":
            return self._ice_point(text)
        if key == "boil_point":
            return self._boil_point(text)
        if key not in app.settings.values:
            return m.UNKNOWN, "no setting of that name"
        app.settings.set_text(key, text)
        app.store.save(config.PATH_SETTINGS, app.settings.pack())
        app.settings_changed()
        return m.OK, ""

    def _channel(self, name):
        if name not in ("bench", "probe"):
            raise ValueError("the channel is 'bench' or 'probe'")
        return self.app.sampler.probe if name == "probe" else self.app.sampler.bench

    def _ice_point(self, name):
        app = self.app
        channel = self._channel(name)
        if channel.cdeg == NO_CDEG:
            return m.REFUSED, "the %s has no reading" % name
        offset = thermistor.ice_offset(channel.cdeg - channel.offset_cdeg)
        app.calibration.set("offset_" + name, offset)
        app.calibration.set("ice_at_s", app.clock.now_s)
        app.store.save(config.PATH_CALIBRATION, app.calibration.pack())
        app.settings_changed()
        return m.OK, "offset %d/100 K" % offset

    def _said(self, cdeg):
        us = self.app.bench.us
        return degrees(cdeg, us) + (" F" if us else " C")

    def _boil_point(self, text):
        app = self.app
        name, _, wanted = text.partition(":")
        channel = self._channel(name)
        if channel.cdeg == NO_CDEG:
            return m.REFUSED, "the %s has no reading" % name
        error = channel.cdeg - int(wanted)
        if abs(error) > 1000:
            return m.REFUSED, "it reads %s, nowhere near boiling" % self._said(channel.cdeg)
        app.calibration.set("boil_error", error)
        app.store.save(config.PATH_CALIBRATION, app.calibration.pack())
        return m.OK, "reads %s, off by %d/100 K" % (self._said(channel.cdeg), error)

    def counters(self):
        app = self.app
        supervisor = app.supervisor
        return {
            "uptime_s": app.uptime_s(), "boots": app.store.boots, "heap_free": supervisor.heap_free,
            "heap_low": supervisor.heap_low, "loop_worst_ms": supervisor.loop_worst_us // 1000,
            "flash_writes": app.board.flash_counts()[0] or app.store.writes,
        }  # fmt: skip

    def self_test(self):
        return self.app.self_test()
