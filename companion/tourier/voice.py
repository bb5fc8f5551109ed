"""The one place that says spans, temperatures, lengths, masses and hours, in the cook's units.

A batch is said in one voice: `METRIC` (°C, cm, mm, g) or `US` (°F, inches as a ruler has them, lb and oz with grams
beside, since a scale shows both and salt wants the finer). What is written here `tourier.quantities` can read. Spans
and hours are the same in both; hours run to 24, as on the timer.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

from shared_schedule import voice as both
from shared_schedule.plan import Plan, Step
from shared_schedule.units import EPOCH_UNIX_S

G_PER_OZ = 28.349523125
_FILM_US = 0.1761101838  # W/(m2 K) in Btu/(h ft2 °F)
_EFFUSIVITY_US = _FILM_US / 3600  # J/(m2 K s^0.5) in Btu/(ft2 °F s^0.5)


def span(seconds: float) -> str:
    """Return '1 h 15 min', '45 min', or '90 s' for odd seconds under two minutes; 'never' for inf, '–' for NaN."""
    if math.isnan(seconds):
        return "–"
    return both.span(_whole(seconds)) if math.isfinite(seconds) else "never"


def clock(at_s: float, offset_min: int, with_day: bool = True) -> str:
    """Return 'Sat 07:30' (or '07:30') for seconds since 2020-01-01Z at an offset from UTC."""
    local = datetime.fromtimestamp(EPOCH_UNIX_S + float(at_s), UTC).astimezone(timezone(timedelta(minutes=offset_min)))
    return local.strftime("%a %H:%M" if with_day else "%H:%M")


def _whole(value: float) -> int:
    return int(math.floor(abs(value) + 0.5)) * (-1 if value < 0 else 1)


def _tenths(value: float, places: int = 1) -> str:
    """Half away from zero to so many places, without a minus before zero."""
    return f"{_whole(value * 10**places) / 10**places + 0.0:.{places}f}"


def sixteenths(m: float) -> int:
    """Return a length in metres as whole sixteenths of an inch, nearest."""
    return _whole(m / 0.0254 * 16)


# "26 cm", "-18 °C", "1.5 to 15 mm" in a text for cooks
_MEASURE = re.compile(r"(-?\d+(?:\.\d+)?)(?: to (\d+(?:\.\d+)?))? (°C|cm|mm|m|kg|g|K)\b")


@dataclass(frozen=True)
class Voice:
    """Measures as text. SI in (°C, K, m); masses in grams, since batches hold them so."""

    us: bool = False

    @property
    def name(self) -> str:
        """The word of the batch file: 'metric' or 'inch'."""
        return "inch" if self.us else "metric"

    @property
    def degree(self) -> str:
        """Unit of a temperature, for headings: '°C' or '°F'."""
        return "°F" if self.us else "°C"

    @property
    def mark(self) -> str:
        """Unit of ruler marks: 'cm' or 'in'."""
        return "in" if self.us else "cm"

    def fill(self, sentence: str, measures: dict[str, str | tuple[str, float]]) -> str:
        """Return a sentence with its named holes filled: text as it is, (kind, SI value) in the cook's units.

        Kinds are names of methods below: "length", "thickness", "area", "weight", "temperature".
        """
        said = {k: m if isinstance(m, str) else getattr(self, m[0])(m[1]) for k, m in measures.items()}
        return sentence.format(**said) if measures else sentence

    def example(self, text: str) -> str:
        """Return a text for cooks with the metric measures in it ("26 cm", "10 to 32 °C") said in this voice, rounded
        as one would write an example."""
        return _MEASURE.sub(self._example, text) if self.us else text

    def _example(self, found: re.Match) -> str:
        unit, numbers = found[3], [float(n) for n in found.groups()[:2] if n]
        if unit == "°C":
            said = [(self.degrees(n, 0), "°F") for n in numbers]
        elif unit == "K":
            said = [(f"{n * 1.8:.0f}", "Δ°F") for n in numbers]
        elif unit == "m":
            said = [(f"{round(n / 0.3048, -2):.0f}", "ft") for n in numbers]
        elif unit in ("cm", "mm"):
            parts = {"cm": 2, "mm": 16}[unit] if numbers[0] < 20 or unit == "cm" else 4
            said = [(both.inches(_whole(n * {"cm": 1e4, "mm": 1e3}[unit]), parts), "in") for n in numbers]
        else:
            said = [(f"{n / G_PER_OZ * (1000 / 16 if unit == 'kg' else 1):.0f}", {"kg": "lb", "g": "oz"}[unit])
                    for n in numbers]  # fmt: skip
        return " to ".join(number for number, _ in said) + f" {said[0][1]}"

    # --- temperatures ---

    def shown(self, c: float) -> float:
        """Return the number a scale shows at a temperature: itself, or °F."""
        return c * 1.8 + 32 if self.us else c

    def celsius(self, shown: float) -> float:
        """Return °C of a number on the cook's scale."""
        return (shown - 32) / 1.8 if self.us else shown

    def degrees(self, c: float, places: int = 1) -> str:
        """Return '13.4' or '56.1' without the unit; '–' for NaN."""
        return "–" if math.isnan(c) else _tenths(self.shown(c), places)

    def temperature(self, c: float, places: int = 0) -> str:
        """Return '13 °C' or '55 °F'; a reading takes one place."""
        return f"{self.degrees(c, places)} {self.degree}"

    def tenths(self, c: float) -> str:
        """Return '13.4 °C' or '56.1 °F', as a probe reads."""
        return self.temperature(c, 1)

    def reading(self, cdeg: int | None) -> str:
        """Return '13.4 °C' for 0.01 °C off the wire; 'no reading' for None."""
        return "no reading" if cdeg is None else f"{both.degrees(cdeg, self.us)} {self.degree}"

    def window(self, low_c: float, high_c: float) -> str:
        """Return '13 to 17.5 °C', '55 to 64 °F', 'from 13 °C' or 'to 17.5 °C' where one edge is NaN."""
        low, high = (self.edge(c) for c in (low_c, high_c))
        if math.isnan(low_c):
            return f"to {high} {self.degree}"
        return f"from {low} {self.degree}" if math.isnan(high_c) else f"{low} to {high} {self.degree}"

    def edge(self, c: float) -> str:
        """Return an edge of a window without its unit: tenths where there are any, whole °F."""
        return self.degrees(c, 0) if self.us else self.degrees(c).removesuffix(".0")

    def difference(self, k: float, places: int = 1, sign: bool = False) -> str:
        """Return '0.5 K' or '0.9 °F', a difference of temperatures; with `sign` also the plus."""
        text = f"{_tenths(k * 1.8 if self.us else k, places)} {'°F' if self.us else 'K'}"
        return "+" + text if sign and k >= 0 else text

    def rate(self, k: float) -> str:
        """Return '1.2', degrees a minute without the unit."""
        return "–" if math.isnan(k) else _tenths(k * 1.8 if self.us else k)

    def degree_minutes(self, k_min: float) -> str:
        """Return '12.3 °C·min' or '22.1 °F·min': how far outside the window, times how long."""
        return f"{self.rate(k_min)} {self.degree}·min"

    def learned(self, value: float, unit: str, ends: tuple[float, float] | None = None) -> str:
        """Return a learned value that the logbook keeps in SI with its unit, and its band where `ends` are given.

        '4.6 °C (4.2 to 5.1 °C)', '1 h 52 min at the reference temperature (...)'.
        """
        if ends is not None:
            low, high = (self.learned(one, unit) for one in ends)
            return f"{self.learned(value, unit)} ({low} to {high})"
        if not abs(value) < 1e6:  # from a damaged or written-in logbook: still to be shown, and taken back
            return f"{value:g} {unit}"
        if unit.startswith("s at"):
            return f"{span(value)} {unit[2:]}"
        say = {"°C": self.tenths, "K": self.difference, "W/m²K": self.film, "J/m²K√s": self.effusivity}.get(unit)
        return say(value) if say else f"{value:.2f} {unit}"

    def error(self, value: float, unit: str) -> str:
        """Return a forecast's error kept with its unit: '0.4 K, core at the end of a rest'."""
        what, comma, of = unit.partition(", ")
        known = what == "°C" and abs(value) < 1e6
        return f"{self.difference(value, 2)}{comma}{of}" if known else f"{value:.2f} {unit}"

    # --- lengths ---

    def length(self, m: float) -> str:
        """Return '63.6 cm' (to 1 mm) or '25 1/16 in' (to 1/16)."""
        return f"{self.ruler(m)} {self.mark}"

    def ruler(self, m: float) -> str:
        """Return the figure of a ruler mark without its unit."""
        return self._inches(m) if self.us else f"{_whole(m * 1000) / 10:g}"

    def mark_figure(self, m: float) -> str:
        """Return a ruler mark as it is printed beside others: '6.0' or '2 3/8'."""
        return self._inches(m) if self.us else f"{_whole(m * 1000 + 1e-6) / 10:.1f}"

    def size(self, long_m: float, wide_m: float) -> str:
        """Return '63.6 x 21.2 cm' or '25 1/16 x 8 3/8 in'."""
        return f"{self.ruler(long_m)} x {self.length(wide_m)}"

    def thickness(self, m: float) -> str:
        """Return '8.1 mm' or '5/16 in'."""
        return f"{self._inches(m)} in" if self.us else f"{_whole(m * 10000) / 10:g} mm"

    def layer(self, m: float) -> str:
        """Return '2.7 mm', '0.13 mm' or '0.005 in': a layer of fat, two figures below one millimetre."""
        thick, unit = (m / 0.0254, "in") if self.us else (m * 1000, "mm")
        if thick <= 0:
            return f"0 {unit}"
        return f"{thick:.{1 if thick >= 1 else 1 - math.floor(math.log10(thick))}f} {unit}"

    def area(self, m2: float) -> str:
        """Return '1240 cm²' or '192 sq in'."""
        return f"{_whole(m2 / 0.0254**2)} sq in" if self.us else f"{_whole(m2 * 1e4)} cm²"

    def height(self, m: float) -> str:
        """Return '300 m' or '984 ft', above the sea."""
        return f"{_whole(m / 0.3048)} ft" if self.us else f"{_whole(m)} m"

    def rough(self, m: float) -> str:
        """Return a size without its unit as a hand rolls it: whole cm, or inches to a quarter."""
        return both.inches(_whole(m * 1e6), 4) if self.us else f"{m * 100:.0f}"

    def rolled(self, m: float) -> str:
        """Return a thickness as rolling guides have it: half millimetres below 6 mm ('4.5 mm'), or sixteenths."""
        if self.us:
            return self.thickness(m)
        return f"{round(m * 2000) / 2:g} mm" if m < 0.006 else f"{m * 1000:.0f} mm"

    @staticmethod
    def _inches(m: float) -> str:
        return ("-" if sixteenths(m) < 0 else "") + both.inches(abs(_whole(m * 1e6)))

    # --- masses and others ---

    def mass(self, g: float) -> str:
        """Return '340 g' (tenths below 100 g), or '12.0 oz (340 g)', '2 lb 3.5 oz (1007 g)'."""
        return f"{self.ounces(g)} ({_grams(g)})" if self.us else _grams(g)

    def weight(self, g: float) -> str:
        """Return the mass where there is room for one figure only: '340 g' or '12.0 oz'."""
        return self.ounces(g) if self.us else _grams(g)

    @staticmethod
    def ounces(g: float) -> str:
        """Return '0.11 oz' (hundredths below one), '12.0 oz', '2 lb 3.5 oz'."""
        if abs(g) < G_PER_OZ:
            return f"{_tenths(g / G_PER_OZ, 2)} oz"
        pounds, tenths = divmod(_whole(g / G_PER_OZ * 10), 160)
        return f"{pounds} lb {tenths / 10:.1f} oz" if pounds else f"{tenths / 10:.1f} oz"

    def effusivity(self, value: float) -> str:
        """Return '3130 J/(m²·K·√s)' or '0.153 Btu/(ft²·°F·√s)': how readily a bench takes heat."""
        return f"{value * _EFFUSIVITY_US:.3f} Btu/(ft²·°F·√s)" if self.us else f"{_whole(value)} J/(m²·K·√s)"

    def film(self, w_m2k: float) -> str:
        """Return '12.3 W/(m²·K)' or '2.2 Btu/(h·ft²·°F)': how readily air takes heat."""
        return f"{_tenths(w_m2k * _FILM_US)} Btu/(h·ft²·°F)" if self.us else f"{_tenths(w_m2k)} W/(m²·K)"


def _grams(g: float) -> str:
    return f"{_whole(g)} g" if abs(g) >= 100 or g == int(g) else f"{_tenths(g)} g"


METRIC = Voice()
US = Voice(True)
UNITS = ("metric", "inch")  # what a batch file may say


def step_name(step: Step) -> str:
    """Return a step's name with its pâton in words: the timer's short names end in ' · 1' where there are several."""
    name, _, number = step.name.rpartition(" · ")
    return f"{name}, pâton {number}" if step.paton > 0 and number == str(step.paton) else step.name


def voice_of(units: str) -> Voice:
    """Return the voice of a batch's `units`, 'metric' or 'inch'."""
    return US if units == "inch" else METRIC


def voice_of_plan(plan: Plan | None) -> Voice:
    """Return the voice a plan was sent in; metric without one, and for plans of before voices."""
    return US if plan is not None and plan.units else METRIC
