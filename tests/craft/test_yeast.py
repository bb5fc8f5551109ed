"""Speed of fermentation against what others publish, and what must hold whatever the slope."""

import math

import pytest
from tourier.craft import yeast

LEAN = (("bread flour", 100.0), ("water", 60.0), ("salt", 2.0), ("fresh yeast", 3.0))


def with_share(kind, percent, dough=yeast.USUAL):
    return tuple((name, percent if name == kind else share) for name, share in dough)


def test_osmotic_pressure_of_dough():
    # published: 35 to 100 atmospheres, from sugar and salt (buffalobrewingstl.com, info-hhr).
    atm = 101_325.0
    assert 30.0 < yeast.osmotic_pressure_pa(LEAN) / atm < 40.0
    assert 80.0 < yeast.osmotic_pressure_pa(yeast.USUAL) / atm < 100.0


def test_glucose_slows_a_bakers_strain():
    # published: 7.8 against 9.8 with 5 % glucose and 2.5 % yeast (AEM 67 (2001) 4279, table 3); as cane sugar:
    sweet = (*LEAN, ("sugar", 5.0 * 342.3 / 360.3))
    assert yeast.speed(sweet).usual / yeast.speed(LEAN).usual == pytest.approx(7.8 / 9.8, abs=0.05)


def test_cane_sugar_within_the_published_spread():
    # published, same table: 580 with 10 % sucrose and 5.6 % yeast, 1800 with 5 % yeast in plain dough: 0.29 a gram.
    plain, sweet = yeast.speed(LEAN), yeast.speed((*LEAN, ("sugar", 10.0)))
    published = 580 / 5.6 / (1800 / 5)
    steep = yeast.SLOPE[2] * (yeast.particles_mol_kg((*LEAN, ("sugar", 10.0))) - yeast.particles_mol_kg(LEAN))
    assert math.exp(-steep) * 0.9 < published < sweet.usual / plain.usual


@pytest.mark.parametrize(("kind", "grams"), [("instant yeast", 4 / 3), ("active dry yeast", 4 / 2.2)])
def test_kinds_of_yeast_by_mass(kind, grams):
    # common practice, no source: fresh 3, active dry 1.2 to 1.5, instant 1.
    # Fresh yeast brings water of its own, 2.8 g of 4: without it the dough is a little more concentrated.
    dough = (*with_share("fresh yeast", 0.0, with_share("water", 29.8)), (kind, grams))
    assert yeast.speed(dough).usual == pytest.approx(1.0, rel=0.03)


def test_speed_goes_with_yeast_and_against_sugar_and_salt():
    assert yeast.speed(with_share("fresh yeast", 8.0)).usual == pytest.approx(2.0, rel=0.12)
    for kind in ("sugar", "salt"):
        shares = [yeast.speed(with_share(kind, percent)) for percent in (0.5, 1.0, 2.0, 4.0, 12.0, 25.0)]
        assert all(a.usual > b.usual for a, b in zip(shares, shares[1:], strict=False))
        assert all(s.slow <= s.usual <= s.fast for s in shares)
    # common practice, no source: 20 to 25 % sugar asks for about double the yeast of the usual dough.
    at_20, at_25 = (1 / yeast.speed(with_share("sugar", percent)).usual for percent in (20.0, 25.0))
    assert 1.4 < at_20 < at_25 < 2.4


def test_a_strain_for_sweet_doughs_pays_only_there():
    def strain(kind, sugar):
        return yeast.speed((*with_share("sugar", sugar, with_share("fresh yeast", 0.0)), (kind, 4 / 3))).usual

    assert strain("osmotolerant yeast", 25.0) > 1.3 * strain("instant yeast", 25.0)
    assert strain("osmotolerant yeast", 8.0) == pytest.approx(strain("instant yeast", 8.0), rel=0.02)


def test_doughs_that_cannot_rise():
    assert yeast.speed(with_share("fresh yeast", 0.0)).usual == 0.0
    assert yeast.speed((("salt", 2.0), ("fresh yeast", 2.0))).usual == 0.0
    assert yeast.speed(with_share("salt", 20.0)).fast < 0.1
    assert math.isinf(yeast.particles_mol_kg((("flour", 100.0), ("water", 5.0))))
