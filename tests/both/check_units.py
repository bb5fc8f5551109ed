"""Checks of units: rounding, text, conversions, the epoch."""

from shared_schedule import units


def check_rounding_is_half_away_from_zero():
    # By the rule's definition; CPython's own round() would give 2, 2, -2.
    assert [units.div_round(value, 2) for value in (5, 3, -5, -3, 4, 0)] == [3, 2, -3, -2, 2, 0]
    assert units.div_round(1, 3) == 0 and units.div_round(2, 3) == 1 and units.div_round(-2, 3) == -1


def check_text_has_no_float_in_it():
    rows = ((1340, "13.4"), (1345, "13.5"), (-5, "-0.1"), (-4, "0.0"), (0, "0.0"), (-1999, "-20.0"), (22500, "225.0"))
    for cdeg, text in rows:
        assert units.cdeg_text(cdeg) == text, (cdeg, units.cdeg_text(cdeg))
    assert units.cdeg_text(1350, 0) == "14"
    assert units.cdeg_text(units.NO_CDEG) == "--"


def check_fahrenheit_fixed_points():
    # Published: 0 °C = 32 °F, 100 °C = 212 °F, -40 °C = -40 °F (definition of the scales).
    assert units.cdeg_to_fahrenheit_tenths(0) == 320
    assert units.cdeg_to_fahrenheit_tenths(10000) == 2120
    assert units.cdeg_to_fahrenheit_tenths(-4000) == -400
    assert units.cdeg_to_fahrenheit_tenths(2000) == 680


def check_epoch_keeps_instants_small():
    # Independent: 2020-01-01 is day 18262 of the Unix calendar (50 years with 12 leap days).
    assert units.EPOCH_UNIX_S == (50 * 365 + 12) * 86400
    assert (34 * 365 + 8) * 86400 < 1 << 30  # still a small integer on the device in 2053


