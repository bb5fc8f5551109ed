"""The three moments from start to end on the virtual bench timer: the evening before, the day, the look back."""

from __future__ import annotations

import pytest
from textual import events
from textual.widgets import DataTable, Input, Static
from tourier.desk.data.kept import Autosave


def _text(screen, selector: str) -> str:
    return str(screen.query_one(selector, Static).content)


def _records(home):
    """What the logbook holds of the newest batch: the record types of its journal."""
    from tourier.logbook.record.store import Logbook

    with Logbook(home / "data" / "logbook.sqlite") as book:
        batch = book.load(book.newest())
    return batch, {record.type for record in batch.records}


@pytest.mark.parametrize("whole_day", [False, pytest.param(True, marks=pytest.mark.slow)])
async def test_three_moments_by_keyboard(make_desk, home, until, whole_day):
    desk = make_desk(welcomed=False)
    async with desk.run_test(size=(100, 32)) as pilot:
        # The evening before: nothing is configured, the welcome offers the demo.
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Welcome", what="no welcome")
        await until(pilot, lambda: desk.focused is not None and desk.focused.id == "demo")
        await pilot.press("enter")
        await until(pilot, lambda: desk.current_mode == "bench", "the demo was not sent")
        berth = desk.fleet.berth
        await until(pilot, lambda: berth.connected and berth.plan and berth.sight, what="no plan on the timer")
        await until(pilot, lambda: berth.sight.probe_cdeg is not None, what="no reading")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Bench")
        assert berth.plan.name == "Village hall breakfast"

        # The day: bend test, note, then on to the end.
        await pilot.press("b")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Choose", what="no bend question")
        await pilot.press("down", "enter")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Bench")
        await pilot.press("n")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Ask", what="no note question")
        await pilot.press(*"soft", "enter")
        await until(pilot, lambda: any(n.title == "Note" for n in desk._notifications), what="no note taken")
        if whole_day:
            await pilot.press("S")
            await until(pilot, lambda: desk.screen.hurry is not None)
            await until(pilot, lambda: desk.screen.hurry is None, "the day did not end")
            await until(pilot, lambda: berth.sight is not None and berth.sight.word == "DONE", "not done")
        else:
            begun = desk.virtual.clock()
            await pilot.press("s", "s")
            await until(pilot, lambda: desk.virtual.clock() - begun > 1200, "time was not skipped")
        await pilot.press("l")
        logbook = home / "data" / "logbook.sqlite"
        await until(pilot, lambda: any("in the logbook" in n.message for n in desk._notifications))
        assert logbook.exists()

        # The look back.
        await pilot.press("f3")
        await until(pilot, lambda: getattr(desk.screen, "shown", None) is not None, what="no batch shown")
        room = desk.screen
        plot = room.query_one("#plot")
        whole = plot.view
        await pilot.press("plus", "plus", "right")
        assert plot.view[1] - plot.view[0] == pytest.approx((whole[1] - whole[0]) / 4)
        await pilot.press("0")
        assert plot.view == whole
        await pilot.press("o")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "OutcomeForm", what="no outcome form")
        desk.screen.query_one("#rating", Input).focus()
        await pilot.press("5", "ctrl+s")
        await until(pilot, lambda: desk.screen is room, what="outcome not kept")
    batch, types = _records(home)
    assert batch.outcome is not None and batch.outcome.rating == 5
    assert {7, 10} <= types  # bend test, note
    assert not whole_day or 11 in types  # finished
    assert any(record.type == 10 and "soft" in str(record) for record in batch.records)


async def test_three_moments_by_mouse(make_desk, home, until):
    desk = make_desk(welcomed=False)
    async with desk.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Welcome", what="no welcome")
        await until(pilot, lambda: desk.screen.query_one("#on").region.area and desk.focused is not None)
        await pilot.click("#on")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Batch")
        room = desk.screen
        await until(pilot, lambda: room.doc is not None)
        # The evening before: the second page of the form, the second kind of piece, its count.
        await pilot.click("#form-pages", offset=(10, 0))
        await until(pilot, lambda: room.query_one("#form").page == "pieces", what="page not opened")
        await pilot.click("#form-members", offset=(18, 0))
        await until(pilot, lambda: room.query_one("#form").member == 2, what="member not opened")
        count = next(row for row in room.query("FormRow") if row.path == "pieces[2].count")
        await pilot.click(count.query_one(Input))
        await pilot.press("end", "backspace", "backspace", "1", "0")
        assert room.doc.get("pieces[2].count") == 10
        await pilot.click("#worked-pages", offset=(30, 0))
        assert room.pane.page == "times"
        await until(pilot, lambda: room.timed and room.timed.planned, "no timetable")
        assert [p["cut"] for p in room.sized.workup.cuts["pieces"]] == [24, 10]
        await pilot.press("ctrl+t")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Sending")
        await until(pilot, lambda: not desk.screen.query_one("#play").disabled and desk.screen._data)
        await pilot.click("#play")
        await until(pilot, lambda: desk.current_mode == "bench", "not sent")
        berth = desk.fleet.berth
        await until(pilot, lambda: berth.sight is not None and berth.report is not None)
        # The day: a row of the steps, the link cut by pulling the cable, found again by itself.
        assert desk.screen.query_one("#bench-steps", DataTable).row_count == len(berth.plan.steps)
        desk.virtual.board.pull_cable()
        await until(pilot, lambda: berth.link.kind == "lost", "loss not noticed")
        assert _text(desk.screen, "#word") == "NO LINK" and str(desk.screen.query_one("#probe").value) == "--"
        desk.virtual.board.plug_cable()
        await until(pilot, lambda: berth.connected, "not found again")
        await pilot.press("s")
        await pilot.press("l")
        await until(pilot, lambda: any("in the logbook" in n.message for n in desk._notifications))
        # The look back: the room by its word in the row, one tab by its head.
        await pilot.click("RoomRow", offset=(28, 0))
        await until(pilot, lambda: desk.current_mode == "lookback", what="room not entered")
        await until(pilot, lambda: desk.screen.shown is not None, what="no batch shown")
        plot = desk.screen.query_one("#plot")
        before = plot.view
        await pilot._post_mouse_events([events.MouseScrollUp], "#plot", offset=(30, 4))
        await pilot.pause()
        assert plot.view[1] - plot.view[0] < before[1] - before[0]
    batch, _types = _records(home)
    assert batch.batch_text.count("count = 10") == 1


async def test_undo_redo_and_autosave(make_desk, home, until):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: getattr(desk.screen, "doc", None) is not None)
        room = desk.screen
        await pilot.press("tab", "end", "X", "Y")
        assert room.doc.get("name") == "Village hall breakfastXY"
        await pilot.press("ctrl+z")
        assert room.doc.get("name") == "Village hall breakfast"
        name = next(row for row in room.query("FormRow") if row.path == "name").query_one(Input)
        assert name.value == "Village hall breakfast"
        await pilot.press("ctrl+y")
        assert name.value == "Village hall breakfastXY" and room.doc.get("name") == "Village hall breakfastXY"
        kept = Autosave(home / "state" / "autosave", None)
        await until(pilot, lambda: "breakfastXY" in (kept.found() or ""), "edit not kept")
        comment = "# 24 croissants and 12 pains au chocolat"
        assert comment in room.kept.history.now  # what the cook wrote himself stays
    # The application is gone without saving, as after a crash: the next one has the edit and can undo it.
    again = make_desk()
    async with again.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: getattr(again.screen, "doc", None) is not None)
        assert again.screen.doc.get("name") == "Village hall breakfastXY"
        await pilot.press("ctrl+z")
        assert again.screen.doc.get("name") == "Village hall breakfast"


async def test_problems_stand_beside_their_field(make_desk, until):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: getattr(desk.screen, "doc", None) is not None)
        room = desk.screen
        await pilot.press("tab", "tab", "end", "space", "q")
        row = next(row for row in room.query("FormRow") if row.path == "ready")
        await until(pilot, lambda: row.query(".wrong"), "no word beside the field")
        assert "Sunday 08:30 q" in str(row.query_one(".wrong", Static).content)
        assert "[!Batch]" in room.query_one("#form-pages")._plain
        await pilot.press("ctrl+z")
        await until(pilot, lambda: not row.query(".wrong"), "the word stayed")


async def test_save_and_duplicate(make_desk, home, until):
    file = home / "mine.toml"
    from tourier.batch.examples import demo_text

    file.write_text(demo_text(), encoding="utf-8")
    desk = make_desk(batch_file=file)
    async with desk.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: getattr(desk.screen, "doc", None) is not None)
        room = desk.screen
        await pilot.press("tab", "end", "Z", "ctrl+s")
        assert "breakfastZ" in file.read_text(encoding="utf-8")
        assert desk.settings.recent == [str(file.resolve())]
        await pilot.press("ctrl+n")
        await until(pilot, lambda: room.kept.file is None)
        assert room.doc.get("name") == "Village hall breakfastZ"
