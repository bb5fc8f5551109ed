"""Checks of units: rounding, limits, the epoch."""

from shared_schedule import units


def check_rounding_is_half_away_from_zero():
    # By the rule's definition; CPython's own round() would give 2, 2, -2.
    assert [units.div_round(value, 2) for value in (5, 3, -5, -3, 4, 0)] == [3, 2, -3, -2, 2, 0]
    assert units.div_round(1, 3) == 0 and units.div_round(2, 3) == 1 and units.div_round(-2, 3) == -1


def check_epoch_keeps_instants_small():
    # Independent: 2020-01-01 is day 18262 of the Unix calendar (50 years with 12 leap days).
    assert units.EPOCH_UNIX_S == (50 * 365 + 12) * 86400
    assert (34 * 365 + 8) * 86400 < 1 << 30  # still a small integer on the device in 2053


