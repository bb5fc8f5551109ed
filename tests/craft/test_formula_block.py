"""Formula, roll-in and butter block against worked figures."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from tourier.craft import block, butter, formula, properties
from tourier.craft.composition import _ROWS as composition_rows
from tourier.craft.composition import composition, mixture
from tourier.craft.formula import FormulaError, Line

# The dough of the worked figures: bread flour 1000, milk 250, water 270, sugar 120, butter 60, salt 20, yeast 35.
D1 = [("bread flour", 1000), ("milk", 250), ("water", 270), ("sugar", 120), ("butter", 60), ("salt", 20),
      ("fresh yeast", 35)]  # fmt: skip


def test_composition_of_a_known_dough():
    # published: USDA SR rows mixed by mass: w .3754, p .0747, f .0422, c .4768, fibre .0153, ash .0154.
    got = mixture(D1)
    for name, value in {"water": 0.3754, "protein": 0.0747, "fat": 0.0422, "carbohydrate": 0.4768, "fibre": 0.0153,
                        "ash": 0.0154}.items():  # fmt: skip
        assert got[name] == pytest.approx(value, abs=2e-4)


def test_every_composition_is_whole():
    for kind in ("bread flour", "flour", "milk", "skim milk", "milk powder", "cream", "water", "egg", "egg white",
                 "egg yolk", "sugar", "salt", "fresh yeast", "instant yeast", "butter"):  # fmt: skip
        assert sum(composition(kind).values()) == pytest.approx(1.0)


def test_every_row_as_published_adds_up_to_100_g():
    # published: USDA's proximates (water, protein, fat, ash, carbohydrate "by difference") sum to 100 g but for
    # rounding and, in fresh yeast, 0.8 g; fibre is within the carbohydrate. Rows "from memory" only have to come near.
    for kind, (source, water, protein, fat, ash, carbohydrate, fibre) in composition_rows.items():
        near = 0.11 if source == "from memory" else 0.81 if kind == "fresh yeast" else 0.02
        assert abs(water + protein + fat + ash + carbohydrate - 100.0) <= near, (kind, source)
        assert 0.0 <= fibre < carbohydrate or fibre == 0.0


def test_roll_in_labels_agree():
    # independent: CIA school formula, 55 % of flour; base dough 206 % of flour -> 21.07 % of dough.
    ratio = formula.butter_per_dough(206.0, of_flour=55.0)
    of_dough, of_flour = formula.roll_in_percents(ratio, 1.0, 206.0)
    assert of_flour == pytest.approx(55.0)
    assert of_dough == pytest.approx(55.0 / 261.0 * 100)
    assert formula.butter_per_dough(206.0, of_dough=of_dough) == pytest.approx(ratio)


def test_roll_in_needs_exactly_one_label():
    for kwargs in ({}, {"of_flour": 50.0, "of_dough": 27.0}):
        with pytest.raises(FormulaError, match="either"):
            formula.butter_per_dough(180.0, **kwargs)


@given(st.floats(0.05, 50), st.lists(st.floats(0.5, 120), min_size=2, max_size=8))
@example(0.05, [1.0, 19.0, 120.0, 120.0, 120.0, 120.0, 0.5])  # the last comes to a hair under 0.05 g
def test_scaled_lines_make_the_dough(dough_kg, percents):
    lines = [Line(f"i{n}", p, 0.1 if n % 2 else 1.0) for n, p in enumerate(percents)]
    least_g = dough_kg * 1000 * min(percents) / sum(percents)
    if least_g / 0.1 + 0.5 < 1.0:  # nothing on a scale of 0.1 g
        with pytest.raises(FormulaError, match="less than can be weighed"):
            formula.scale(lines, dough_kg)
        return
    weighed = formula.scale(lines, dough_kg)
    assert sum(w.exact_g for w in weighed) == pytest.approx(dough_kg * 1000, rel=1e-9)
    for line, w in zip(lines, weighed, strict=True):
        assert w.g == pytest.approx(round(w.g / line.step_g) * line.step_g) or w.g < 1.0
        assert abs(w.g - w.exact_g) <= 0.5 * line.step_g + 1e-9
        assert w.error_percent == pytest.approx((w.g / w.exact_g - 1) * 100, abs=1e-9)


def test_what_cannot_be_weighed_is_refused():
    with pytest.raises(FormulaError, match="less than can be weighed"):
        formula.scale([Line("flour", 100.0), Line("yeast", 0.01, 0.1)], 0.2)


def test_block_of_250_g_at_8_mm():
    # independent: 250 g at 935.2 kg/m3 and 8 mm is 334.2 cm2, 18.3 cm square.
    made = block.fit(0.250 / 935.2, 0.7e-3, thickness_m=0.008)
    assert made.length_m == pytest.approx(0.183, abs=0.0005)
    assert made.length_m * made.width_m * 1e4 == pytest.approx(334.2, abs=0.1)


def test_butter_density_of_the_block():
    # published: Choi & Okos on USDA 01145 at 15 C, 935.2 kg/m3 (checked against CoolProp in the outside table).
    assert properties.density(butter.profile("standard-80").composition, 15.0) == pytest.approx(935.2, abs=1.5)


def test_envelope_sizes_of_public_recipes():
    # published: a 7.5 in block in a 10.5 in square (food20182019.blogspot.com); 17 cm in 26 cm (thespicechica.com)
    # leaves 2 cm for the seams.
    inch = 0.0254
    made = block.fit(7.5 * 7.5 * inch**2 * 0.008, 1e-3, "envelope", 0.008)
    assert made.dough_length_m / inch == pytest.approx(10.6, abs=0.05)
    assert 0.17 * 2**0.5 == pytest.approx(0.24, abs=0.005)


@pytest.mark.parametrize("lock_in", block.LOCK_INS)
def test_dough_covers_the_block_twice(lock_in):
    made = block.fit(2.5e-4, 7e-4, lock_in)
    assert made.dough_length_m * made.dough_width_m == pytest.approx(2 * made.length_m * made.width_m)
    assert made.dough_length_m * made.dough_width_m * made.dough_thickness_m == pytest.approx(7e-4)


def test_block_refusals_name_the_limit():
    with pytest.raises(block.BlockError, match="0.003 m to 0.03 m") as caught:
        block.fit(2.5e-4, 7e-4, length_m=0.05, width_m=0.05)
    assert caught.value.quantity == "butter block thickness"
    with pytest.raises(block.BlockError, match="tears"):
        block.fit(2.5e-4, 1e-4, thickness_m=0.004)
    with pytest.raises(block.BlockError, match="square"):
        block.fit(2.5e-4, 7e-4, "envelope", length_m=0.1, width_m=0.3)
