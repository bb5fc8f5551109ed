"""Whatever was learned, every way to a plan gives the same design and the same octets for the timer.

Each entrance is gone through as a cook does: the command line's own `main`, the desk's own jobs. Only the hour, the
bench timer and its days are stood in for. TOURIER_EXAMPLES=N draws more than the few of the usual run.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from tourier import design, rehearsal
from tourier.batch.examples import demo_text, example_text
from tourier.cli import main
from tourier.desk.data import jobs, workbench, worked
from tourier.device.client import DayReport
from tourier.known import Known, Learned, Lessons
from tourier.logbook import Logbook
from tourier.logbook.learning import ledger

from shared_schedule import plan as wire
from shared_schedule.history import History
from shared_schedule.units import EPOCH_UNIX_S

NOW = datetime(2027, 3, 12, 16, 0, tzinfo=UTC)
NOW_S = int(NOW.timestamp()) - EPOCH_UNIX_S
TEXT = example_text("home-inches").replace("count = 16", "count = 16\nfreeze = 6", 1)
KITCHEN, BUTTER = "Home kitchen", "standard-80"
FROZEN, READY = "2027-03-10 18:00", "2027-03-15 17:00"
LESSONS = {
    "fridge_c": st.floats(2.0, 5.5), "freezer_c": st.floats(-24.0, -14.0), "film_fridge": st.floats(5.0, 14.0),
    "film_freezer": st.floats(6.0, 14.0), "bench_effusivity": st.floats(300.0, 4000.0),
    "mixing_rise_k": st.floats(1.0, 8.0), "proof_dose_s": st.floats(6000.0, 11000.0),
    "window": st.tuples(st.floats(11.0, 13.5), st.floats(15.5, 18.0)),
}  # fmt: skip
EVERY = {"fridge_c": 5.0, "freezer_c": -15.0, "film_fridge": 6.5, "film_freezer": 7.0, "bench_effusivity": 1400.0,
         "mixing_rise_k": 6.0, "proof_dose_s": 9000.0, "window": (12.6, 16.2)}  # fmt: skip
# What a plan says of time alone: another day, and the rest of one, have others.
TIMES = {"steps", "name", "made_at_s", "ready_at_s", "quiet", "offset_min", "offset_change_at_s", "offset_after_min"}


class Hour(datetime):
    @classmethod
    def now(cls, tz=None):
        return NOW.astimezone(tz) if tz else NOW.replace(tzinfo=None)


class Bench:
    """A bench timer that keeps what it is sent, and holds `held`, untouched."""

    def __init__(self, held: bytes = b""):
        self.held, self.sent = held, b""
        number = wire.plan_id(held) if held else 0
        self.info = SimpleNamespace(clock_ok=True, board_id="0" * 16, plan_id=number, running=False)
        self.warnings = ()

    def hello(self):
        return self.info

    def read_clock(self, _clock=None):
        return SimpleNamespace(ok=True, error_s=0.0, within_s=0.01)

    def send_plan(self, data, _progress=None):
        self.sent = data
        return True

    def collect(self, _stream):
        return self.held

    def state(self):
        return DayReport(self.info.plan_id, NOW_S, 0, None, 0, 0, History(len(wire.decode(self.held).steps)))


def learned(quantity: str, value: float) -> Learned:
    subject = BUTTER if quantity.startswith("butter") else KITCHEN
    return Learned(quantity, subject, value, value - 1, value + 1, "", "drawn", ())


def taught(drawn: dict) -> list[Learned]:
    """Values as drawn, as the logbook holds them, beside one of another kitchen that must not be taken."""
    low, high = drawn.get("window", (None, None))
    values = {q: v for q, v in drawn.items() if q != "window"} | {"butter_low_c": low, "butter_high_c": high}
    other = Learned("mixing_rise_k", "Another kitchen", 15.0, 14.0, 16.0, "K", "drawn", ())
    return [learned(q, v) for q, v in values.items() if v is not None] + [other]


def command(*arguments) -> dict:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([*map(str, arguments), "--json"])
    assert code == 0, err.getvalue()
    return json.loads(out.getvalue())


@contextlib.contextmanager
def stood_in(folder: Path, bench: Bench):
    """The hour, the timer and the home folder that every entrance finds."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TOURIER_HOME", str(folder))
        for module in ("plan", "timer", "thaw", "rehearse"):
            patch.setattr(f"tourier.cli.{module}.datetime", Hour)
        patch.setattr("tourier.device.client.project_now", lambda: float(NOW_S))
        for module in ("timer", "thaw"):
            patch.setattr(f"tourier.cli.{module}.open_timer", lambda *_: contextlib.nullcontext(bench))
        yield patch


def thermal(plan: wire.Plan) -> dict:
    return {name: getattr(plan, name) for name, *_ in wire.PLAN_FIELDS if name not in TIMES}


def limits(plan: wire.Plan) -> list[tuple]:
    """All that the steps say but when they are: in order of their places in the work-up."""
    when = {"start_at_s", "planned_for_s"}
    fields = [name for name, *_ in wire.STEP_FIELDS if name not in when]
    return sorted(tuple(getattr(step, name) for name in fields) for step in plan.steps)


def wet(text: str, design_: design.Design) -> bool:
    """Whether a text says the water of this design, and its ice."""
    work = design_.workup
    either = (f"{work.water_temp_c:.0f} °C", f"{work.water_temp_c * 1.8 + 32:.0f} °F")
    return work.ice_text in text if work.ice_text else any(water in text for water in either)


@settings(max_examples=int(os.environ.get("TOURIER_EXAMPLES", "2")), deadline=None, derandomize=True,
          suppress_health_check=list(HealthCheck))  # fmt: skip
@example(EVERY)
@given(st.fixed_dictionaries({}, optional=LESSONS))
def test_all_entrances_give_one_design(tmp_path_factory, drawn):
    folder = tmp_path_factory.mktemp("road")
    batch, book = folder / "batch.toml", folder / "data" / "logbook.sqlite"
    batch.write_text(TEXT, encoding="utf-8")
    values = taught(drawn)
    with Logbook(book) as open_book:
        ledger.write(open_book, values, at_s=1)
    one = design.design(TEXT, "batch.toml", NOW, Lessons(tuple(values)))
    assert {v.quantity: v.value for v in one.known.values} == {v.quantity: v.value for v in values[:-1]}
    for quantity, field, scale in (("fridge_c", "fridge_cdeg", 100), ("freezer_c", "freezer_cdeg", 100),
                                   ("film_fridge", "film_fridge_mw", 1000), ("film_freezer", "film_freezer_mw", 1000),
                                   ("bench_effusivity", "bench_effusivity", 1)):  # fmt: skip
        if quantity in drawn:
            assert getattr(one.plan, field) == round(drawn[quantity] * scale)
    bench = Bench()
    with stood_in(folder, bench) as patch:
        # The desk: figures line, pages, timetable, sending.
        sized = workbench.size(TEXT, "batch.toml", NOW, book)
        assert sized.draft is not None, sized
        assert sized.workup == one.workup
        assert wet(worked.figures(sized.workup, 200), one) and wet("\n".join(worked.masses(sized.workup)), one)
        timed = workbench.time_it(sized.draft, NOW)
        assert timed.planned is not None and timed.planned.data == one.data, timed.refused
        assert timed.planned.day == one.day
        jobs.send(timed.planned.data, TEXT, None)(bench, lambda *_: None)
        assert bench.sent == one.data
        # The command line: plan and its papers, send.
        said = command("plan", batch, "--write", folder / "plan.bin", "--card", folder / "card.html")
        assert (folder / "plan.bin").read_bytes() == one.data
        assert wet((folder / "card.html").read_text(encoding="utf-8"), one)
        assert said["formula"]["water_temp_c"] == pytest.approx(one.workup.water_temp_c, abs=0.06)
        bench.sent = b""
        command("send", batch)
        assert bench.sent == one.data
        # A rehearsal, up to where a timer would be switched on.
        patch.setattr("tourier.device.virtual.board.VirtualTimer.__enter__", _no_timer)
        with contextlib.redirect_stderr(io.StringIO()):
            assert main(["rehearse", str(batch), "--keep", str(folder / "kept")]) == 3
        assert (folder / "kept" / "plan.bin").read_bytes() == one.data
        # The day of the frozen pieces: other hours, the same kitchen, and what is written is what is sent.
        command("thaw", batch, "--frozen", FROZEN, "--ready", READY, "--write", folder / "thaw.bin", "--send")
        other = wire.decode(bench.sent)
        assert bench.sent == (folder / "thaw.bin").read_bytes() and thermal(other) == thermal(one.plan)
        assert [step.dose_s for step in other.steps if step.kind == wire.PROOF] == [
            step.dose_s for step in one.plan.steps if step.kind == wire.PROOF
        ]
        # The rest of a day that nobody has touched yet.
        bench.__init__(one.data)
        command("replan", batch)
        again = wire.decode(bench.sent)
        assert thermal(again) == thermal(one.plan) and limits(again) == limits(one.plan)
        proposal = jobs.replan(TEXT, "batch.toml", book)(bench, lambda *_: None)
        assert proposal.data == bench.sent


def _no_timer(_self):
    from tourier.device.virtual.board import VirtualTimerError

    raise VirtualTimerError("not switched on here")


def test_a_learned_bench_moves_the_plans_own_minutes():
    """Not the timer's field alone: on a bench that takes heat faster, the pâton may lie for less time."""

    def made(effusivity):
        return design.draft(TEXT, "", NOW, Lessons((learned("bench_effusivity", effusivity),))).workup

    def longest_s(work):
        return sum(step.max_s for step in work.process if step.kind == wire.FOLD)

    slow, fast = made(300.0), made(4000.0)
    assert longest_s(slow) > longest_s(fast) + 60
    assert (slow.device["bench_effusivity"], fast.device["bench_effusivity"]) == (300, 4000)
    # The same heat content: only how fast it is given differs.
    assert slow.device["bench_um"] == fast.device["bench_um"]


def test_what_mixing_adds_is_in_every_figure_of_the_demo():
    """6 K of warmth by mixing want ice in the demo kitchen; without the lesson, water of 20 °C and none."""
    at = rehearsal.DEMO_NOW
    plain = design.draft(demo_text(), "demo", at, Lessons())
    lesson = Learned("mixing_rise_k", plain.spec.kitchen.name, 6.0, 5.0, 7.0, "K", "", ())
    made = design.draft(demo_text(), "demo", at, Lessons((lesson,)))
    assert plain.known == Known() and plain.workup.ice_text == ""
    # By hand, a heat balance: 6 K instead of the usual 1 K in the whole dough, all of it taken from the water.
    assert made.workup.ice_text == "22 g" and round(made.workup.water_temp_c) == 7
    assert "22 g of it ice" in worked.figures(made.workup, 200) and "22 g" in "\n".join(worked.masses(made.workup))


def test_a_damaged_logbook_gives_no_figures_without_its_lessons(tmp_path):
    book = tmp_path / "logbook.sqlite"
    book.write_bytes(b"no database" * 500)
    sized = workbench.size(TEXT, "", NOW, book)
    assert sized.draft is None and "logbook" in sized.refused
    assert workbench.size(TEXT, "", NOW, tmp_path / "none.sqlite").workup is not None
