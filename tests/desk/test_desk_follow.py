"""Following a timer that answers badly: the thread says so and lives on, or ends with a word; no job comes late."""

from __future__ import annotations

import pytest
from tourier.desk.data.fleet import Berth, Fleet
from tourier.desk.data.follow import Follower, Found, Gone, JobDone, Seen
from tourier.device import errors
from tourier.device.client import DayReport

from shared_schedule.history import History


class _Info:
    board_id, firmware, plan_id = "0011223344556677", "1.0.0", 0


class _Timer:
    """As much of a timer's client as the follower asks; `telemetry` gives what the test put in."""

    def __init__(self, heard=(), plan=b"", states=()):
        self.info = _Info()
        self._heard, self._plan, self._states = list(heard), plan, list(states)

    def __enter__(self):
        return self

    def __exit__(self, *_exc):
        return None

    def state(self):
        if self._states:
            one = self._states.pop(0)
            if isinstance(one, Exception):
                raise one
        return DayReport(1 if self._plan else 0, 1000, 0, None, 0, 0, History(0))

    def collect(self, _stream):
        return self._plan

    def telemetry(self, _timeout):
        yield from self._heard
        raise errors.LinkTimeout("speaking")


def _look(at_s: int) -> dict:
    return {
        "at_s": at_s, "mode": 0, "word": 1, "step_id": 0, "fold_n": 0, "fold_of": 0, "bench_cdeg": 2000,
        "probe_cdeg": 1500, "low_cdeg": -32768, "high_cdeg": -32768, "left_s": -1, "slack_s": 0, "alarm": 0, "fault": 0,
    }  # fmt: skip


def _follow(timers, stop_after: int):
    """Run a follower over these timers until so many connections were found or all are used; return what it said."""
    said = []
    left = iter(timers)

    def open_timer():
        one = next(left, None)
        if one is None:
            raise errors.PortDenied("gone", "x")
        return one

    def post(what):
        said.append(what)
        if sum(isinstance(one, Found) for one in said) >= stop_after:
            follower.stop()

    follower = Follower(open_timer, post)
    return follower, said


def test_lost_in_the_middle_of_a_question_is_found_again(monkeypatch):
    monkeypatch.setattr("tourier.desk.data.follow.FIRST_WAIT_S", 0.01)
    monkeypatch.setattr("tourier.device.reconnect.FIRST_WAIT_S", 0.01)
    torn = _Timer([_look(1000), _look(1010)], states=[None, errors.LinkTimeout("answering")])
    follower, said = _follow([torn, _Timer([_look(1020)])], 2)
    follower.run()
    kinds = [type(one).__name__ for one in said]
    assert kinds.count("Found") == 2 and "Gone" in kinds
    assert not any(isinstance(one, Gone) and one.hopeless for one in said)


def test_a_plan_that_is_none_is_said_and_ends_the_thread():
    follower, said = _follow([_Timer(plan=b"\x00nonsense")], 2)
    follower.run()
    assert isinstance(said[-1], Gone) and said[-1].hopeless and "cannot be followed" in said[-1].why


def test_a_job_asked_for_before_the_loss_is_not_done_after_it(monkeypatch):
    monkeypatch.setattr("tourier.device.reconnect.FIRST_WAIT_S", 0.01)
    done = []
    follower, said = _follow([_Timer(), _Timer([_look(1000)])], 2)
    follower.do("Go", lambda timer, progress: done.append(timer))
    follower.run()
    assert not done
    assert [one.error for one in said if isinstance(one, JobDone)]


@pytest.mark.parametrize("error", [RuntimeError("odd"), ValueError("not this plan"), KeyError("x")])
def test_a_job_that_fails_in_an_odd_way_leaves_the_thread_alive(error):
    def fails(_timer, _progress):
        raise error

    follower, said = _follow([_Timer([_look(1000), _look(2000), _look(3000)])], 9)
    follower.do("Odd", fails)
    follower.run()
    assert next(one for one in said if isinstance(one, JobDone)).error
    assert any(isinstance(one, Seen) and one.sight.at_s == 1000 for one in said)


def test_a_job_broken_off_before_its_turn_is_not_done():
    done = []
    follower, said = _follow([_Timer([_look(1000)])], 9)
    follower.do("Collect", lambda timer, progress: done.append(timer))
    follower.cancel("Collect")
    follower.run()
    assert not done and next(one for one in said if isinstance(one, JobDone)).cancelled


def test_looks_ascend_and_a_clock_set_back_begins_anew():
    from tourier.device.sight import sight_of

    berth = Berth("x", None)
    for at_s in (100, 101, 101, 99, 103, 20, 21):
        berth.sight = sight_of(_look(at_s), None)
        berth.note_look()
    assert [look[0] for look in berth.looks] == [20, 21]


def test_timers_whose_numbers_end_alike_are_told_apart():
    fleet = Fleet(lambda port, what: None)
    fleet._begin = lambda berth: None
    report = DayReport(0, 0, 0, None, 0, 0, History(0))
    for port, board in (("a", "01234567"), ("b", "99994567"), ("c", "00001111")):
        fleet.follow(port)
        fleet.take(port, Found(board, "1", None, report, False))
    assert [berth.label for berth in fleet.berths.values()] == ["timer 4567", "timer 4567 (2)", "timer 1111"]
