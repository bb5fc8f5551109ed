"""Batch files meant to break the reader and the reckoning, and figures that would look right and be wrong."""

import os
import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from tourier.batch.examples import demo_text
from tourier.batch.geometry import Unworkable, lay_out
from tourier.batch.read import BatchError, read_batch, read_batch_text
from tourier.batch.workup import work_up
from tourier.craft.block import BlockError, fit
from tourier.known import Known
from tourier.plantext import formula_lines

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
DEMO = demo_text()
BASE = read_batch_text(DEMO, "", NOW)


def with_value(key, value):
    """The demo with the first `key` set to `value` (TOML)."""
    made, count = re.subn(rf"(?m)^{key} = .*$", lambda _: f"{key} = {value}", DEMO, count=1)
    assert count == 1
    return made


def problems(text):
    with pytest.raises(BatchError) as caught:
        read_batch_text(text, "a.toml", NOW)
    return caught.value.problems


@pytest.mark.parametrize(
    "moment",
    [
        '"9999-12-31 23:59"', '"0001-01-01 00:00"', "9999-12-31T23:59:59-12:00", "0001-01-01T00:00:00+14:00",
        '"2026-12-06T08:30+99:99"',
    ],
)  # fmt: skip
@pytest.mark.parametrize("zone", ["America/New_York", "Asia/Tokyo"])
def test_the_ends_of_the_calendar_are_refused(moment, zone):
    found = problems(with_value("ready", moment).replace("Europe/Paris", zone))
    assert [p.key for p in found if p.key == "ready"]
    assert all("date value" not in p.sentence and "strictly between" not in p.sentence for p in found)


@pytest.mark.parametrize("number", ["9" * 5000, "0x" + "f" * 4000, "99999999999999999999", "-" + "9" * 30])
@pytest.mark.parametrize("key", ["count", "room", "sequence", "sugar", "trays"])
def test_a_number_of_thousands_of_digits_is_one_sentence_with_its_line(key, number):
    text = with_value(key, number)
    found = problems(text)
    line = next(n for n, row in enumerate(text.splitlines(), start=1) if number in row)
    assert [(p.line, "fewer digits" in p.sentence) for p in found] == [(line, True)]


def test_a_fold_is_a_whole_number():
    assert "2, 3 and 4" in problems(with_value("sequence", "[3.0, 3]"))[0].sentence


def test_thousands_of_problems_are_not_all_told():
    with pytest.raises(BatchError) as caught:
        read_batch_text("".join(f"k{n} = 1\n" for n in range(5000)), "a.toml", NOW)
    rows = str(caught.value).splitlines()
    assert len(caught.value.problems) > 5000
    assert len(rows) == 26
    assert re.fullmatch(r"a\.toml: and \d+ more; mend these first", rows[-1])


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(BatchError, match="is a pipe"):
        read_batch(tmp_path / "pipe.toml", NOW)


def test_a_name_no_file_can_have():
    with pytest.raises(BatchError, match="no name a file can have"):
        read_batch("a\0b.toml", NOW)


# --- figures --------------------------------------------------------------------------------------------------------


def test_more_patons_than_pieces_or_fewer_than_thicknesses_say_so():
    one = replace(BASE, pieces=(replace(BASE.pieces[0], count=2),), patons=8)
    with pytest.raises(Unworkable, match="^2 pieces cannot be spread over 8 pâtons"):
        lay_out(one)
    thin, thick = BASE.pieces[0], replace(BASE.pieces[1], thickness_m=0.006)
    with pytest.raises(Unworkable, match="^pieces of 2 thicknesses need as many"):
        lay_out(replace(BASE, pieces=(thin, thick), patons=1))


def test_one_large_piece_beside_many_small_ones_gets_one_paton():
    """The share of pâtons goes by volume, but a pâton without a piece in it helps nobody."""
    large = replace(BASE.pieces[1], count=1, base_m=0.3, height_m=0.3, thickness_m=0.012)
    small = replace(BASE.pieces[0], count=4, base_m=0.05, height_m=0.1)
    made = lay_out(replace(BASE, pieces=(large, small), patons=4))
    assert [sum(p.counts) for p in made.patons] == [1, 2, 1, 1]


def test_no_dough_sheet_is_wider_than_the_bench():
    kitchen = replace(BASE.kitchen, bench_width_m=0.30)
    envelope = replace(BASE, kitchen=kitchen, butter=replace(BASE.butter, lock_in="envelope"))
    try:
        made = lay_out(envelope)
    except Unworkable as error:
        assert "bench" in str(error)
        return
    assert all(min(p.block.dough_length_m, p.block.dough_width_m) <= 0.30 for p in made.patons)


def test_a_dough_as_thick_as_a_brick_does_not_fold_over_its_block():
    with pytest.raises(BlockError, match="does not fold over"):
        fit(1e-4, 25e-4)


def test_ice_takes_the_place_of_water_from_the_tap():
    """With ice the mean temperature may be below 0 °C: nobody is told to pour such water."""
    kitchen = replace(BASE.kitchen, room_c=35.0, tap_c=20.0)
    work = work_up(replace(BASE, kitchen=kitchen, dough_temp_c=15.0), Known())
    assert work.water_temp_c < 0 < work.ice_g
    said = next(line for line in formula_lines(work) if line.startswith("Water"))
    assert said.startswith(f"Water from the tap, 20 °C, with {work.ice_g:.0f} g of it as ice,")
    a_drop = replace(work, water_temp_c=-10.4, ice_g=0.4)
    assert a_drop.ice_text == "0.4 g"
    assert replace(work, water_temp_c=12.0, ice_g=0.0).ice_text == ""
