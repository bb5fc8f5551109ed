"""A rehearsal without the interpreter: the firmware's own day, alarms and screens run under CPython.

The same files as on the board (bench, ui, alarms, forecast, app's rules) with the same scripted cook and virtual
kitchen; left out are drivers, flash, link and the picture. Ten times as fast as the real thing, for tables of many
kitchens; `fault_table.py --firmware` confirms a sample of them on the real interpreter.
"""

from __future__ import annotations

import sys
import types
from pathlib import Path

_FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"


def _firmware():
    """Import the firmware's application under CPython; `framebuf` is MicroPython's own and nothing is drawn here."""
    if str(_FIRMWARE) not in sys.path:
        sys.path.append(str(_FIRMWARE))
    if "framebuf" not in sys.modules:
        sys.modules["framebuf"] = types.ModuleType("framebuf")
        sys.modules["framebuf"].MONO_HLSB = 3  # tables of the screen name it when they are imported
    import alarms
    import app
    import buttons
    import keeper
    import ui
    import watch
    from bench import Bench

    return app, alarms, ui, buttons, watch.Watch, keeper.Keeper, Bench


class _Store:
    """What the bench writes, in memory."""

    def __init__(self, plan_bytes: bytes) -> None:
        self.plan = plan_bytes
        self.records = bytearray()
        self.samples = bytearray()
        self.saved: dict[str, bytes] = {}
        self.losses: list = []
        self.number = 1
        self.tight = False

    def begin(self, *_a) -> None: ...
    def finish_replacement(self) -> None: ...

    def append(self, data: bytes) -> None:
        self.records += data

    def append_samples(self, block) -> bool:
        self.samples += bytes(block)
        return True

    def journal(self):
        return [bytes(self.records)]

    def save(self, path, payload) -> None:
        self.saved[path] = payload

    def load(self, path, _what):
        return self.saved.get(path)


class _Reading:
    def __init__(self, number: int) -> None:
        self.number, self.cdeg, self.fault = number, -32768, 0


class FastDay:
    """Plays a plan with a Cook in a PlayedKitchen. After `run`: `.journal`, `.samples`, `.cook`."""

    def __init__(self, plan, plan_bytes: bytes, kitchen, cook) -> None:
        from shared_schedule import plan as P
        from shared_schedule.channels import USUAL

        app, alarms, ui, buttons, watch_class, keeper_class, bench_class = _firmware()
        self._glance_module = ui.G
        self._buttons = buttons
        self.kitchen, self.cook = kitchen, cook
        self.now_s = plan.made_at_s
        self.store = _Store(plan_bytes)
        timer = app.App.__new__(app.App)  # its rules without its drivers
        timer.board = types.SimpleNamespace(channels=USUAL, mark=lambda _t: None, plan_held=lambda _d: None,
                                            ticks_ms=lambda: self.now_s * 1000 % (1 << 30))  # fmt: skip
        timer.store = self.store
        timer.alarms = alarms.Alarms()
        timer.air = types.SimpleNamespace(cdeg=-32768, rh_pct=0, turn=lambda: None)
        timer.clock = types.SimpleNamespace(ok=True, now_s=self.now_s, offset_min=0, millis=lambda: 0)
        timer.sounder = types.SimpleNamespace(play=lambda *_a: None, hush=lambda: None)
        channels = (_Reading(0), _Reading(1))
        timer.sampler = types.SimpleNamespace(channels=channels, bench=channels[0], probe=channels[1], readings=[])
        timer.supervisor = types.SimpleNamespace(measure=lambda: None, low_memory=False)
        timer.buttons = buttons.Buttons()
        timer.settings = {"sound": 0}
        timer.bench = bench_class(self.store, timer.board)
        timer.bench.clock_ok = True
        timer.watch = watch_class(timer)
        timer.keeper = keeper_class(timer, self.now_s)
        timer.ui = ui.Ui(timer)
        timer._sampled_s = self.now_s
        timer.ticks = timer.board.ticks_ms
        self.timer = timer
        timer.bench.begin(plan, plan_bytes, P.plan_id(plan_bytes), self.now_s)
        timer.keeper.begin(self.now_s)
        self.finished = False

    def _read(self) -> None:
        from shared_schedule.units import NO_CDEG

        kitchen = self.kitchen
        for channel, c, broken in zip(self.timer.sampler.channels, (kitchen.bench_c, kitchen.probe_c),
                                      (kitchen.bench_fault_kind, kitchen.probe_fault_kind), strict=True):  # fmt: skip
            channel.fault = {"open": 1, "short": 2}.get(broken or "", 0)
            # Beyond 60 °C the board's chain reads too, but nothing of it matters here.
            channel.cdeg = NO_CDEG if c is None else max(-5000, min(12000, round(c * 100)))
        self.timer.sampler.readings = [channel.cdeg for channel in self.timer.sampler.channels]
        self.timer.air.cdeg = round(kitchen.air_c * 100)
        self.timer.air.rh_pct = round(kitchen.air_humidity * 100)

    def run(self, until_s: int, step_s: int = 5) -> FastDay:
        """Play until `until_s` or the plan is finished."""
        timer, kitchen = self.timer, self.kitchen
        bench, ui = timer.bench, timer.ui
        while self.now_s < until_s:
            self.now_s += step_s
            now = self.now_s
            kitchen.advance(step_s)
            timer.clock.now_s = now
            self._read()
            timer._on_sample(now)
            timer.apply(bench.on_time(now), now)
            timer.keeper.turn(now)
            for _ in range(4):  # the cook may press again at what he then sees
                glance = self._look(now)
                presses = self.cook.act(now, glance, kitchen) if self.cook.wants(now, 0) else []
                if not presses:
                    break
                for button, for_ms in presses:
                    which = ("left", "middle", "right").index(button)
                    kind = self._buttons.LONG if for_ms >= 700 else self._buttons.SHORT
                    ui.press((self._buttons.LEFT, self._buttons.MIDDLE, self._buttons.RIGHT)[which], kind, now)
                self.cook._next_s = now
            if bench.mode == 2:
                self.finished = True
                break
        timer.flush()
        return self

    def _look(self, now: int):
        from tourier.device.virtual.sidechannel import parse_glance

        return parse_glance(self.timer.ui.compose(now).octets())

    @property
    def journal(self) -> bytes:
        """The journal as the board would hand it over."""
        return bytes(self.store.records)

    @property
    def samples(self) -> bytes:
        """The sample blocks alike."""
        return bytes(self.store.samples)


