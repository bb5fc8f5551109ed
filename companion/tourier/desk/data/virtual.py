"""The demo's bench timer: the real firmware in the virtual kitchen, with a cook who does what the screen says."""

from __future__ import annotations

import atexit
import shutil
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from tourier.device.virtual.interpreter import ready, scratch_folder

if TYPE_CHECKING:
    from tourier.design import Design

_SPEED = 30.0  # half an hour of the day in a minute: fast enough to see something happen, slow enough to follow
_BEFORE_S = 120
_CHUNK_S = 300.0  # of the virtual day between two looks at the screen


class VirtualBench:
    """A virtual bench timer. `start` and `skip_to` take seconds: call them in a thread."""

    def __init__(
        self, seed: int = 7, speed: float = _SPEED, scenario: str = "good", folder: Path | None = None
    ) -> None:
        self._seed, self._speed, self._scenario = seed, speed, scenario
        self._own = folder is None
        self._folder = folder or scratch_folder()
        self.board = None
        self._lock = threading.Lock()
        atexit.register(self.close)  # one that was being switched on when the desk was left

    def start(self, planned: Design) -> str:
        """Switch a timer on shortly before the first step of a plan; return its port."""
        ready()
        from tourier.device.virtual.board import VirtualTimer
        from tourier.device.virtual.cook import Cook
        from tourier.device.virtual.kitchen import PlayedKitchen
        from tourier.device.virtual.scenarios import scenario
        from tourier.rehearsal import kitchen_of

        with self._lock:
            plan = planned.plan
            played = scenario(self._scenario)
            start_at_s = plan.steps[0].start_at_s - _BEFORE_S
            kitchen = PlayedKitchen(played.configure(kitchen_of(planned.spec, start_at_s, plan)), self._seed)
            cook = Cook(None, played, self._seed)  # he takes the plan that the timer is sent
            board = VirtualTimer(
                self._folder / "flash.img", kitchen, cook, start_at_s=start_at_s, seed=self._seed, speed=self._speed
            )
            board.__enter__()
            self.board = board
            return board.port

    def clock(self) -> float:
        """Return the virtual kitchen's time, project epoch."""
        board = self.board
        return 0.0 if board is None else board.start_at_s + board.ticks_ms / 1000

    def calm(self, on: bool) -> None:
        """Let time go as in life while something is transferred: the firmware's patience is counted in its own time."""
        if self.board is not None:
            self.board.speed = 1.0 if on else self._speed

    def skip(self, seconds: float) -> None:
        """Play `seconds` as fast as this computer can."""
        with self._lock:
            if self.board is not None:
                self.board.run_for(seconds)

    def play_on(self, end_at_s: float, show: Callable[[int, int], None]) -> None:
        """Play as fast as this computer can until the plan is finished, or an hour after `end_at_s` at the latest.

        `show(done, total)` in seconds; it may raise to break off.
        """
        begun = self.clock()
        total = max(1, int(end_at_s + 3600 - begun))
        while self.board is not None and self.clock() < end_at_s + 3600:
            self.skip(_CHUNK_S)
            show(int(self.clock() - begun), total)
            if self.board is None or self.board.glance.mode == 2:  # finished
                break
            time.sleep(0.02)  # lets the link have its say
        show(total, total)

    def close(self) -> None:
        """Switch it off and forget its flash."""
        with self._lock:
            if self.board is not None:
                self.board.close()
                self.board = None
        if self._own:
            shutil.rmtree(self._folder, ignore_errors=True)
        atexit.unregister(self.close)


class Hurry:
    """A virtual day being played to its end as fast as this computer can; `stop` lets time go its usual way again."""

    def __init__(self, virtual: VirtualBench, end_at_s: float) -> None:
        self._virtual, self._end_at_s = virtual, end_at_s
        self._stopped = threading.Event()

    def stop(self) -> None:
        """Stop hurrying."""
        self._stopped.set()

    def play(self, show: Callable[[int, int], None]) -> str:
        """Play, in a thread; return the sentence for its end."""

        def shown(done: int, total: int) -> None:
            if self._stopped.is_set():
                raise InterruptedError
            show(done, total)

        try:
            self._virtual.play_on(self._end_at_s, shown)
        except InterruptedError:
            return "Time goes its usual way again."
        return "The day is played: collect its log with l."
