"""Batch files: what is read, and what is refused with key and line."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tourier.batch.examples import NAMES, demo_text, example_text
from tourier.batch.read import BatchError, read_batch, read_batch_text

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)  # a Wednesday
DEMO = demo_text()


def lines_of(text, needle):
    return next(n for n, line in enumerate(text.splitlines(), start=1) if needle in line)


def problems(text, now=NOW):
    with pytest.raises(BatchError) as caught:
        read_batch_text(text, "a.toml", now)
    return caught.value.problems


def changed(old, new):
    assert old in DEMO
    return DEMO.replace(old, new, 1)


def test_the_demo_says_what_the_village_hall_wants():
    spec = read_batch_text(DEMO, "demo.toml", NOW)
    assert [(p.name, p.count) for p in spec.pieces] == [("croissant", 24), ("pain au chocolat", 12)]
    assert spec.wished_at.isoformat() == "2026-11-29T08:30:00+01:00"
    assert spec.wished_at.strftime("%A %H:%M") == "Sunday 08:30"
    assert spec.kitchen.bench_material == "marble"
    assert spec.kitchen.room_c == 26.0
    assert spec.units == "metric"
    assert spec.butter.roll_in_percent_of_dough == 28.0
    assert spec.butter.roll_in_percent_of_flour is None
    assert spec.lines["kitchen.bench.length"] == lines_of(DEMO, 'length = "120 cm"')


@pytest.mark.parametrize("name", NAMES)
def test_every_example_is_read(name):
    spec = read_batch_text(example_text(name), name, NOW)
    assert spec.pieces and spec.formula
    assert spec.wished_at > NOW + timedelta(hours=35)


def test_inches_are_kept_as_the_units_to_print():
    spec = read_batch_text(example_text("home-inches"), "", NOW)
    assert spec.units == "inch"
    assert spec.butter.block_length_m == pytest.approx(0.2032)
    assert spec.kitchen.fridge_c == pytest.approx(3.333, abs=0.001)


# --- the ready time ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("now", "ready"),
    [
        ("2026-11-25T09:00+00:00", "2026-11-29T08:30:00+01:00"),
        ("2026-11-27T19:29+00:00", "2026-11-29T08:30:00+01:00"),  # 36 h and a minute ahead
        ("2026-11-27T19:31+00:00", "2026-12-06T08:30:00+01:00"),  # less than 36 h: the Sunday after
        ("2026-10-22T09:00+00:00", "2026-10-25T08:30:00+01:00"),  # the night the clocks go back
        ("2027-03-25T09:00+00:00", "2027-03-28T08:30:00+02:00"),  # the night they go forward
    ],
)
def test_sunday_is_the_next_one_at_least_36_hours_ahead(now, ready):
    assert read_batch_text(DEMO, "", datetime.fromisoformat(now)).wished_at.isoformat() == ready


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('"2026-11-24 08:30"', "already past"), ('"Someday 08:30"', "no day of the week"), ('"Sunday"', "no moment"),
        ('"2026-02-30 08:30"', "no date that exists"), ('"2027-03-28 02:30"', "clocks go forward"),
        ('"Sunday 25:00"', "no time of day"), ("8", "no moment"), ('"2027-02-20 08:30"', "60 days"),
        ('"S 08:30"', "no day of the week"),
    ],
)  # fmt: skip
def test_bad_ready_times(text, says):
    found = problems(changed('"Sunday 08:30"', text), datetime(2027, 3, 26, tzinfo=UTC) if "03-28" in text else NOW)
    assert [p.key for p in found] == ["ready"]
    assert says in found[0].sentence
    assert found[0].line == lines_of(DEMO, "ready =")


@pytest.mark.parametrize("text", ['"2026-12-06 08:30"', "2026-12-06T08:30:00", '"2026-12-06T08:30+01:00"',
                                  '"2026-12-06T07:30Z"'])  # fmt: skip
def test_dated_ready_times(text):
    spec = read_batch_text(changed('"Sunday 08:30"', text), "", NOW)
    assert spec.wished_at.isoformat() == "2026-12-06T08:30:00+01:00"


# --- refusals name key and line ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "key", "says"),
    [
        ('"9 cm"', "9", "pieces[1].base", "has no unit"),
        ('base = "8 cm"', 'base = "8 kg"', "pieces[2].base", "no unit of a length"),
        ('"28 % of dough"', '"28 %"', "butter.roll_in", "of what"),
        ('"28 % of dough"', '"95 % of dough"', "butter.roll_in", "allowed are 5 to 70"),
        ("flour_max", "flour_maxx", "kitchen.mixing.flour_maxx", 'did you mean "flour_max"'),
        ('"Europe/Paris"', '"Europe/Pari"', "zone", "no time zone"),
        ('"Europe/Paris"', '"../../etc/passwd"', "zone", "is no time zone"),
        ('"Europe/Paris"', '"posixrules"', "zone", "no time zone is called"),
        ('"Europe/Paris"', '"right/Europe/Paris"', "zone", "no time zone is called"),
        ("count = 24", "count = 24.5", "pieces[1].count", "whole number"),
        ("count = 24", "count = 0", "pieces[1].count", "allowed are 1 to 2000"),
        ("count = 24", "count = true", "pieces[1].count", "whole number"),
        ('"triangle"', '"triangel"', "pieces[1].shape", 'did you mean "triangle"'),
        ('"pain au chocolat"', '"croissant"', "pieces[2].name", "used twice"),
        ('"30 cm"', '"20 cm"', "pieces[1].stretch_to", "shorter than the height"),
        ("[3, 3, 3]", "[4, 5]", "folds.sequence", "2, 3 and 4"),
        ("[3, 3, 3]", "[]", "folds.sequence", "list of folds"),
        ("[3, 3, 3]", '"4,3"', "folds.sequence", "list of folds"),
        ('"26 °C"\nhumidity', '"26 K"\nhumidity', "kitchen.room", "difference"),
        ('"120 cm"', '"12 m"', "kitchen.bench.length", "not possible here"),
        ('temperature = "4 °C"', 'temperature = "30 °C"', "kitchen.fridge.temperature", "not possible here"),
        ('"bread flour" = "100 %"', '"bread flour" = "90 %"', "formula", "they make 100 %"),
        ('water = "26 %"', 'watr = "26 %"', "formula.watr", "does not know"),
        ('"fresh yeast" = "4 %"\n', "", "formula", "has no yeast"),
        ('salt = "2 %"', "salt = 2", "formula.salt", "has no unit"),
        ('to = "04:00"', 'to = "20:00"', "away[1].from", "wrong way round"),
        ('to = "04:00"', 'to = "21:30"', "away[1].to", "same as from"),
        ('to = "Saturday 16:00"', 'to = "Saturday 13:00"', "away[2].to", "not after from"),
        ("why = \"away\"", 'why = "holiday"', "away[2].why", "not one of"),
        ('profile = "roll-in-84"', 'profile = "roll-in"', "butter.profile", 'did you mean "roll-in-84"'),
        ("ice = true", 'ice = "yes"', "kitchen.bench.ice", "true or false"),
        ('name = "Village hall breakfast"', "", "name", "is missing"),
        ('thickness = "20 mm"', "", "kitchen.bench.thickness", "is missing"),
        ('trim = "12 %"', 'trim = "80 %"', "trim", "allowed are 0 % to 40 %"),
    ],
)  # fmt: skip
def test_refusals(old, new, key, says):
    text = changed(old, new)
    found = problems(text)
    assert [p.key for p in found] == [key]
    assert says in found[0].sentence
    table = key.rsplit(".", 1)[0]
    assert 0 <= found[0].line <= len(text.splitlines())
    if new and not says.startswith(("they make", "has no yeast")):
        assert found[0].line >= lines_of(text, new.splitlines()[0]) - 5, (table, found)


def test_lines_point_at_the_very_line():
    text = changed('base = "8 cm"', "base = 8")
    assert problems(text)[0].line == lines_of(text, "base = 8")
    text = changed("flour_max", "flour_maxx")
    assert problems(text)[0].line == lines_of(text, "flour_maxx")


def test_all_problems_are_named_at_once():
    text = DEMO.replace('"9 cm"', "9").replace("[3, 3, 3]", "[9]").replace('"26 °C"', '"99 °C"')
    keys = [p.key for p in problems(text)]
    assert keys == ["pieces[1].base", "folds.sequence", "kitchen.room", "kitchen.proof.temperature"]


def test_two_daily_spans_may_not_overlap():
    text = DEMO + '\n[[away]]\nfrom = "03:00"\nto = "05:00"\n'
    found = problems(text)
    assert found[0].key == "away[3].from"
    assert "overlaps" in found[0].sentence


def test_a_block_cannot_have_all_three_sides_set():
    text = changed('profile = "roll-in-84"', 'profile = "roll-in-84"\nblock_length = "20 cm"\nblock_width = "20 cm"\n'
                                             'block_thickness = "8 mm"')  # fmt: skip
    assert problems(text)[0].key == "butter.block_thickness"


def test_not_toml_names_the_line():
    found = problems('name = "x"\nready = \n')
    assert found[0].line == 2
    assert "not TOML" in found[0].sentence


def test_size_is_capped(tmp_path):
    path = tmp_path / "big.toml"
    path.write_text("#" * 70_000)
    with pytest.raises(BatchError, match="larger than 64 KB"):
        read_batch(path, NOW)
    with pytest.raises(BatchError, match="larger than 64 KB"):
        read_batch_text("#" * 70_000, "", NOW)


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(BatchError, match="cannot be read"):
        read_batch(tmp_path / "none.toml", NOW)
    path = tmp_path / "latin.toml"
    path.write_bytes(b'name = "a"\nnote = "\xe9"\n')
    with pytest.raises(BatchError, match="UTF-8") as caught:
        read_batch(path, NOW)
    assert caught.value.problems[0].line == 2
    with pytest.raises(BatchError, match="cannot be read"):
        read_batch(tmp_path, NOW)


def test_windows_line_ends_and_byte_order_mark(tmp_path):
    path = tmp_path / "w.toml"
    path.write_bytes(b"\xef\xbb\xbf" + DEMO.replace("\n", "\r\n").encode())
    assert read_batch(path, NOW).name == "Village hall breakfast"


def test_control_characters_reach_no_terminal():
    text = changed('name = "Village hall breakfast"', 'name = "\\u001b[31mred\\u0007"')
    assert read_batch_text(text, "", NOW).name == "[31mred"
    with pytest.raises(BatchError) as caught:
        read_batch_text(changed('"9 cm"', '"\\u001b[2J9"'), "\x1bfile", NOW)
    assert "\x1b" not in str(caught.value)


def test_each_problem_is_one_sentence_on_one_line():
    text = DEMO.replace('"9 cm"', "9").replace("[3, 3, 3]", "[9]")
    with pytest.raises(BatchError) as caught:
        read_batch_text(text, "a.toml", NOW)
    rows = str(caught.value).splitlines()
    assert len(rows) == 2
    assert rows[0].startswith("a.toml: line ")


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_damaged_file_is_refused_or_read_but_never_crashes(data):
    rows = DEMO.splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(rows) - 1))
        action = data.draw(st.sampled_from(["drop", "double", "cut", "swap", "noise"]))
        if action == "drop":
            rows[at] = ""
        elif action == "double":
            rows.insert(at, rows[at])
        elif action == "cut":
            rows[at] = rows[at][: data.draw(st.integers(0, len(rows[at])))]
        elif action == "swap":
            key = rows[at].split("=")[0]
            rows[at] = key + "= " + data.draw(st.sampled_from(["1", "true", '"x"', "[1]", "{a=1}", "1.5", "nan", '""',
                                                               "2026-01-01", "07:30:00", "[[1]]", "-1"]))  # fmt: skip
        else:
            rows[at] += data.draw(st.text(max_size=5))
    try:
        read_batch_text("\n".join(rows), "", NOW)
    except BatchError as error:
        assert error.problems
        assert all(p.sentence for p in error.problems)


def test_the_old_name_of_the_plant_fat_block_is_still_read():
    text = example_text("puff").replace("[butter]", '[butter]\nprofile = "vegan-block"', 1)
    text = re.sub(r'\nprofile = "(?!vegan).*', "", text)
    assert read_batch_text(text, now=NOW).butter.profile == "plant-block"
    with pytest.raises(BatchError, match='"plant-blok" is not one of .*did you mean "plant-block"'):
        read_batch_text(text.replace("vegan-block", "plant-blok"), now=NOW)


@pytest.mark.parametrize(
    ("own", "kitchen", "said"),
    [("", "", "inch"), ('units = "metric"\n', "", "metric"), ("", 'units = "metric"\n', "metric"),
     ('units = "inch"\n', 'units = "metric"\n', "inch")],
)  # fmt: skip
def test_units_are_the_batchs_own_else_the_kitchens_else_the_pieces(own, kitchen, said):
    text = own + example_text("home-inches").replace("[kitchen]\n", f"[kitchen]\n{kitchen}", 1)
    assert read_batch_text(text, now=NOW).units == said


def test_limits_are_said_in_the_cooks_units():
    text = example_text("home-inches").replace('room = "70 °F"', 'room = "120 °F"')
    with pytest.raises(BatchError, match="120 °F is not possible here; allowed are 36 °F to 113 °F"):
        read_batch_text(text, now=NOW)
    text = text.replace("[kitchen]\n", '[kitchen]\nunits = "feet"\n', 1)
    with pytest.raises(BatchError, match='kitchen.units: "feet" is not one of metric, inch'):
        read_batch_text(text, now=NOW)
