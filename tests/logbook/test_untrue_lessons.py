"""A logbook that holds learned values no kitchen can have: one sentence with the way out, and that way works."""

import sqlite3
from datetime import UTC, datetime

import pytest
from tourier.batch.examples import demo_text
from tourier.cli import main
from tourier.desk.data.mykitchen import in_force, learned_row
from tourier.desk.data.workbench import Sized, size
from tourier.known import Known, Learned, lines
from tourier.logbook import Logbook
from tourier.logbook.learning import learn, ledger
from tourier.voice import METRIC, US

NOW = datetime(2027, 3, 12, 16, 0, tzinfo=UTC)
KITCHEN, BUTTER = "Hall kitchen", "roll-in-84"
PAST = [(name, value) for name in Known.__dataclass_fields__ for value in (-60.0, 1e300, float("inf"))]


def written_in(folder, rows):
    """A logbook with values put in past the program."""
    file = folder / "logbook.sqlite"
    Logbook(file).close()
    with sqlite3.connect(file) as db:
        for quantity, value in rows:
            subject = BUTTER if quantity.startswith("butter") else KITCHEN
            db.execute(
                "INSERT INTO learned(quantity, subject, value, low, high, error_before, error_after, error_unit, unit, "
                "method, learned_at_s) VALUES(?, ?, ?, ?, ?, ?, ?, '°C, at the end', '°C', 'written in', 1)",
                (quantity, subject, value, value, value, value, value),
            )
    db.close()
    return file


@pytest.mark.parametrize(("quantity", "value"), PAST)
def test_a_value_that_cannot_be_is_named_with_the_way_out(tmp_path, quantity, value):
    sized = size(demo_text(), "batch.toml", NOW, written_in(tmp_path, [(quantity, value)]))
    assert isinstance(sized, Sized) and not sized.problems
    assert "cannot be true" in sized.refused and f'--forget "{quantity}@' in sized.refused


def test_edges_of_the_butter_that_contradict_each_other_are_named(tmp_path):
    file = written_in(tmp_path, [("butter_low_c", 18.0), ("butter_high_c", 13.0)])
    assert "bends to" in size(demo_text(), "batch.toml", NOW, file).refused


def test_the_way_out_in_the_sentence_works_as_typed(tmp_path, capsys):
    file = written_in(tmp_path, [("fridge_c", 4.0), ("fridge_c", float("inf"))])
    refused = size(demo_text(), "batch.toml", NOW, file).refused
    typed = refused.partition("tourier learn ")[2]
    what = typed.partition('"')[2].partition('"')[0]
    with Logbook(file) as book:
        assert [value.value for value in ledger.in_force(book)] == [float("inf")]
    assert main(["learn", "--logbook", str(file), "--forget", what]) == 0
    assert not size(demo_text(), "batch.toml", NOW, file).refused
    capsys.readouterr()


def test_such_a_value_of_another_kitchen_is_no_concern(tmp_path):
    file = written_in(tmp_path, [("fridge_c", 1e300)])
    text = demo_text().replace(f'"{KITCHEN}"', '"Another kitchen"')
    assert not size(text, "batch.toml", NOW, file).refused


def test_such_a_value_is_not_learned_either():
    found = [Learned("film_fridge", KITCHEN, v, v, v, "W/m²K", "drawn", ()) for v in (9.0, 1e300)]
    taken = learn.sifted(found)
    assert [v.value for v in taken[0]] == [9.0] and [r.quantity for r in taken[1]] == ["film_fridge"]


@pytest.mark.parametrize("value", [1e300, float("inf"), float("-inf")])
def test_such_a_value_is_still_shown_by_its_name(tmp_path, value):
    values, why = in_force(written_in(tmp_path, [("fridge_c", value)]))
    assert not why
    for said in (METRIC, US):
        assert learned_row(values[0], said)[0] == "air of the fridge"
        assert "[fridge_c]" in lines(values, said)[0]
