"""The batch room: every key has a field, edits go into the file as typed, and nothing is lost on any way out."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from textual.widgets import Button, DataTable, Input, OptionList, Static, TextArea
from tourier.batch.examples import demo_text
from tourier.desk.data.batchdoc import BatchDoc, DocError, trouble
from tourier.desk.data.fields import SECTIONS, label_of
from tourier.desk.data.kept import Aside, Autosave, History
from tourier.known import Known

NOW = datetime(2027, 3, 12, 17, 0, tzinfo=ZoneInfo("Europe/Paris"))


async def _room(desk, pilot, until):
    await until(pilot, lambda: getattr(desk.screen_stack[0], "doc", None) is not None, what="no batch opened")
    return desk.screen_stack[0]


def _row(room, path):
    return next((row for row in room.query("FormRow") if row.path == path), None)


def _type(room, path, text):
    _row(room, path).query_one(Input).value = text


def _top(desk) -> str:
    return type(desk.screen).__name__


def test_labels_say_keys_in_the_forms_words():
    assert label_of("pieces[croissant].count") == "Pieces, croissant: how many"
    assert label_of("kitchen.bench.thickness") == "Kitchen: bench of thick"
    assert label_of("formula.whole milk") == "Formula: whole milk"
    assert label_of("name") == "Batch: name"
    assert label_of("no such thing") == "no such thing"


@pytest.mark.parametrize(
    ("text", "line", "key"),
    [
        ('name = "a"\nready = Sunday 08:30\n', 2, "ready"),
        ('name = "a"\n[kitchen\nroom = 1\n', 2, ""),
        ('name = "a\nzone = "b"\n', 1, "name"),
        ('name = "a"\nname = "b"\n', 2, "name"),
        ('name = "a"\n[kitchen]\nroom = "20 °C" warm\n', 3, "room"),
    ],
)
def test_trouble_names_line_and_key(text, line, key):
    found = trouble(text)
    assert found is not None and found.line == line and found.key == key and found.sentence


@pytest.mark.parametrize("odd", ["kitchen = 3\n", "pieces = 4\n", "formula = []\n", 'butter = "much"\n', "away = 1\n"])
def test_odd_files_are_refused_by_the_field_not_by_a_crash(odd):
    doc = BatchDoc(odd)
    for one in SECTIONS:
        for row in one.fields:
            path = f"{one.path}[1].{row.key}" if one.many else f"{one.path}.{row.key}" if one.path else row.key
            before = doc.text
            try:
                doc.put(path, "1 cm")
            except DocError:
                assert doc.text == before
    with pytest.raises(DocError):
        doc.take("name = ")
    assert trouble(doc.text) is None


def test_an_ingredient_goes_long_and_short_again():
    doc = BatchDoc('[formula]\n"bread flour" = "100 %"  # strong\nrum = "2 %"\n')
    doc.put_ingredient("rum", "kind", "water")
    doc.put_ingredient("rum", "temperature", "20 °C")
    assert doc.get("formula")["rum"] == {"percent": "2 %", "kind": "water", "temperature": "20 °C"}
    doc.put_ingredient("rum", "percent", "3 %")
    doc.put_ingredient("rum", "kind", "")
    doc.put_ingredient("rum", "temperature", "")
    assert doc.get("formula")["rum"] == "3 %" and "# strong" in doc.text


def test_a_long_evening_of_edits_can_be_taken_back_to_its_start():
    history = History("0")
    for edit in range(1, 401):
        history.edit(str(edit), f"field {edit % 2}")
    back = 0
    while history.undo():
        back += 1
        assert history.now == str(400 - back)
    assert (back, history.now) == (400, "0")


def test_history_tells_what_was_touched():
    history = History("a")
    history.edit("b", "name")
    history.edit("c", "name")
    history.edit("d", "ready")
    assert history.undo() and (history.now, history.touched) == ("c", "ready")
    assert history.undo() and (history.now, history.touched) == ("a", "name")
    assert not history.undo()
    assert history.redo() and history.redo() and (history.now, history.touched) == ("d", "ready")
    history.edit("e", "pieces[3].name", alone=True)
    history.edit("f", "pieces[3].name", alone=True)
    assert history.undo() and history.now == "e"


async def test_undo_goes_to_the_field_and_units_stay_as_typed(make_desk, home, until):
    file = home / "mine.toml"
    file.write_bytes(demo_text().replace("\n", "\r\n").encode())
    desk = make_desk(batch_file=file)
    async with desk.run_test(size=(120, 40)) as pilot:
        room = await _room(desk, pilot, until)
        # Each page is left at once after typing: the last letter must not be lost with its field.
        _type(room, "name", "Sunday")
        room.query_one("#form-pages").choose("pieces")
        await until(pilot, lambda: _row(room, "pieces[1].thickness"))
        room.query_one("#form-members").choose("2")
        row = await until(pilot, lambda: _row(room, "pieces[2].thickness"))
        _type(room, row.path, "5/32 in")
        room.query_one("#form-pages").choose("kitchen")
        await until(pilot, lambda: _row(room, "kitchen.room"))
        _type(room, "kitchen.room", "79 °F")
        await until(pilot, lambda: room.doc.get("kitchen.room") == "79 °F", what="not written")
        await until(pilot, lambda: room.sized and room.sized.text == room.kept.history.now and room.sized.workup)
        assert room.sized.workup.spec.kitchen.room_c == pytest.approx((79 - 32) / 1.8)
        # Back through three pages, the cursor in the field each time; and forth again.
        for page, path, was in (
            ("kitchen", "kitchen.room", "26 °C"), ("pieces", "pieces[2].thickness", "4 mm"),
            ("batch", "name", "Village hall breakfast"),
        ):  # fmt: skip
            await pilot.press("ctrl+z")
            await until(pilot, lambda page=page: room.form.page == page, what=f"{page} not shown")
            assert room.doc.get(path) == was
            await until(pilot, lambda path=path: desk.focused in _row(room, path).query(Input), what=path)
            assert _row(room, path).query_one(Input).value == was
        assert room.kept.history.now == demo_text() and not room.kept.unsaved
        await pilot.press("ctrl+z")  # nothing left
        for _ in range(3):
            await pilot.press("ctrl+y")
        await until(pilot, lambda: room.form.page == "kitchen", what="not done again")
        assert room.doc.get("kitchen.room") == "79 °F"
        await pilot.press("ctrl+s")
        await until(pilot, lambda: not room.kept.unsaved, what="not saved")
    kept = file.read_bytes()
    assert b'thickness = "5/32 in"\r\n' in kept and 'room = "79 °F"\r\n'.encode() in kept
    assert kept.count(b"\n") == kept.count(b"\r\n")  # lines end as the cook's editor ended them
    assert b"# 24 croissants and 12 pains au chocolat" in kept


async def test_a_file_that_is_no_toml_is_mended_and_nothing_is_lost(make_desk, home, until):
    broken = home / "broken.toml"
    text = demo_text().replace('room = "26 °C"', "room = 26 °C")
    broken.write_text(text, encoding="utf-8")
    line = text.split("\n").index("room = 26 °C") + 1
    desk = make_desk()
    async with desk.run_test(size=(80, 24)) as pilot:
        room = await _room(desk, pilot, until)
        _type(room, "name", "Mine")
        await pilot.pause()
        await pilot.press("ctrl+o")
        await until(pilot, lambda: _top(desk) == "OpenBatch")
        desk.screen.query_one(Input).value = str(broken)
        await pilot.press("enter")
        await until(pilot, lambda: _top(desk) == "Mend", what="not shown")
        words = str(desk.screen.query_one("#mend-words", Static).content)
        assert f"Line {line} (room)" in words and "quotes" in words
        assert desk.screen.query_one(TextArea).cursor_location == (line - 1, 0)
        await pilot.press("ctrl+s")  # not yet
        assert _top(desk) == "Mend"
        await pilot.press("escape")
        await until(pilot, lambda: desk.screen is room)
        assert room.doc.get("name") == "Mine" and broken.read_text(encoding="utf-8") == text
        # Again, and mended this time.
        await room.files.open_file(broken)
        await until(pilot, lambda: _top(desk) == "Mend")
        area = desk.screen.query_one(TextArea)
        area.replace('room = "26 °C"', (line - 1, 0), (line - 1, len("room = 26 °C")))
        await until(pilot, lambda: "can be read" in str(desk.screen.query_one("#mend-words", Static).content))
        await pilot.press("ctrl+s")
        await until(pilot, lambda: room.kept.file is not None, what="not opened")
        assert room.doc.get("kitchen.room") == "26 °C" and room.kept.unsaved
        # What stood in the form before had no file: it was put aside, and Open has it.
        assert [BatchDoc(one.read_text()).get("name") for one in Aside(home / "state" / "autosave").files()] == ["Mine"]
        await pilot.press("ctrl+o")
        await until(pilot, lambda: _top(desk) == "OpenBatch")
        options = desk.screen.query_one(OptionList)
        words = [str(options.get_option_at_index(n).prompt) for n in range(options.option_count)]
        place = next(n for n, one in enumerate(words) if one.startswith("Put aside: Mine"))
        options.focus()
        options.highlighted = place
        await pilot.press("enter")
        await until(pilot, lambda: room.doc.get("name") == "Mine" and room.kept.file is None, what="not brought back")


async def test_an_unknown_ingredient_gets_a_kind(make_desk, until):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        room = await _room(desk, pilot, until)
        await room.form.open_page("formula")
        entry = room.query_one("#new-ingredient", Input)
        entry.focus()
        entry.value = "orange blossom"
        await pilot.press("enter")
        row = await until(pilot, lambda: _row(room, "formula.orange blossom.kind"), what="no field for its kind")
        await until(pilot, lambda: any("choose" in str(one.content) for one in row.query(".wrong").results(Static)))
        assert "[!Formula]" in room.query_one("#form-pages")._plain
        row.focus_entry()
        await pilot.press("enter")
        await until(pilot, lambda: _top(desk) == "Choose")
        options = desk.screen.query_one(OptionList)
        options.highlighted = next(
            n for n in range(options.option_count) if str(options.get_option_at_index(n).prompt) == "water"
        )
        await pilot.press("enter")
        await until(pilot, lambda: room.sized.text == room.kept.history.now and room.sized.workup, what="still wrong")
        assert room.doc.get("formula")["orange blossom"] == {"percent": "1 %", "kind": "water"}
        # A known one gets a temperature of its own: the water is reckoned anew.
        before = room.sized.workup.water_temp_c
        room.query_one("#more", Button).press()
        await until(pilot, lambda: _top(desk) == "Choose")
        options = desk.screen.query_one(OptionList)
        options.highlighted = next(
            n for n in range(options.option_count) if str(options.get_option_at_index(n).prompt) == "whole milk"
        )
        await pilot.press("enter")
        await until(pilot, lambda: _row(room, "formula.whole milk.temperature"))
        _type(room, "formula.whole milk.temperature", "25 °C")
        await pilot.pause()
        await until(pilot, lambda: room.sized.text == room.kept.history.now and room.sized.workup)
        assert room.sized.workup.water_temp_c < before - 1


async def test_saving_hides_no_other_text(make_desk, home, until, monkeypatch):
    file = home / "mine.toml"
    file.write_text(demo_text(), encoding="utf-8")
    desk = make_desk(batch_file=file)
    async with desk.run_test(size=(80, 24)) as pilot:
        room = await _room(desk, pilot, until)
        _type(room, "name", "Here")
        await pilot.pause()
        file.write_text(demo_text().replace("Village hall breakfast", "There"), encoding="utf-8")
        await pilot.press("ctrl+s")
        await until(pilot, lambda: _top(desk) == "Confirm", what="not asked")
        await pilot.press("escape")
        await until(pilot, lambda: desk.screen is room)
        assert "There" in file.read_text(encoding="utf-8") and room.kept.unsaved
        await pilot.press("ctrl+s")
        await until(pilot, lambda: _top(desk) == "Confirm")
        await pilot.press("tab", "enter")
        await until(pilot, lambda: "Here" in file.read_text(encoding="utf-8"))
        # A disk that is full: said once, no crash, the edit stays.
        def full(self, text, turn=0):
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(Autosave, "keep", full)
        _type(room, "name", "Full")
        await until(pilot, lambda: any("No space left" in n.message for n in desk._notifications), what="nothing said")
        assert room.doc.get("name") == "Full"
        desk.clear_notifications()
        room.files.save_to(home / "no" / "such" / "folder.toml")
        await until(pilot, lambda: any("cannot be written" in n.message for n in desk._notifications))


async def test_a_damaged_autosave_does_not_keep_the_room_shut(make_desk, home, until):
    kept = Autosave(home / "state" / "autosave", None)
    kept.keep("name = ")
    desk = make_desk()
    async with desk.run_test(size=(80, 24)) as pilot:
        room = await _room(desk, pilot, until)
        assert room.doc.get("name") == "Village hall breakfast"
        assert [one.read_text() for one in Aside(home / "state" / "autosave").files()] == ["name = "]


async def test_what_changed_since_the_last_good_batch(make_desk, home, until, played):
    from tourier.logbook.record.model import Outcome

    played("good").into(home / "data" / "logbook.sqlite", Outcome(rating=5))
    desk = make_desk()
    async with desk.run_test(size=(100, 32)) as pilot:
        room = await _room(desk, pilot, until)
        await room.files.open_text(played("good").batch_text, None, keep=False)
        await room.form.open_page("kitchen")
        _type(room, "kitchen.room", "22 °C")
        await pilot.pause()
        await pilot.press("ctrl+g")
        await until(pilot, lambda: _top(desk) == "Changed")
        table = desk.screen.query_one(DataTable)
        await until(pilot, lambda: table.row_count, what="nothing listed")
        assert [str(cell) for cell in table.get_row_at(0)] == ["Kitchen: room", "26 °C", "22 °C"]
        assert table.row_count == 1
        assert "last good batch" in str(desk.screen.query_one("#changed-title", Static).content)


async def test_timetable_with_sleep_shaded_and_warnings_with_reasons(make_desk, until):
    desk = make_desk()
    async with desk.run_test(size=(140, 40)) as pilot:
        room = await _room(desk, pilot, until)
        await until(pilot, lambda: room.timed and room.timed.planned, "no timetable")
        room.query_one("#worked-pages").choose("times")
        shown = lambda: room.query_one("#worked-page", Static).content  # noqa: E731
        await until(pilot, lambda: "hands-on" in str(shown()), what="no legend")
        shaded = [span for span in shown().spans if "reverse" in str(span.style)]
        assert shaded and all(set(str(shown())[span.start : span.end]) == {":"} for span in shaded)
        room.query_one("#worked-pages").choose("mind")
        await until(pilot, lambda: "why:" in str(shown()), what="no reason")
        assert "!Warnings" in room.query_one("#worked-pages")._plain


def test_sheets_are_drawn_to_one_scale():
    from tourier.batch.read import read_batch_text
    from tourier.batch.workup import work_up
    from tourier.picture.sheets import sheet_picture

    work = work_up(read_batch_text(demo_text(), "demo", NOW), Known())
    lines = sheet_picture(work, 100)
    drawn = [len(box.split("┐")[0]) + 1 for line in lines if "┌" in line for box in line.split("┌")[1:]]
    stages = [stage for stage in work.stages if stage.paton == 1]
    assert len(drawn) == len(stages)
    scales = [(width + 1) / stage.length_m for width, stage in zip(drawn, stages, strict=True)]
    for width, stage in zip(drawn, stages, strict=True):
        assert abs(width + 1 - stage.length_m * scales[0]) <= 1.6, (stage.step, scales)


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_a_refusal_can_be_read_to_its_end(make_desk, until, size):
    """A fridge too small, written into the form: reason and way out stand whole on the Timetable page."""
    desk = make_desk()
    async with desk.run_test(size=size) as pilot:
        room = await _room(desk, pilot, until)
        await until(pilot, lambda: room.query("#worked-page"))
        await room.form.open_page("kitchen")
        await pilot.pause()
        _type(room, "kitchen.fridge.shelves", "3")
        await until(pilot, lambda: room.timed is not None and room.timed.refused, what="no refusal")
        if size[0] < 100:
            await pilot.press("f6")
        room.query_one("#worked-pages").choose("times")
        shown = room.query_one("#worked-page")
        await until(pilot, lambda: "fridge" in str(shown.content), what="the page does not say it")
        text = str(shown.content)
        assert room.timed.refused in " ".join(text.split())
        assert all(len(line) <= room.query_one("#worked-scroll").size.width for line in text.splitlines())
        assert any("Make room in the fridge" in offer for offer in room.timed.offers)


async def test_masses_are_seen_whole_in_a_narrow_window(make_desk, until):
    desk = make_desk()
    async with desk.run_test(size=(80, 24)) as pilot:
        room = await _room(desk, pilot, until)
        await until(pilot, lambda: room.sized is not None and room.sized.workup is not None)
        await pilot.press("f6")
        room.query_one("#worked-pages").choose("masses")
        shown = room.query_one("#worked-page")
        await until(pilot, lambda: "Détrempe" in str(shown.content))
        lines = str(shown.content).splitlines()
        assert all(len(line) <= 78 for line in lines)
        assert "three-factor rule of thumb says" in " ".join(" ".join(lines).split())
