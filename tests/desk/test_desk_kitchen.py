"""The first minute and the Kitchen room: the welcome's choices, the questions, what was learned, taking it back."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import pytest
from textual.widgets import DataTable, Input, Static
from tourier.batch.read import read_batch_text
from tourier.known import Learned
from tourier.logbook.learning import ledger
from tourier.logbook.record.store import Logbook

sys.path.insert(0, str(Path(__file__).parents[1] / "logbook"))
import logbook_support as support  # noqa: E402


async def _welcome(desk, pilot, until) -> None:
    await until(pilot, lambda: getattr(desk.screen_stack[0], "doc", None) is not None)
    await until(pilot, lambda: desk.focused is not None and desk.focused.id == "demo", what="no welcome")


def _text(desk, selector: str) -> str:
    return str(desk.screen_stack[0].query_one(selector, Static).content)


async def test_welcome_open_leads_to_a_file_or_an_example(make_desk, home, until):
    desk = make_desk(welcomed=False)
    async with desk.run_test(size=(80, 24)) as pilot:
        await _welcome(desk, pilot, until)
        await pilot.click("#open")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "OpenBatch", what="no list of files")
        room = desk.screen_stack[0]
        before = room.doc.get("name")
        await pilot.press("tab", "down", "enter")
        await until(pilot, lambda: desk.screen is room, what="the list stays")
        await until(pilot, lambda: room.doc.get("name") != before, what="no other batch was opened")
        await until(pilot, lambda: room.sized is not None and room.sized.text == room.kept.text, what="not sized")
        assert room.sized.workup is not None, "an example that comes with the program cannot be worked out"
    assert tomllib.loads((home / "config" / "desk.toml").read_text(encoding="utf-8"))["welcomed"] is True
    again = make_desk(welcomed=False)  # the file is there: the fixture leaves it alone
    async with again.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: getattr(again.screen_stack[0], "doc", None) is not None)
        await pilot.pause()
        assert again.screen.__class__.__name__ == "Batch", "welcomed twice"
        await pilot.press("f12")  # but it comes back when asked
        await until(pilot, lambda: again.screen.__class__.__name__ == "Welcome")


@pytest.mark.parametrize("how", ["escape", "on"])
async def test_welcome_go_on_is_the_form(make_desk, until, how):
    desk = make_desk(welcomed=False)
    async with desk.run_test(size=(60, 20)) as pilot:
        await _welcome(desk, pilot, until)
        if how == "escape":
            await pilot.press("escape")
        else:
            await pilot.press("shift+tab", "enter")  # the last choice
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Batch", what="the form is not there")
        assert desk.settings.welcomed


async def test_questions_write_the_kitchen_of_the_next_batch(make_desk, home, until):
    desk = make_desk(welcomed=False)
    async with desk.run_test(size=(100, 32)) as pilot:
        await _welcome(desk, pilot, until)
        await pilot.press("tab", "enter")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Questions", what="no questions")
        rows = {row.path: row for row in desk.screen.query("FormRow")}
        # In the cook's own units; a wrong answer is said beside it and is not kept.
        await _type(pilot, rows["name"], "Canteen")
        await _type(pilot, rows["room"], "79 °X")
        await until(pilot, lambda: rows["room"].query(".wrong"), what="no word beside the wrong answer")
        await pilot.press("ctrl+s")
        await until(pilot, lambda: desk._notifications, what="kept in silence")
        assert desk.screen.__class__.__name__ == "Questions" and not (home / "config" / "kitchen.toml").exists()
        await _type(pilot, rows["room"], "79 F")
        await until(pilot, lambda: not rows["room"].query(".wrong"), what="the word stays")
        await _type(pilot, rows["oven.pieces_per_tray"], "8")
        rows["bench.material"].query_one("Choice").focus()
        await pilot.press("right")
        wanted = rows["bench.material"].query_one("Choice").value
        await pilot.press("ctrl+s")
        room = desk.screen_stack[0]
        await until(pilot, lambda: desk.screen is room, what="not kept")
        # The open batch has it at once, as one step of undo.
        await until(pilot, lambda: room.doc.get("kitchen.name") == "Canteen", what="the batch does not use it")
        await until(pilot, lambda: room.sized is not None and room.sized.text == room.kept.history.now)
        spec = read_batch_text(room.kept.history.now, "batch", desk.now())
        # 79 °F = 26.1 °C by definition of the Fahrenheit scale (NIST SP 811, B.8).
        assert spec.kitchen.room_c == pytest.approx((79 - 32) / 1.8) and spec.kitchen.pieces_per_tray == 8
        assert spec.kitchen.bench_material == wanted
        await room.run_action("undo")
        assert room.doc.get("kitchen.name") != "Canteen"
        # And the next batch takes it from the Kitchen room.
        await pilot.press("f4")
        await until(pilot, lambda: desk.current_mode == "kitchen" and "Canteen" in _text(desk, "#mine-text"))
        assert "79 F" in _text(desk, "#mine-text")
        await pilot.press("u")
        await until(pilot, lambda: desk.current_mode == "batch" and room.doc.get("kitchen.name") == "Canteen")


async def test_the_open_batch_takes_what_is_learned_meanwhile(make_desk, home, until):
    """Come back from the kitchen room, and figures and plan are those of the new lesson, without an edit."""
    logbook = home / "data" / "logbook.sqlite"
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        room = desk.screen_stack[0]
        await until(pilot, lambda: getattr(room, "sized", None) is not None and room.sized.workup is not None)
        plain = room.sized.workup.water_temp_c
        name = room.sized.workup.spec.kitchen.name
        await pilot.press("f4")
        await until(pilot, lambda: desk.current_mode == "kitchen")
        logbook.parent.mkdir(exist_ok=True)
        with Logbook(logbook) as book:
            ledger.write(book, [Learned("mixing_rise_k", name, 6.0, 5.0, 7.0, "K", "by hand", ())])
        await pilot.press("f1")
        await until(pilot, lambda: room.sized.workup.water_temp_c < plain - 5, what="the lesson is not used")
        assert room.sized.draft.known.mixing_rise_k.value == 6.0


async def _type(pilot, row, text: str) -> None:
    entry = row.query_one(Input)
    entry.focus()
    entry.value = ""
    await pilot.pause()
    await pilot.press(*["degree" if char == "°" else "space" if char == " " else char for char in text])


def _table(desk) -> DataTable:
    return desk.screen_stack[0].query_one("#learned-table", DataTable)


async def test_learn_from_batches_take_back_reset(make_desk, home, until):
    logbook = home / "data" / "logbook.sqlite"
    logbook.parent.mkdir()
    numbers = []
    with Logbook(logbook) as book:
        for n, bends in enumerate(([(1150, 1), (1300, 1)], [(1500, 2), (1900, 2)])):  # two days, two bend tests each
            begin = support.BEGIN + n * 100_000
            tests = [(begin + 700 + at, cdeg, verdict) for at, (cdeg, verdict) in enumerate(bends)]
            day = support.Day(support.small_plan(made_at_s=begin), bends=tests)
            text = '[butter]\nprofile = "roll-in-84"\n[kitchen]\nname = "Hall"\n'
            numbers.append(day.collect(book, batch_text=text))
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: getattr(desk.screen_stack[0], "doc", None) is not None)
        await pilot.press("f4")
        await until(pilot, lambda: desk.current_mode == "kitchen" and len(_text(desk, "#mine-text")) > 50)
        await pilot.press("l")
        await until(pilot, lambda: _table(desk).row_count, what="nothing learned")
        assert desk.screen.query_one("#kitchen-pages").page == "learned"  # brought to where it stands
        with Logbook(logbook) as book:
            learned = ledger.in_force(book)
        await until(pilot, lambda: _table(desk).row_count == len(learned))
        assert all(value.batches and set(value.batches) <= set(numbers) for value in learned)
        rows = [[str(cell) for cell in _table(desk).get_row_at(n)] for n in range(len(learned))]
        assert all(row[4] == ", ".join(map(str, value.batches)) for row, value in zip(rows, learned, strict=True))
        assert any(value.batches == tuple(numbers) for value in learned)  # the window rests on both days

        # One is taken back, by key, after a question that can be answered with no.
        await pilot.press("tab")
        await until(pilot, lambda: desk.focused is _table(desk), what="the table cannot be reached")
        for answer, left in (("escape", len(learned)), ("yes", len(learned) - 1)):
            await pilot.press("delete")
            await until(pilot, lambda: desk.screen.__class__.__name__ == "Confirm", what="no question")
            if answer == "escape":
                await pilot.press("escape")
            else:
                await pilot.click("#yes")
            await until(pilot, lambda left=left: _table(desk).row_count == left, what="not taken back")
        # All of a kitchen is taken back.
        await pilot.press("x")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Choose", what="no question for reset")
        await pilot.press("end", "enter")
        await until(pilot, lambda: _table(desk).row_count == 0, what="not reset")
        with Logbook(logbook) as book:
            assert ledger.in_force(book) == []


async def test_a_butter_window_by_hand(make_desk, home, until):
    desk = make_desk()
    async with desk.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: getattr(desk.screen_stack[0], "doc", None) is not None)
        await pilot.press("f4")
        butters = desk.screen.query_one("#butters", DataTable)
        await until(pilot, lambda: butters.row_count > 3)
        await pilot.press("e")
        await until(pilot, lambda: any("Butters" in n.message for n in desk._notifications), what="silence")
        desk.screen.query_one("#kitchen-pages").choose("butters")
        await until(pilot, lambda: butters.region.height)
        tries = (("12 to 17", "unit"), ("2 °C to 40 °C", "its window lies between"), ("13 °C to 17 °C", "Kept"))
        for text, said in tries:
            await pilot.press("e")
            await until(pilot, lambda: desk.screen.__class__.__name__ == "Ask", what="no question")
            desk.screen.query_one(Input).value = text
            await pilot.press("enter")
            await until(pilot, lambda said=said: any(said in n.message for n in desk._notifications), what=said)
        await until(pilot, lambda: "13 to 17 °C" in [str(cell) for cell in butters.get_row_at(0)], what="not shown")
        assert "written by hand" in [str(cell) for cell in butters.get_row_at(0)]


async def test_a_damaged_logbook_is_not_called_nothing_learned(make_desk, home, until):
    logbook = home / "data" / "logbook.sqlite"
    logbook.parent.mkdir()
    with Logbook(logbook) as book:
        support.Day(support.small_plan()).collect(book)
        size = book._db.execute("PRAGMA page_size").fetchone()[0]
        root = book._db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'learned'").fetchone()[0]
        book._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    octets = bytearray(logbook.read_bytes())
    octets[(root - 1) * size : root * size] = b"\xa5" * size
    logbook.write_bytes(octets)
    desk = make_desk()
    async with desk.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: getattr(desk.screen_stack[0], "doc", None) is not None)
        await pilot.press("f4")
        text = "What was learned cannot be read"
        await until(pilot, lambda: text in str(desk.screen.query("#learned-text").first(Static).content), "silence")
        assert any(text in note.message for note in desk._notifications)
