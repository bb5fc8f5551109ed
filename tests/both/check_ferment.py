"""Dose checks that run on both interpreters."""

from shared_schedule import ferment
from shared_schedule.units import NO_CDEG

# Independent: the cardinal formula evaluated elsewhere (°C, weight in 0.0001) for 2.8 / 32.3 / 45.4 °C.
GROWTH_TABLE = (
    (4, 42), (10, 1352), (15, 3458), (20, 5965), (22, 6955), (24, 7878), (25, 8302), (26, 8692), (27, 9043),
    (28, 9349), (30, 9802), (32, 9996), (35, 9682),
)  # fmt: skip
# The same in exact fractions for 0 / 36 / 46 °C.
GAS_TABLE = ((4, 214), (10, 1289), (15, 2784), (20, 4690), (24, 6377), (27, 7634), (30, 8772), (35, 9955))


def check_weights():
    for cardinals, table in ((ferment.GROWTH, GROWTH_TABLE), (ferment.GAS, GAS_TABLE)):
        for celsius, weight in table:
            got = ferment.gamma(celsius * 100, *cardinals) * 10000
            assert abs(got - weight) < 0.6, (celsius, got)


def check_exact_ends():
    for cardinals in (ferment.GROWTH, ferment.GAS):
        assert ferment.gamma(cardinals[0], *cardinals) == 0.0
        assert ferment.gamma(cardinals[2], *cardinals) == 0.0
        assert abs(ferment.gamma(cardinals[1], *cardinals) - 1.0) < 1e-6
        assert ferment.gamma(-1800, *cardinals) == 0.0
        assert ferment.gamma(9000, *cardinals) == 0.0


def check_reference_counts_itself():
    dose = ferment.Dose()
    for _ in range(720):
        dose.add(2600, 10)
    assert dose.seconds() == 7200
    assert dose.left_s(7200, 2600) == 0
    assert dose.left_s(9000, 2600) == 1800


def check_cold_night_is_not_rounded_away():
    # 4 °C works at 0.0042/0.8692 of the reference; ten hours in 5 s parts must equal ten hours at once.
    small = ferment.Dose()
    for _ in range(7200):
        small.add(400, 5)
    large = ferment.Dose()
    large.add(400, 36000)
    assert abs(small.ms - large.ms) <= 1
    assert abs(small.seconds() - 174) <= 3, small.seconds()


def check_warmer_is_faster():
    # Independent: 27 against 24 °C is x 1.148 with the growth set, x 1.197 with the gas set.
    for cardinals, ratio in ((ferment.GROWTH, 1148), (ferment.GAS, 1197)):
        warm = ferment.rate_ppm(2700, cardinals)
        cool = ferment.rate_ppm(2400, cardinals)
        assert abs(warm * 1000 // cool - ratio) <= 1


def check_gap_is_kept_apart():
    dose = ferment.Dose()
    dose.add(NO_CDEG, 60)
    dose.add(2600, 60)
    assert (dose.seconds(), dose.gap_s) == (60, 60)


def check_restores_from_milliseconds():
    dose = ferment.Dose()
    dose.add(2137, 3333)
    again = ferment.Dose(ms=dose.ms)
    again.add(2137, 3333)
    dose.add(2137, 3333)
    assert abs(again.ms - dose.ms) <= 1


def check_never_in_the_freezer():
    assert ferment.Dose().left_s(60, -1800) == -1
    assert ferment.Dose().left_s(60, NO_CDEG) == -1


def check_two_days_stay_small():
    dose = ferment.Dose(ferment.GROWTH, 500)
    dose.add(2600, 172800)
    assert dose.ms < 1 << 30


def check_refuses_muddled_cardinals():
    try:
        ferment.Dose((3000, 2000, 4000))
    except ValueError as error:
        assert "rise" in str(error)
    else:
        raise AssertionError("accepted")
