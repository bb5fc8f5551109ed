"""The look-back room over days that were played and kept: move, excursions, outcome, side by side, export, take out."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from textual import events
from textual.widgets import Input, Static, TabbedContent
from tourier.desk.widgets.fitted import Fit, fitting
from tourier.desk.widgets.plot import ticks

OTHER = "00112233445599aa"


@pytest.fixture
def logbook(home, played):
    """A logbook with a good day and one on which the third fold grew warm; returns (file, good, warm)."""
    file = home / "data" / "logbook.sqlite"
    good = played("good").into(file, board=OTHER)
    return file, good, played("warm-third-fold").into(file)


async def _enter(desk, pilot, until):
    await pilot.press("f3")
    await until(pilot, lambda: getattr(desk.screen, "shown", None) is not None, what="no batch shown")
    return desk.screen


def _words(screen, selector: str) -> str:
    return str(screen.query_one(selector, Static).content)


async def test_move_by_key_and_mouse_down_to_seconds(make_desk, logbook, until):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        room = await _enter(desk, pilot, until)
        plot = room.query_one("#plot")
        whole = plot.whole
        assert plot.view == whole and whole[1] - whole[0] > 86_000  # a day and a night
        # The list has the focus, and the arrows still move the picture.
        assert desk.focused is not None and desk.focused.id == "batches"
        await pilot.press("plus", "plus")
        before = plot.view
        await pilot.press("right")
        assert plot.view[0] - before[0] == pytest.approx(0.25 * (before[1] - before[0]))
        await pilot.press("left")
        assert plot.view == pytest.approx(before)
        for _ in range(20):
            await pilot.press("plus")
        assert plot.view[1] - plot.view[0] == pytest.approx(10.0)  # two samples: no closer
        axis = "".join(segment.text for segment in plot.render_line(plot.size.height - 1))
        seconds = [label for label in axis.split() if label.count(":") == 2]
        assert len(seconds) >= 2, axis
        await pilot.press("0")
        assert plot.view == whole
        # The wheel keeps the instant under the pointer, a drag takes the picture along.
        under = plot._at(40)
        await pilot._post_mouse_events([events.MouseScrollUp], "#plot", offset=(40, 4))
        await pilot.pause()
        assert plot.view[1] - plot.view[0] == pytest.approx(0.8 * (whole[1] - whole[0]))
        assert plot._at(40) == pytest.approx(under, abs=1.0)
        held = plot._at(30)
        await pilot.mouse_down("#plot", offset=(30, 5))
        await pilot.hover("#plot", offset=(24, 5))
        await pilot.mouse_up("#plot", offset=(24, 5))
        assert plot._at(24) == pytest.approx(held, abs=1.0)


async def test_what_is_listed_lies_outside(make_desk, logbook, until):
    """Every excursion, looked up in the samples by hand."""
    file, good, warm = logbook
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        room = await _enter(desk, pilot, until)
        shown = room.shown
        assert shown.batch.id == warm and shown.excursions
        samples = shown.batch.samples
        steps = {step.title: step for step in shown.account.steps}
        for one in shown.excursions:
            step = steps[one.title]
            edges = [int(np.searchsorted(samples.at_s, at)) for at in (one.from_s, one.to_s)]
            for edge in edges:
                c = samples.probe_c[edge]
                assert c > step.high_c if one.word == "too warm" else c < step.low_c
        assert any("fold 3" in one.title and one.word == "too warm" for one in shown.excursions)
        plot = room.query_one("#plot")
        await pilot.press("e")
        first = shown.excursions[0]
        assert plot.view[0] <= first.from_s and plot.view[1] >= first.to_s and plot.view[1] - plot.view[0] < 7200
        for _ in shown.excursions:
            await pilot.press("e")
        assert plot.view[0] <= first.from_s <= plot.view[1]  # round to the first again
        # A step of the table brings the picture to it.
        room.query_one("#lookback-tabs", TabbedContent).active = "tab-steps"
        room.query_one("#steps").focus()
        await pilot.press("down", "down", "down", "enter")
        step = shown.account.steps[3]
        assert plot.view[0] < step.from_s and plot.view[1] > step.to_s
        # What is the day's own rhythm is no alarm: a good day has no ! in its picture.
        room.open(good)
        await until(pilot, lambda: room.shown.batch.id == good, what="other batch not shown")
        assert not [mark for _at, mark in room.shown.marks if mark == "!"] and len(room.shown.marks) > 40
        assert "Nothing in the log stands out" in _words(room, "#findings")


async def test_outcome_side_by_side_export_and_take_out(make_desk, logbook, home, until):
    from tourier.logbook.record.store import Logbook

    file, good, warm = logbook
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        room = await _enter(desk, pilot, until)
        await pilot.press("o")
        await until(pilot, lambda: type(desk.screen).__name__ == "OutcomeForm" and desk.focused is not None)
        await pilot.press("space", "down", "down", "space", "down", "space", "space")  # the third is taken back
        desk.screen.query_one("#rating", Input).focus()
        await pilot.press("2", "ctrl+s")
        await until(pilot, lambda: desk.screen is room and room.shown.batch.outcome is not None, what="not kept")
        assert room.shown.batch.outcome.symptoms == ("leak", "shattered-butter")
        # Side by side: both from their first step, one moves the other; what differs is listed.
        room.query_one("#batches").focus()
        await pilot.press("s", "down", "enter")
        await until(pilot, lambda: room.beside.batch is not None, what="no second batch")
        first, second = room.query_one("#plot"), room.query_one("#second-plot")
        shift = room.beside.batch.strip[0][0] - room.shown.strip[0][0]
        await pilot.press("plus", "plus", "right")
        assert second.view == pytest.approx((first.view[0] + shift, first.view[1] + shift), abs=1.0)
        await pilot._post_mouse_events([events.MouseScrollUp], "#second-plot", offset=(40, 3))
        await pilot.pause()
        assert second.view == pytest.approx((first.view[0] + shift, first.view[1] + shift), abs=1.0)
        table = room.query_one("#compared")
        cells = [[str(cell) for cell in table.get_row_at(row)] for row in range(table.row_count)]
        assert any("fold 3 (3-fold), pâton 1: lasted" in row[0] and row[1] != row[2] for row in cells), cells
        await pilot.press("s")
        assert room.beside.batch is None and not room.has_class("-beside")
        # Export: every kind, by keyboard; a folder that is none is said.
        await pilot.press("x")
        await until(pilot, lambda: type(desk.screen).__name__ == "Export")
        entry = desk.screen.query_one(Input)
        entry.value = str(home / "nowhere")
        await pilot.press("enter", "enter")
        await until(pilot, lambda: "cannot be written" in _words(desk.screen, "#exported"))
        entry.value = str(home)
        await until(pilot, lambda: not any(worker.is_running for worker in desk.workers))
        await pilot.pause(0.5)  # the button's own animation takes no press
        for expected in ("html", "csv", "json", "jsonl"):
            # A button that was pressed a moment ago is still drawn pressed, and does not take the key again.
            await until(pilot, lambda: not desk.focused.has_class("-active"))
            await pilot.press("enter")
            await until(pilot, lambda kind=expected: f".{kind}" in _words(desk.screen, "#exported"), what=expected)
            await pilot.press("tab")
        await pilot.press("enter")
        await until(pilot, lambda: "Copied" in _words(desk.screen, "#exported"))
        assert "fold 3" in desk.clipboard
        await pilot.press("escape")
        assert json.loads((home / f"batch-{warm}.json").read_text())["schema"].startswith("tourier/")
        # Taken out, and put back with everything that hung on it.
        await pilot.press("delete")
        await until(pilot, lambda: type(desk.screen).__name__ == "Confirm")
        await pilot.press("tab", "enter")
        await until(pilot, lambda: room.shown is not None and room.shown.batch.id == good, what="still there")
        with Logbook(file) as book:
            assert [one.id for one in book.batches()] == [good]
        await pilot.press("u")
        await until(pilot, lambda: room.query_one("#batches").row_count == 2, what="not put back")
    with Logbook(file) as book:
        back = next(one for one in book.batches() if one.id != good)
        assert back.rating == 2 and set(back.symptoms) == {"leak", "shattered-butter"}
        assert len(book.load(back.id).samples) > 10_000
        # The exported log is a whole batch for another logbook.
        with Logbook(home / "other.sqlite") as other:
            assert other.import_from(home / f"batch-{warm}.jsonl") == {"taken": 1, "known": 0}


async def test_no_logbook_and_a_damaged_one(make_desk, home, until):
    desk = make_desk()
    async with desk.run_test(size=(80, 24)) as pilot:
        await pilot.press("f3")
        await until(pilot, lambda: desk.current_mode == "lookback" and desk.screen.query("#lookback-title"))
        await until(pilot, lambda: "No batch in the logbook" in _words(desk.screen, "#lookback-title"))
        await pilot.press("plus", "right", "e", "x", "o", "s", "delete", "u", "0")
        assert len(desk.screen_stack) == 1
        (home / "data").mkdir(parents=True, exist_ok=True)
        (home / "data" / "logbook.sqlite").write_bytes(b"this is no database" * 100)
        await pilot.press("f2", "f3")
        await until(pilot, lambda: any(n.title == "Logbook" for n in desk._notifications), what="nothing said")


@settings(max_examples=200, deadline=None)
@given(
    first=st.floats(2e8, 3e8), span=st.floats(10, 4e5), width=st.integers(16, 230), offset=st.sampled_from([0, 60, 330])
)
def test_labels_of_the_axis_stand_at_their_instant(first, span, width, offset):
    zone = timezone(timedelta(minutes=offset))

    def local(at_s: float) -> datetime:
        return datetime.fromtimestamp(at_s, UTC).astimezone(zone)

    found = ticks(first, first + span, width, local)
    assert found
    end = -2
    for column, label in found:
        assert column >= end + 1 or not end > 0, found  # none overlaps the one before
        assert column + len(label) <= width or len(found) == 1
        end = column + len(label)
    whole = [pair for pair in found if pair[0] > 0]
    for column, label in whole:
        here = local(first + (column + 0.5) / width * span)
        clock = label.split()[-1]
        parts = [int(part) for part in clock.split(":")] + [0]
        said = parts[0] * 3600 + parts[1] * 60 + parts[2]
        seen = here.hour * 3600 + here.minute * 60 + here.second
        away = abs((said - seen + 43200) % 86400 - 43200)
        assert away <= span / width + 1, (label, here)


@given(
    room=st.integers(10, 200), widths=st.lists(st.tuples(st.integers(3, 20), st.integers(0, 5)), min_size=1, max_size=9)
)
def test_a_fitted_table_is_no_wider_than_its_room(room, widths):
    columns = [Fit(str(n), width, rank) for n, (width, rank) in enumerate(widths)]
    kept, first = fitting(columns, room)
    assert kept[0] == 0 and first >= columns[0].width
    taken = first + 2 + sum(columns[n].width + 2 for n in kept[1:]) + 1
    assert taken <= room or kept == [0]
