"""Nothing holds the event loop: while planning, sending, collecting and looking back, a heart beats on it.

No absolute limit: the longest pause is measured against the length of the work itself; work done on the loop would make
one pause about as long. Neither is read off the clock, or a busy machine would count as a pause: a pause is what the
loop's own thread reckoned meanwhile, or how often a metronome beside it beat (it slept), whichever is more.
"""

from __future__ import annotations

import asyncio
import time
from contextlib import asynccontextmanager

import pytest
from limits import Metronome
from tourier.desk.screens import sending  # noqa: F401 -- imported here, so that its import is no part of a beat

_BEAT_S = Metronome.BEAT_S


@pytest.fixture
def heart():
    with Metronome() as machine:
        yield Heart(machine)


class Heart:
    """`longest_s` between two beats since the last `listen`, less the beat itself; `judged` is what was measured."""

    def __init__(self, machine: Metronome) -> None:
        self.machine = machine
        self.longest_s = 0.0
        self.judged: list[str] = []
        self._ended = False

    async def beat(self) -> None:
        while not self._ended:
            reckoned, beats = time.thread_time(), self.machine.seconds
            await asyncio.sleep(_BEAT_S)
            slept = self.machine.seconds - beats - _BEAT_S
            self.longest_s = max(self.longest_s, time.thread_time() - reckoned, slept)

    @asynccontextmanager
    async def listening(self, what: str, most: float = 0.25):
        """The longest pause within is under `most` of the time taken; work under two seconds is not judged."""
        self.longest_s, begun, beats = 0.0, time.process_time(), self.machine.seconds
        yield
        took = max(time.process_time() - begun, self.machine.seconds - beats)
        print(f"{what}: {took:.2f} s, longest pause of the loop {self.longest_s * 1000:.0f} ms")
        if took >= 2.0:
            self.judged.append(what)
            assert self.longest_s < most * took, f"{what} held the loop {self.longest_s:.2f} s of {took:.2f} s"

    def stop(self) -> None:
        self._ended = True


def sleep_s(seconds: float) -> None:
    time.sleep(seconds)


def reckon_s(seconds: float) -> None:
    end = time.thread_time() + seconds
    while time.thread_time() < end:
        pass


@pytest.mark.parametrize("work", [sleep_s, reckon_s])
async def test_the_heart_hears_work_on_the_loop(heart, work):
    """The instrument itself: half of a stretch spent on the loop in one piece is noticed."""
    task = asyncio.create_task(heart.beat())
    with pytest.raises(AssertionError, match="held the loop"):
        async with heart.listening("a wrong piece of work"):
            await asyncio.sleep(0.8)
            work(2.5)
            await asyncio.sleep(0.1)
    heart.stop()
    await task


async def test_planning_sending_collecting_and_looking_back(make_desk, until, heart):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: getattr(desk.screen_stack[0], "doc", None) is not None)
        task = asyncio.create_task(heart.beat())
        room = desk.screen
        async with heart.listening("planning"):
            await until(pilot, lambda: room.timed is not None and room.timed.planned is not None)
        async with heart.listening("sending to a virtual timer"):
            await desk.play_demo()
            await until(pilot, lambda: desk.current_mode == "bench", "not sent")
            berth = desk.fleet.berth
            await until(pilot, lambda: berth.connected and berth.plan and berth.sight)
        async with heart.listening("playing two days"):
            end = max(step.start_at_s + step.planned_for_s for step in berth.plan.steps)
            await asyncio.to_thread(desk.virtual.play_on, end, lambda _done, _total: None)
        async with heart.listening("collecting the two-day log"):
            await pilot.press("l")
            await until(pilot, lambda: any("in the logbook" in n.message for n in desk._notifications))
        async with heart.listening("opening the two-day log"):
            await pilot.press("f3")
            await until(pilot, lambda: getattr(desk.screen, "shown", None) is not None)
        heart.stop()
        await task
    assert "playing two days" in heart.judged  # the others are, where they take long enough
