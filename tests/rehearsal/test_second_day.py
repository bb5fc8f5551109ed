"""A timer that is busy with one day, and one whose day is over: what the commands say, advise and do."""

from __future__ import annotations

import contextlib
import json

from tourier import rehearsal
from tourier.batch.examples import demo_text
from tourier.cli import main
from tourier.device.client import Timer
from tourier.device.errors import Refused
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import messages as m
from shared_schedule import plan as wire
from shared_schedule.states import DELIBERATE
from shared_schedule.units import EPOCH_UNIX_S

START_S = int(rehearsal.DEMO_NOW.timestamp()) - EPOCH_UNIX_S


def _skip_all(port: str) -> None:
    with Timer.open(port) as timer:
        for step in wire.decode(timer.collect(m.STREAM_PLAN)).steps:
            with contextlib.suppress(Refused):
                timer.command(m.ACTION_STEP_SKIP, step.step_id, DELIBERATE)


def test_another_batch_waits_until_the_day_is_over_and_collected(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("TOURIER_HOME", str(tmp_path / "home"))
    one, other = tmp_path / "one.toml", tmp_path / "other.toml"
    one.write_text(demo_text(), encoding="utf-8")
    other.write_text(demo_text().replace("Village hall", "Other hall").replace("count = 24", "count = 18"), "utf-8")
    with VirtualTimer(tmp_path / "flash.img", start_at_s=START_S) as board:

        def say(*arguments: object) -> tuple[int, str, str]:
            code = main([*map(str, arguments), "--port", board.port])
            said = capsys.readouterr()
            return code, said.out, said.err.strip().split("\n")[-1]

        assert say("send", one, "--keep-clock")[0] == 0
        with Timer.open(board.port) as timer:
            first = wire.decode(timer.collect(m.STREAM_PLAN)).steps[0]
            timer.command(m.ACTION_STEP_START, first.step_id, DELIBERATE)
        board.run_for(120)
        # What is advised is what the timer would take: it takes no plan of another name, whatever is said.
        for more in ((), ("--replace",)):
            code, out, error = say("send", other, "--keep-clock", *more)
            assert (code, out) == (2, "")
            assert "in the middle of Village hall breakfast" in error and "--replace" not in error
        code, out, error = say("send", one, "--keep-clock")
        assert (code, out) == (2, "") and "tourier replan" in error and "--replace" in error
        code, out, _ = say("collect", "--json")
        assert code == 0 and json.loads(out)["running"] is True
        _skip_all(board.port)
        board.run_for(120)
        # Over: it is not called running any more, and its log may go once it is in the logbook.
        code, out, error = say("send", other, "--keep-clock")
        assert code == 3 and "was not collected" in error
        code, out, _ = say("collect")
        assert code == 0 and "still running" not in out
        assert say("send", other, "--keep-clock")[0] == 0
