"""A person's text in and out: nothing is lost at the shown precision, nothing is guessed."""

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tourier import quantities as q
from tourier import voice
from tourier.quantities import QuantityError
from tourier.voice import METRIC, US


@pytest.mark.parametrize(
    ("text", "metres"),
    [("8 in", 0.2032), ("20 cm", 0.2), ("1/8 in", 0.003175), ("1 1/2 in", 0.0381), ("4 mm", 0.004), ("2,5 cm", 0.025),
     (".5 m", 0.5), ("8in", 0.2032), ('8"', 0.2032), ("2 ft", 0.6096)],
)  # fmt: skip
def test_lengths(text, metres):
    assert q.length_m(text) == pytest.approx(metres, rel=1e-12)  # an inch is 25.4 mm exactly


@pytest.mark.parametrize(("text", "kg"), [("340 g", 0.34), ("12 oz", 0.340194), ("2 lb", 0.90718474), ("1.2 kg", 1.2)])
def test_masses(text, kg):
    assert q.mass_kg(text) == pytest.approx(kg, rel=1e-6)  # a pound is 0.45359237 kg exactly


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("68 °F", 20.0), ("68 F", 20.0), ("20 °C", 20.0), ("20C", 20.0), ("-18 °C", -18.0), ("0 °F", -17.7777778),
     ("32 °F", 0.0), ("-40 °F", -40.0)],
)  # fmt: skip
def test_absolute_temperatures(text, celsius):
    assert q.temperature_c(text) == pytest.approx(celsius, abs=1e-6)


@pytest.mark.parametrize(("text", "kelvin"), [("4 K", 4.0), ("9 Δ°F", 5.0), ("5 Δ°C", 5.0), ("9 delta °F", 5.0)])
def test_differences(text, kelvin):
    assert q.difference_k(text) == pytest.approx(kelvin)


def test_absolute_and_difference_are_never_confused():
    for text in ("4 K", "9 Δ°F", "5 Δ°C"):
        with pytest.raises(QuantityError, match="difference"):
            q.temperature_c(text)
    for text in ("4 °C", "9 °F", "9 F"):
        with pytest.raises(QuantityError, match="difference"):
            q.difference_k(text)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("1 h 15 min", 4500), ("1h15min", 4500), ("90 min", 5400), ("2 days", 172800), ("45 s", 45), ("1.5 h", 5400),
     ("1 h and 5 min", 3900)],
)  # fmt: skip
def test_durations(text, seconds):
    assert q.duration_s(text) == seconds


@pytest.mark.parametrize(
    ("reader", "text", "says"),
    [
        (q.length_m, 8, "has no unit"), (q.length_m, "8", "has no unit"),
        (q.length_m, "8 parsec", "no unit of a length"),
        (q.length_m, "8 °C", "no unit of a length"), (q.length_m, "eight in", "does not begin"),
        (q.length_m, "1/0 in", "divides by zero"), (q.length_m, "1,000 mm", "without the comma"),
        (q.length_m, True, "has no unit"), (q.length_m, "8 in" + " " * 99, "longer than"), (q.length_m, "", "begin"),
        (q.temperature_c, "20", "has no unit"), (q.temperature_c, "-300 °C", "absolute zero"),
        (q.temperature_c, "20 g", "no unit of temperature"), (q.mass_kg, 340, "has no unit"),
        (q.duration_s, "15 min 1 h", "out of order"), (q.duration_s, "1 h 1 h", "out of order"),
        (q.duration_s, "75", "has no unit"), (q.duration_s, "-5 min", "negative"), (q.duration_s, "", "empty"),
        (q.duration_s, "400 days", "longer than a year"), (q.percent, "12", "no percentage"),
        (q.percent, "12 % of dough", "no percentage"), (q.labelled_percent, "50 %", "does not say of what"),
        (q.labelled_percent, "50 % of butter", "does not say of what"), (q.difference_k, "4", "no difference"),
    ],
)  # fmt: skip
def test_refusals_say_what_to_write(reader, text, says):
    with pytest.raises(QuantityError, match=says) as caught:
        reader(text)
    assert "\n" not in str(caught.value)


def test_labelled_percent():
    assert q.labelled_percent("27 % of dough") == (27.0, "dough")
    assert q.labelled_percent("55% of flour") == (55.0, "flour")


def test_control_characters_stay_out_of_messages():
    with pytest.raises(QuantityError) as caught:
        q.length_m("\x1b[31m8 \x07in")
    assert "\x1b" not in str(caught.value)


# --- round trips: what is written is read back and written the same ------------------------------------------------


@given(st.integers(0, 16 * 120))
def test_inches_round_trip(parts):
    text = US.length(parts * 0.0254 / 16)
    assert voice.sixteenths(q.length_m(text)) == parts
    assert US.length(q.length_m(text)) == text


LENGTHS = [(METRIC.length, 0.0005), (METRIC.thickness, 0.00005), (US.length, 0.0254 / 32)]


@given(st.floats(0, 3), st.sampled_from(LENGTHS))
def test_lengths_round_trip(metres, said):
    say, half = said
    text = say(metres)
    assert say(q.length_m(text)) == text
    assert abs(q.length_m(text) - metres) <= half + 1e-6  # a micrometre is what both machines count in


@given(st.integers(0, 200000), st.sampled_from([METRIC, US]))
def test_weights_round_trip(tenths, said):
    text = said.weight(tenths / 10)
    kg = q.mass_kg(text)
    assert said.weight(kg * 1000) == text
    assert abs(kg * 1000 - tenths / 10) <= (0.51 if said is METRIC else 0.05001 * voice.G_PER_OZ)


@given(st.integers(-400, 3000), st.sampled_from([METRIC, US]), st.integers(0, 1))
def test_temperatures_round_trip(tenths, said, places):
    text = said.temperature(tenths / 10, places)
    assert said.temperature(q.temperature_c(text), places) == text


@given(st.integers(-60, 570))
def test_whole_fahrenheit_survives_celsius(fahrenheit):
    assert US.temperature(q.temperature_c(f"{fahrenheit} °F")) == f"{fahrenheit} °F"


@given(st.integers(-6000, 30000), st.sampled_from([METRIC, US]))
def test_both_machines_say_the_same_temperature(cdeg, said):
    """Integers on the timer, floats on the desk; half away from zero on both."""
    if (cdeg * 9 % 50 != 25) if said.us else (cdeg % 10 != 5):  # a tie may fall either way in floats
        assert said.reading(cdeg) == said.temperature(cdeg / 100, 1)


@given(st.integers(0, 300 * 3600))
def test_spans_round_trip(seconds):
    text = voice.span(seconds)
    assert voice.span(q.duration_s(text)) == text


def test_a_span_is_said_in_one_way():
    assert [voice.span(s) for s in (7200, 4500, 90, 60, 0, -300)] == [
        "2 h", "1 h 15 min", "90 s", "1 min", "0 min", "-5 min",
    ]  # fmt: skip
    assert [voice.span(float(s)) for s in ("inf", "nan")] == ["never", "–"]


def test_pint_is_loaded_only_when_needed():
    code = "import sys, tourier.quantities, tourier.batch.read; assert 'pint' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)
