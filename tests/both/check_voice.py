"""Checks of what both machines say: spans, countdowns, degrees, inches."""

from shared_schedule import voice
from shared_schedule.units import NO_CDEG


def check_degrees_have_no_float_in_them():
    rows = ((1340, "13.4"), (1345, "13.5"), (-5, "-0.1"), (-4, "0.0"), (0, "0.0"), (-1999, "-20.0"), (22500, "225.0"))
    for cdeg, text in rows:
        assert voice.degrees(cdeg) == text, (cdeg, voice.degrees(cdeg))
    assert voice.degrees(1350, 0, 0) == "14"
    assert voice.degrees(NO_CDEG) == voice.degrees(NO_CDEG, 1) == "--"


def check_fahrenheit_fixed_points():
    # Published: 0 °C = 32 °F, 100 °C = 212 °F, -40 °C = -40 °F (definition of the scales); the human body 37, 98.6.
    rows = ((0, "32.0"), (10000, "212.0"), (-4000, "-40.0"), (2000, "68.0"), (3700, "98.6"), (-1778, "0.0"),
            (-375, "25.3"))  # fmt: skip
    for cdeg, text in rows:
        assert voice.degrees(cdeg, 1) == text, (cdeg, voice.degrees(cdeg, 1))
    assert voice.degrees(1350, 1, 0) == "56" and voice.degrees(1340, 1) == "56.1"


def check_spans():
    rows = ((0, "0 min"), (45, "45 s"), (60, "1 min"), (90, "90 s"), (120, "2 min"), (2700, "45 min"), (3600, "1 h"),
            (7200, "2 h"), (4500, "1 h 15 min"), (-4500, "-1 h 15 min"), (3599, "1 h"), (90000, "25 h"))  # fmt: skip
    for s, text in rows:
        assert voice.span(s) == text, (s, voice.span(s))


def check_countdowns():
    rows = ((-1, ("--", "min")), (0, ("0", "s")), (99, ("99", "s")), (100, ("2", "min")), (5940, ("99", "min")),
            (6300, ("1:45", "h")), (36000, ("10", "h")))  # fmt: skip
    for s, said in rows:
        assert voice.countdown(s) == said, (s, voice.countdown(s))


def check_inches():
    # By definition an inch is 25.4 mm; a ruler is read in lowest terms.
    rows = ((25400, "1"), (38100, "1 1/2"), (3175, "1/8"), (4762, "3/16"), (0, "0"), (203200, "8"), (1588, "1/16"))
    for um, text in rows:
        assert voice.inches(um) == text, (um, voice.inches(um))
    assert voice.inches(510000, 4) == "20" and voice.inches(515000, 4) == "20 1/4"
