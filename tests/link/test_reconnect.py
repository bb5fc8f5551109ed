"""Staying connected: quiet, capped, and honest about what waiting cannot cure."""

from __future__ import annotations

import pytest
from tourier.device import errors
from tourier.device.client import DayReport, Timer
from tourier.device.reconnect import LONGEST_WAIT_S, Backoff, Connected, Heard, Lost, stay

from shared_schedule.history import History

STATE = DayReport(1, 0, 1, None, 0, 0, History(0))


class Fake:
    """A timer that says one thing and then breaks."""

    def __init__(self, problem):
        self.problem = problem

    def __enter__(self):
        return self

    def __exit__(self, *exc):
        return None

    def state(self):
        return STATE

    def telemetry(self, _timeout_s):
        yield {"at_s": 1}
        raise self.problem


def test_backoff_doubles_up_to_its_cap():
    backoff = Backoff()
    assert [backoff.next() for _ in range(7)] == [0.5, 1, 2, 4, 8, 8, 8]
    backoff.reset()
    assert backoff.next() == 0.5
    assert LONGEST_WAIT_S == 8


def test_loss_is_told_once_and_the_state_asked_again():
    script = [Fake(errors.PortVanished("p")), *[errors.PortMissing("p")] * 5, Fake(errors.Restarted("x"))]
    script += [errors.PortDenied("p", "dialout")]
    waits: list[float] = []

    def open_timer():
        step = script.pop(0)
        if isinstance(step, Exception):
            raise step
        return step

    seen = []
    with pytest.raises(errors.PortDenied):
        for event in stay(open_timer, sleep=waits.append):
            seen.append(event)
    assert [type(event) for event in seen] == [Connected, Heard, Lost, Connected, Heard, Lost]
    assert not seen[0].again and seen[3].again and seen[3].state is STATE
    assert waits == [0.5, 1, 2, 4, 8, 8, 0.5]


def test_over_a_real_cable(board, record_property):
    record_property("interpreter", "micropython")
    one = board()
    kinds = []
    for event in stay(lambda: Timer.open(one.port)):
        if isinstance(event, Lost):
            one.bridge.plug()
        elif isinstance(event, Heard) and Lost not in kinds:
            one.bridge.pull()
        if not isinstance(event, Heard) or kinds[-1:] != [Heard]:
            kinds.append(type(event))
        if kinds.count(Connected) == 2 and kinds[-1] is Heard:
            break
    assert [kind for kind in kinds if kind is not Heard] == [Connected, Lost, Connected]
