"""Looking after a timer, as jobs for its follower's thread and as work that needs the port alone."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from tourier.desk.data.follow import Job, Progress
from tourier.device import upkeep
from tourier.device.client import Timer, project_now
from tourier.device.errors import LinkError

_LET_GO_S = 20.0  # opening a port that does not answer takes up to ten seconds before it is given up


def check(clock: Callable[[], float] | None) -> Job:
    """Self-test, counters, clock and storage as lines; a virtual timer's clock is held against its own world's."""
    return lambda timer, progress: _check(timer, progress, clock or project_now)


def _check(timer: Timer, progress: Progress, now_s: Callable[[], float]) -> str:
    progress(0, 2)
    health = upkeep.check(timer)
    progress(2, 2)
    years = "more than 9000" if health.wear_years >= 9999 else str(health.wear_years)
    against = timer.read_clock(now_s).error_s
    clock = "known" if health.clock.ok else "NOT known: press t to set it"
    held = [f"  plan {number:08x}: {'collected' if done else 'not collected yet'}" for number, done in health.batches]
    info = health.info
    return "\n".join([
        f"{'✓' if health.passed else '✕'} self-test {'passed' if health.passed else 'NOT passed'}",
        *[f"  {line}" for line in health.lines], "",
        f"clock {clock}, {against:+.1f} s off",
        f"program {info.firmware}, board {info.board_id}, free memory {info.heap_free} bytes",
        f"log held: {info.journal_octets} bytes of journal, {info.samples_octets} of temperatures", *held,
        f"flash lasts {years} years at this pace", "",
        "worst turn by task: " + ", ".join(f"{name} {ms:.1f} ms" for name, ms in health.worst_ms.items()),
        "counters: " + ", ".join(f"{name} {value}" for name, value in health.counters.items()),
    ])  # fmt: skip


def set_clock(clock: Callable[[], float] | None) -> Job:
    """Set the clock: a virtual timer's by its own world, a real one's by this computer."""

    def job(timer: Timer, _progress: Progress) -> str:
        offset = datetime.now().astimezone().utcoffset()
        minutes = round(offset.total_seconds() / 60) if offset else 0
        reading = timer.set_clock(clock or project_now, minutes)
        return f"The timer's clock is set, right within {max(reading.within_s, 0.001) * 1000:.0f} ms."

    return job


def ice_point(channel: str) -> Job:
    """Take the present reading as 0 °C."""

    def job(timer: Timer, _progress: Progress) -> str:
        offset, said = upkeep.ice_point(timer, channel), upkeep.voice(timer)
        more = said.difference(offset / 100, 2, sign=True)
        return f"Ice point kept: {more} are added to the {channel}'s readings from now on."

    return job


def boil_point(channel: str, expected_c: float) -> Job:
    """Compare the present reading with the boiling point here."""

    def job(timer: Timer, _progress: Progress) -> str:
        error, said = upkeep.boil_point(timer, channel, round(expected_c * 100)), upkeep.voice(timer)
        off = said.difference(error / 100, 2, sign=True)
        return (
            f"Water boils at {said.tenths(expected_c)} here; the {channel} reads {off} off. Nothing was changed: dough "
            f"and butter live at {said.window(0, 30)}, where the ice point counts."
        )

    return job


def alone(
    what: str,
    port: str,
    file: Path | None,
    progress: Callable[[str, int, int], None],
    let_go: Callable[[float], bool] = lambda _wait_s: True,
) -> str:
    """Install, back up or restore through a port that nobody else holds; return the sentence, also of a failure.

    `let_go(seconds)` waits until the follower's last look is over and the port is free, and tells whether it is.
    """
    from tourier.device import install as installing

    if not let_go(_LET_GO_S):
        return "✕ The timer's port is still busy; wait a moment and do it again."
    try:
        if what == "install":
            done = installing.install(port, progress)
            return (
                f"{done.written} files written and verified, {done.unchanged} were right already, {done.removed} "
                "removed. The timer starts with the new program."
            )
        assert file is not None
        if what == "backup":
            return f"{installing.backup(port, file, progress)} files saved in {file}."
        return f"{installing.restore(port, file, progress)} files restored from {file}."
    except (LinkError, OSError) as problem:
        return f"✕ {problem}"


class Steady:
    """Whether a reading stands still: all of the last `for_s` seconds within `span_cdeg`."""

    def __init__(self, for_s: int = 60, span_cdeg: int = 10) -> None:
        self._for_s, self._span_cdeg = for_s, span_cdeg
        self._kept: list[tuple[int, int]] = []

    def add(self, at_s: int, cdeg: int | None) -> None:
        """Take a reading; no reading, or time going backwards, begins anew."""
        if cdeg is None or (self._kept and at_s < self._kept[-1][0]):
            self._kept = []
        if cdeg is not None:
            self._kept.append((at_s, cdeg))
            self._kept = [one for one in self._kept if one[0] >= at_s - self._for_s]

    @property
    def span_cdeg(self) -> int | None:
        """Highest minus lowest of what is kept, None without readings."""
        values = [cdeg for _at, cdeg in self._kept]
        return max(values) - min(values) if values else None

    @property
    def held_s(self) -> int:
        """How long readings have been watched without a break."""
        return self._kept[-1][0] - self._kept[0][0] if self._kept else 0

    @property
    def still(self) -> bool:
        """True when it stands still."""
        span = self.span_cdeg
        return span is not None and self.held_s >= self._for_s - 2 and span <= self._span_cdeg
