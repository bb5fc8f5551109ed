"""Limits that a busy machine does not reach: what a test itself uses, never what the clock on the wall says.

Each test may use `cpu_limit_s` of CPU (pyproject.toml; `@pytest.mark.cpu(seconds)` for one test), its own and that of
the processes it started. pytest-timeout is left as a backstop of hours for a test that hangs and uses nothing. With
`--durations N` the run ends with the N tests that used most.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections import Counter
from pathlib import Path

import pytest

PATIENCE_S = 300.0  # wall; for loops that wait for something to come true and would else hang without a word


def cpu_used_s() -> float:
    """Seconds of CPU used by this process, all threads, and by its children that have ended."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def cpu_of(pid: int) -> float:
    """Seconds of CPU used by another process and its ended children (Linux); 0 where that cannot be read."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return 0.0
    return sum(map(int, fields[11:15])) / os.sysconf("SC_CLK_TCK")


def wait_for(condition, what: str = ""):
    """Wait until `condition()` is true and return what it gave; fail with `what` when it never comes true."""
    end = time.monotonic() + PATIENCE_S
    while not (found := condition()):
        assert time.monotonic() < end, what or "waited in vain"
        time.sleep(0.02)
    return found


class Metronome:
    """Counts beats of 10 ms in a thread of its own: seconds as a program on this machine, this busy, can have them."""

    BEAT_S = 0.01

    def __init__(self) -> None:
        self.beats = 0
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._beat, daemon=True)

    def __enter__(self) -> Metronome:
        self._thread.start()
        return self

    def __exit__(self, *_exc) -> None:
        self._over.set()
        self._thread.join()

    @property
    def seconds(self) -> float:
        return self.beats * self.BEAT_S

    def _beat(self) -> None:
        while not self._over.wait(self.BEAT_S):
            self.beats += 1


# --- the watch over every test ---

_used: Counter[str] = Counter()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addini("cpu_limit_s", "seconds of CPU a test may use, its children included", default="300")


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "cpu(seconds): CPU this test may use instead of cpu_limit_s")
    # A shell that starts a run in the background has it ignore Ctrl-C, and whatever it starts would ignore it too.
    if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def _limit_s(item: pytest.Item) -> float:
    marker = item.get_closest_marker("cpu")
    return float(marker.args[0] if marker else item.config.getini("cpu_limit_s"))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item):
    limit_s = _limit_s(item)

    def too_much(_number, _frame) -> None:
        pytest.fail(f"used more than {limit_s:g} s of CPU")

    before = signal.signal(signal.SIGPROF, too_much)
    signal.setitimer(signal.ITIMER_PROF, limit_s, 30.0)  # again and again: whoever caught it once is told once more
    item.stash[_BEGUN] = cpu_used_s()
    try:
        return (yield)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


_BEGUN = pytest.StashKey[float]()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_teardown(item: pytest.Item):
    result = yield
    used_s, limit_s = cpu_used_s() - item.stash[_BEGUN], _limit_s(item)
    item.user_properties.append(("cpu_s", round(used_s, 2)))
    if used_s > limit_s:
        pytest.fail(f"used {used_s:.0f} s of CPU with its children, more than {limit_s:g} s")
    return result


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.when == "teardown":
        _used[report.nodeid] += dict(report.user_properties).get("cpu_s", 0)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    most = terminalreporter.config.option.durations
    if most and _used:
        terminalreporter.section(f"CPU: {sum(_used.values()):.0f} s in {len(_used)} tests, fixtures with the first")
        for name, used_s in _used.most_common(most):
            terminalreporter.write_line(f"{used_s:7.1f} s  {name}")
