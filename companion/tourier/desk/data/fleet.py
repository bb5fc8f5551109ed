"""All bench timers that are followed: found by themselves, each with its own thread, one of them in view."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from shared_schedule.samples import CHANNELS_MAX

_SCAN_EVERY_S = 3.0  # listing ports reads a few small files; a cook who plugs in looks up after about that time
_NAMED = 4  # digits of a board's own number that name it
_CLOCK_SET_S = 5
_KEPT = 20_000  # looks kept of each timer for the live picture: five hours at one a second


@dataclass(frozen=True)
class LinkState:
    """The link to a timer: `kind` is none, looking, connected, lost or playing (virtual); `words` says it shortly."""

    kind: str = "none"
    words: str = "not connected"


@dataclass
class Berth:
    """One timer: its port, its state, what it holds, what was seen last. Changed on the application's loop only."""

    port: str
    follower: Any
    link: LinkState = field(default_factory=lambda: LinkState("looking", "looking for it"))
    board_id: str = ""
    firmware: str = ""
    plan: Any = None
    report: Any = None
    sight: Any = None
    why: str = ""
    clock: Callable[[], float] | None = None  # a virtual timer lives in its own time
    looks: deque[tuple[float, ...]] = field(default_factory=lambda: deque(maxlen=_KEPT))
    alarm: str = ""
    calm: Callable[[bool], None] = lambda _on: None  # slows a virtual timer while something is transferred
    twin: int = 0  # from 2: the how manieth whose number ends alike
    hurried: bool = False  # a virtual day played fast: its alarms are answered before anybody could hear them

    @property
    def connected(self) -> bool:
        """Whether commands reach it."""
        return self.link.kind in ("connected", "playing")

    def note_look(self) -> None:
        """Keep the newest look for the picture; instants ascend, a clock set back begins anew."""
        sight = self.sight
        if self.looks and sight.at_s <= self.looks[-1][0]:
            if sight.at_s > self.looks[-1][0] - _CLOCK_SET_S:
                return
            self.looks.clear()
        read_c = {number: float("nan") if cdeg is None else cdeg / 100 for number, cdeg in sight.channels}
        further = [read_c[number] for number, _cdeg in sight.channels[2:CHANNELS_MAX]]
        self.looks.append((sight.at_s, read_c[1], read_c[0], *further))

    @property
    def label(self) -> str:
        """A short name: the end of the board's own number, or the port."""
        name = f"timer {self.board_id[-_NAMED:]}" if self.board_id else self.port.rsplit("/", 1)[-1]
        return f"{name} ({self.twin})" if self.twin else name


class Fleet:
    """Berths by port. `post(port, happening)` is called in threads; `take` changes state, on the application's loop."""

    def __init__(self, post: Callable[[str, Any], object]) -> None:
        self._post = post
        self.berths: dict[str, Berth] = {}
        self.shown = ""
        self._ended = threading.Event()
        self._left_alone: set[str] = set()

    @property
    def berth(self) -> Berth | None:
        """The timer in view, None when none is known."""
        return self.berths.get(self.shown)

    def follow(
        self,
        port: str,
        clock: Callable[[], float] | None = None,
        playing: bool = False,
        calm: Callable[[bool], None] | None = None,
    ) -> Berth:
        """Begin to follow the timer at a port; again when its thread has ended."""
        from tourier.desk.data.follow import Follower
        from tourier.device.client import Timer

        before = self.berths.get(port)
        if calm is None:
            calm = before.calm if before is not None else lambda _on: None
        self.release(port)
        follower = Follower(lambda: Timer.open(port), lambda what: self._post(port, what), calm)
        berth = Berth(port, follower, clock=clock, calm=calm)
        if playing:
            berth.link = LinkState("looking", "being switched on")
        self.berths[port] = berth
        if not self.shown or playing:
            self.shown = port
        self._begin(berth)
        return berth

    def _begin(self, berth: Berth) -> None:
        threading.Thread(target=berth.follower.run, name=f"follow {berth.port}", daemon=True).start()

    def release(self, port: str) -> None:
        """Stop following a port: its timer is unplugged for good, or another program needs it."""
        berth = self.berths.pop(port, None)
        if berth is not None:
            berth.follower.stop()
        if self.shown == port:
            self.shown = next(iter(self.berths), "")

    def next(self) -> None:
        """Bring the next timer into view."""
        ports = list(self.berths)
        if ports:
            self.shown = ports[(ports.index(self.shown) + 1) % len(ports)] if self.shown in ports else ports[0]

    def stop(self) -> None:
        """Let all go."""
        self._ended.set()
        for berth in self.berths.values():
            berth.follower.stop()

    def leave_alone(self, port: str) -> None:
        """Do not open this port by itself any more: what is on it is no timer."""
        self._left_alone.add(port)

    def scan(self, found: Callable[[str], None]) -> None:
        """Look for timers until stopped, in a thread of its own; `found` gets each new port."""
        from tourier.device.ports import candidates

        told: set[str] = set()
        while not self._ended.is_set():
            present = {candidate.port for candidate in candidates()}
            for port in sorted(present - told - self._left_alone):
                found(port)
            told = present
            self._ended.wait(_SCAN_EVERY_S)

    def take(self, port: str, what: Any) -> Berth | None:
        """Note what happened at a port; None when it is no longer followed."""
        from tourier.desk.data.follow import Found, Gone, Seen

        berth = self.berths.get(port)
        if berth is None:
            return None
        if isinstance(what, Found):
            if berth.board_id not in ("", what.board_id):
                berth.looks.clear()  # another timer was plugged in here
            berth.board_id, berth.firmware, berth.plan, berth.report = (
                what.board_id, what.firmware, what.plan, what.report,
            )  # fmt: skip
            alike = [one for one in self.berths.values() if one.board_id[-_NAMED:] == what.board_id[-_NAMED:]]
            berth.twin = 0 if alike[0] is berth else alike.index(berth) + 1
            holds = f"holds “{what.plan.name}”" if what.plan is not None else "holds no plan"
            kind, word = ("playing", "virtual") if berth.clock else ("connected", "connected")
            berth.link, berth.why = LinkState(kind, f"{word}, {holds}"), ""
        elif isinstance(what, Gone):
            berth.link = LinkState("lost", "not connected" if what.hopeless else "lost, looking for it")
            berth.why, berth.sight = what.why, None
            if what.hopeless and not berth.board_id:
                self.leave_alone(port)
        elif isinstance(what, Seen):
            berth.sight = what.sight
            if what.report is not None:
                berth.report = what.report
            berth.note_look()
        return berth
