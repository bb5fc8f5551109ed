"""Collecting a batch: plan, journal, samples and crash log, resumed where a pulled cable left them.

What has arrived is kept in a folder under board and plan id, so that repeating the command asks only for the rest.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from shared_schedule import messages as m
from tourier.device.client import Timer
from tourier.device.errors import LinkError
from tourier.files import keep

_NAMES = {m.STREAM_JOURNAL: "journal", m.STREAM_SAMPLES: "samples", m.STREAM_PLAN: "plan", m.STREAM_CRASH: "crash"}


@dataclass
class CollectedLog:
    """The streams of one batch as they stand on the timer."""

    plan_id: int
    plan: bytes
    journal: bytes
    samples: bytes
    crash: bytes = b""
    _files: list[Path] = field(default_factory=list)

    def tell_collected(self, timer: Timer) -> None:
        """Tell the timer that it may make room: the logbook holds it all."""
        timer.drop(self.plan_id, m.STREAM_JOURNAL, len(self.journal))
        timer.drop(self.plan_id, m.STREAM_SAMPLES, len(self.samples))

    def forget_partial(self) -> None:
        """Delete what was kept for resuming."""
        for file in self._files:
            file.unlink(missing_ok=True)


def collect_batch(timer: Timer, folder: Path, progress: Callable[[int, int], None] | None = None) -> CollectedLog:
    """Fetch every stream of the batch the timer holds; what arrived before Ctrl-C or trouble stays in `folder`.

    `progress` gets (octets so far, octets in all). Raises LinkError.
    """
    info = timer.hello()
    streams = (m.STREAM_PLAN, m.STREAM_JOURNAL, m.STREAM_SAMPLES, m.STREAM_CRASH)
    ends = {stream: timer.extent(stream)[1] for stream in streams}
    total = max(1, sum(ends.values()))
    before = 0
    got: dict[int, bytes] = {}
    files = []
    for stream in streams:
        file = folder / f"{info.board_id}-{info.plan_id:08x}-{_NAMES[stream]}.part"
        files.append(file)
        have = file.read_bytes() if file.exists() else b""

        def shown(done: int, _end: int, before: int = before) -> None:
            if progress is not None:
                progress(before + done, total)

        try:
            got[stream] = timer.collect(stream, have, shown) if ends[stream] else b""
        except (LinkError, KeyboardInterrupt) as problem:
            arrived = getattr(problem, "partial", b"")
            if len(arrived) > len(have):
                keep(file, arrived)
            raise
        if got[stream]:
            keep(file, got[stream])
        before += ends[stream]
        shown(0, 0, before)
    return CollectedLog(
        info.plan_id, got[m.STREAM_PLAN], got[m.STREAM_JOURNAL], got[m.STREAM_SAMPLES], got[m.STREAM_CRASH], files
    )
