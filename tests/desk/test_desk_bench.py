"""The bench room with two virtual bench timers at once: each its own state, answers, marks, a lost link, a new plan."""

from __future__ import annotations

import pytest
from textual.widgets import DataTable, Digits, Static

from shared_schedule import plan as wire
from shared_schedule.plan_writer import encode_plan


def _words(screen, selector: str) -> str:
    return str(screen.query_one(selector, Static).content)


def _top(desk) -> str:
    return type(desk.screen).__name__


def _listen(desk) -> list[str]:
    """Return a list that gets every notice; the application's own forgets them after seconds."""
    heard: list[str] = []
    real = desk.notify

    def notify(message, *, title="", **kwargs):
        heard.append(f"{title}: {message}")
        real(message, title=title, **kwargs)

    desk.notify = notify
    return heard


def _said(heard: list[str], *parts: str) -> bool:
    return any(all(part in one for part in parts) for one in heard)


@pytest.fixture
def virtual_timers(tmp_path):
    """Return a function that switches a timer on shortly before a plan's first step; nobody stands beside it."""
    from tourier.device.virtual.board import VirtualTimer
    from tourier.device.virtual.kitchen import KitchenConfig, PlayedKitchen

    boards = []

    def switch_on(plan: wire.Plan, seed: int, bits_per_s: int | None = None) -> VirtualTimer:
        kitchen = PlayedKitchen(KitchenConfig(room_c=24.0), seed)
        board = VirtualTimer(
            tmp_path / f"flash{seed}.img", kitchen, None, start_at_s=plan.steps[0].start_at_s - 90, seed=seed,
            speed=30.0, bridge_options={"bits_per_s": bits_per_s} if bits_per_s else None,
        )  # fmt: skip
        board.__enter__()
        boards.append(board)
        return board

    yield switch_on
    for board in boards:
        board.close()


def _calm(board):
    """Let a timer's time go as in life while something is transferred: its patience is counted in its own time."""

    def calm(on: bool) -> None:
        board.speed = 1.0 if on else 30.0

    return calm


def _clock(board):
    return lambda: board.start_at_s + board.ticks_ms / 1000


async def test_two_timers_through_a_day(make_desk, home, until, virtual_timers):
    from tourier.dayplan.device import to_device
    from tourier.desk.data import jobs
    from tourier.device.errors import LinkTimeout
    from tourier.logbook.record.store import Logbook

    desk = make_desk()
    heard = _listen(desk)
    async with desk.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: getattr(desk.screen, "timed", None), "no timetable")
        planned = desk.screen.timed.planned
        data = encode_plan(to_device(planned.day))
        plan = wire.decode(data)
        await pilot.press("f2")
        await until(pilot, lambda: _top(desk) == "Bench")
        room = desk.screen
        assert _words(room, "#word") == "NO TIMER"
        first, second = virtual_timers(plan, 3), virtual_timers(plan, 4, bits_per_s=19_200)
        berths = []
        for board in (first, second):
            berth = desk.fleet.follow(board.port, _clock(board), calm=_calm(board))
            berths.append(berth)
            await until(pilot, lambda berth=berth: berth.connected, "not connected")
            assert berth.plan is None
            berth.follower.do("Give", jobs.send(data, planned.text, _clock(board)))
            await until(pilot, lambda berth=berth: berth.plan is not None and berth.sight, "holds no plan")
        mine, other = berths
        assert mine.board_id != other.board_id
        assert _said(heard, "The timer now holds this plan")
        row = room.query_one("#bench-timers")
        assert not row.has_class("hidden") and mine.label in row._plain and other.label in row._plain

        # The first step falls due on both; it is answered and begun on one only.
        desk.fleet.shown = mine.port
        room.show_all()
        await until(pilot, lambda: mine.sight.alarm and other.sight.alarm, "no alarm")
        await until(pilot, lambda: "ALARM" in _words(room, "#alarm"))
        assert row._plain.count("! ALARM") == 2
        await pilot.press("a")
        await until(pilot, lambda: not mine.sight.alarm, "not answered")
        assert other.sight.alarm and row._plain.count("! ALARM") == 1
        await pilot.press("g")
        await until(pilot, lambda: mine.report.past.steps[0] == 1, "not begun")
        assert other.report.past.steps[0] == 0
        table = room.query_one("#bench-steps", DataTable)
        await until(pilot, lambda: str(table.get_row_at(0)[0]) == "▶ running")
        assert sum(column.get_render_width(table) for column in table.ordered_columns) <= table.size.width

        # A bend test on this one; the next key shows the other, where nothing has begun, and a note goes there.
        await pilot.press("b")
        await until(pilot, lambda: _top(desk) == "Choose", what="no bend question")
        await pilot.press("down", "enter")
        await until(pilot, lambda: _said(heard, "Bend test", mine.label, "marked at"), what="no mark")
        await pilot.press("v")
        assert desk.fleet.berth is other
        await until(pilot, lambda: str(table.get_row_at(0)[0]) == "· waiting", what="the other's steps not shown")
        await pilot.press("n")
        await until(pilot, lambda: _top(desk) == "Ask")
        await pilot.press(*"thunder", "enter")
        await until(pilot, lambda: _said(heard, "Noted at S", "thunder"), what="not noted")

        # One cable is pulled: said in shape and word, no old number; the other goes on. It comes back by itself.
        await pilot.press("v")
        await until(pilot, lambda: _words(room, "#word") not in ("", "NO LINK"))
        looks = len(other.looks)
        first.pull_cable()
        await until(pilot, lambda: mine.link.kind == "lost", "loss not noticed")
        await until(pilot, lambda: _words(room, "#word") == "NO LINK")
        assert room.query_one("#probe", Digits).value == "--" and _words(room, "#alarm") == ""
        assert f"✕ {mine.label} lost" in row._plain and f"✕ {other.label}" not in row._plain
        await until(pilot, lambda: len(other.looks) > looks + 2, "the other went silent")
        first.plug_cable()
        await until(pilot, lambda: mine.connected and mine.sight is not None, "not found again")
        assert _words(room, "#word") != "NO LINK"

        # Lost in the middle of a question, not between two looks: that too is mended by waiting.
        def torn(*_args, **_kwargs):
            raise LinkTimeout("answering")

        mine.follower._timer.state = torn
        before = mine.follower._timer
        await until(pilot, lambda: mine.follower._timer is not before and mine.connected, "stayed away")

        # Collecting over the slow line is broken off, and goes on from there.
        desk.fleet.shown = other.port
        room.show_all()
        await pilot.press("l")
        await until(pilot, lambda: not room.query_one("#job").has_class("hidden") and room.query_one("#job").progress)
        assert "Escape stops it" in _words(room, "#job-words")
        await pilot.press("escape")
        await until(pilot, lambda: _said(heard, "Collect", "Stopped"), "not broken off")
        assert not (home / "data" / "logbook.sqlite").exists() and room.query_one("#job").has_class("hidden")
        await pilot.press("l")
        await until(pilot, lambda: _said(heard, "Collect", "in the logbook"), "not collected")

        # Forty minutes are lost on the first timer; the rest of the day is planned anew, looked at, and sent.
        desk.fleet.shown = mine.port
        room.show_all()
        first.speed = 900.0
        await until(pilot, lambda: first.now_s > plan.steps[0].start_at_s + 3600, "time stood still")
        first.speed = 30.0
        await pilot.press("r")
        await until(pilot, lambda: _top(desk) == "Replanned", "no new plan")
        moved = desk.screen.query_one(DataTable)
        assert moved.row_count > 10 and "later" in str(moved.get_row_at(0)[3])
        held = mine.report.plan_id
        await pilot.press("enter")
        await until(pilot, lambda: _said(heard, "holds the new plan"), "not sent")
        await until(pilot, lambda: mine.report.plan_id != held, "the old plan is still shown")
        assert mine.plan.steps[1].start_at_s > plan.steps[1].start_at_s
        assert mine.report.past.steps[0] == 1 and other.report.plan_id == held
        heard.clear()  # the other timer's log was told of in the same words
        await pilot.press("l")
        await until(pilot, lambda: _said(heard, mine.label, "in the logbook"), "not collected")
    with Logbook(home / "data" / "logbook.sqlite") as book:
        loaded = {one.board_id: book.load(one.id) for one in book.batches()}
    assert set(loaded) == {mine.board_id, other.board_id}
    notes = [record for record in loaded[other.board_id].records if record.type == 10]
    assert any("thunder" in str(note.body) for note in notes)
    kinds = {record.type for record in loaded[mine.board_id].records}
    assert {6, 7} <= kinds and 10 not in kinds  # answered, bend test; the note went to the other
