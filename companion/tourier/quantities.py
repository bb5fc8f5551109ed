"""A person's text in, SI floats out. The only module that uses pint, and it loads it on first use.

Read: "8 in", "1 1/2 in", "20 cm", "68 °F", "340 g", "1 h 15 min", "27 % of dough". A bare number is refused wherever a
unit matters. Absolute temperatures are written in °C or °F; differences in K, Δ°C or Δ°F; neither is taken for the
other. Everything returned is in metres, kilograms, seconds, degrees Celsius (absolute) or kelvin (difference).

The way back, from values to text, is `tourier.voice`. What is written there can be read here and written again without
a change (see tests/batch/test_quantities.py).
"""

from __future__ import annotations

import math
import re
from functools import lru_cache

MAX_TEXT = 60  # longer than any quantity a person writes

_LENGTH = {"mm": "millimeter", "cm": "centimeter", "m": "meter", "in": "inch", "inch": "inch", "inches": "inch",
           '"': "inch", "″": "inch", "ft": "foot"}  # fmt: skip
_PRESSURE = {"pa": "pascal", "hpa": "hectopascal", "kpa": "kilopascal", "mbar": "millibar", "inhg": "inHg"}
_MASS = {"g": "gram", "kg": "kilogram", "oz": "ounce", "lb": "pound", "lbs": "pound"}
_TIME = {"s": "second", "sec": "second", "min": "minute", "minutes": "minute", "h": "hour", "hr": "hour",
         "hour": "hour", "hours": "hour", "d": "day", "day": "day", "days": "day"}  # fmt: skip
_ABSOLUTE = {"°c": "degC", "c": "degC", "degc": "degC", "°f": "degF", "f": "degF", "degf": "degF"}
_DIFFERENCE = {"k": "delta_degC", "δ°c": "delta_degC", "δc": "delta_degC", "delta °c": "delta_degC",
               "δ°f": "delta_degF", "δf": "delta_degF", "delta °f": "delta_degF"}  # fmt: skip

# "1 1/2", "3/8", "2.5", "2,5", "-18", ".5"
_NUMBER = re.compile(r"\s*([+-]?)(?:(\d{1,9})\s+(\d{1,4})/(\d{1,4})|(\d{1,9})/(\d{1,4})|(\d{0,9}(?:[.,]\d{1,9})?))")


class QuantityError(ValueError):
    """Text that is not the quantity wanted; str() is one sentence that says what to write instead."""


@lru_cache(maxsize=1)
def _registry():
    import pint

    return pint.UnitRegistry()


@lru_cache(maxsize=256)
def _scale(unit: str, base: str) -> float:
    """How many `base` are in one `unit`; both without an offset."""
    return float(_registry().Quantity(1.0, unit).to(base).magnitude)


def clean(text: str) -> str:
    """The text without control characters, capped, for use inside a message."""
    kept = "".join(" " if c in "\t\n\r" else c for c in text if c in "\t\n\r" or c.isprintable())
    return kept if len(kept) <= MAX_TEXT else kept[: MAX_TEXT - 3] + "..."


def _number(text: str) -> tuple[float, str]:
    """Split "1 1/2 in" into 1.5 and "in"; raises QuantityError when it does not begin with a number."""
    match = _NUMBER.match(text)
    if match is None or not any(match.groups()[1:]):
        raise QuantityError(f'"{clean(text)}" does not begin with a number')
    sign, whole, top, under, top2, under2, plain = match.groups()
    if under == "0" * len(under or "x") or under2 == "0" * len(under2 or "x"):
        raise QuantityError(f'"{clean(text)}" divides by zero')
    if plain:
        if re.fullmatch(r"\d+,\d{3}", plain):
            raise QuantityError(f'"{clean(text)}" could mean thousands or thousandths; write it without the comma')
        value = float(plain.replace(",", "."))
    elif whole:
        value = int(whole) + int(top) / int(under)
    else:
        value = int(top2) / int(under2)
    return (-value if sign == "-" else value), text[match.end() :].strip()


def _as_text(value: object, example: str) -> str:
    if isinstance(value, bool) or not isinstance(value, str):
        raise QuantityError(f'{clean(str(value))} has no unit; write it in quotes with one, such as "{example}"')
    if len(value) > MAX_TEXT:
        raise QuantityError(f"the text is longer than {MAX_TEXT} characters")
    return value


def _plain(value: object, units: dict[str, str], base: str, what: str, example: str) -> float:
    text = _as_text(value, example)
    number, unit = _number(text)
    if not unit:
        raise QuantityError(f'"{clean(text)}" has no unit; write {what} such as "{example}"')
    name = units.get(unit.lower())
    if name is None:
        raise QuantityError(f'"{clean(unit)}" is no unit of {what}; write it such as "{example}"')
    result = number * _scale(name, base)
    if not math.isfinite(result):
        raise QuantityError(f'"{clean(text)}" is not a number')
    return result


def length_m(value: object) -> float:
    """Metres from "20 cm", "8 in", "1 1/2 in", "1/8 in", "4 mm"."""
    return _plain(value, _LENGTH, "meter", "a length", "20 cm")


def mass_kg(value: object) -> float:
    """Kilograms from "340 g", "12 oz", "1.2 kg", "2 lb", "2 lb 3.5 oz"."""
    both = re.fullmatch(r"\s*(\d{1,4}\s*lbs?)\s+(\d\S*\s*oz)\s*", value) if isinstance(value, str) else None
    if both and len(both.string) <= MAX_TEXT:
        return mass_kg(both[1]) + mass_kg(both[2])
    return _plain(value, _MASS, "kilogram", "a mass", "340 g")


def pressure_pa(value: object) -> float:
    """Pascal from a station pressure, "980 hPa", "98 kPa", "29 inHg"."""
    return _plain(value, _PRESSURE, "pascal", "a pressure", "980 hPa")


def temperature_c(value: object) -> float:
    """Degrees Celsius from an absolute temperature, "20 °C" or "68 °F"; a difference ("4 K", "7 Δ°F") is refused."""
    text = _as_text(value, "20 °C")
    number, unit = _number(text)
    key = unit.lower().replace("º", "°").replace("° ", "°").replace("∆", "δ")
    if not unit:
        raise QuantityError(f'"{clean(text)}" has no unit; write a temperature such as "20 °C" or "68 °F"')
    if key in _DIFFERENCE:
        raise QuantityError(f'"{clean(text)}" is a difference of temperatures; here a temperature is wanted, "20 °C"')
    if key not in _ABSOLUTE:
        raise QuantityError(f'"{clean(unit)}" is no unit of temperature; write "20 °C" or "68 °F"')
    result = float(_registry().Quantity(number, _ABSOLUTE[key]).to("degC").magnitude)
    if result < -273.15:
        raise QuantityError(f'"{clean(text)}" is below absolute zero')
    return result


def difference_k(value: object) -> float:
    """Kelvin from a difference of temperatures: "4 K", "4 Δ°C" or "7 Δ°F"; "7 °F" is refused as ambiguous."""
    text = _as_text(value, "4 K")
    number, unit = _number(text)
    key = unit.lower().replace("º", "°").replace("∆", "δ")
    if key in _ABSOLUTE:
        raise QuantityError(f'"{clean(text)}" is a temperature; a difference is wanted: "4 K" or "7 Δ°F"')
    if key not in _DIFFERENCE:
        raise QuantityError(f'"{clean(text)}" is no difference of temperatures; write "4 K" or "7 Δ°F"')
    return number * _scale(_DIFFERENCE[key], "delta_degC")


def duration_s(value: object) -> int:
    """Whole seconds from "1 h 15 min", "1h15min", "90 min", "2 days"; parts may be joined, largest first."""
    text = _as_text(value, "1 h 15 min")
    rest = text.strip()
    total = 0.0
    last = math.inf
    if not rest:
        raise QuantityError('the time is empty; write it such as "1 h 15 min"')
    while rest:
        number, tail = _number(rest)
        match = re.match(r"[^\W\d_]+", tail)
        if match is None:
            raise QuantityError(f'"{clean(text)}" has no unit; write a time such as "1 h 15 min"')
        name = _TIME.get(match.group().lower())
        if name is None:
            raise QuantityError(f'"{clean(match.group())}" is no unit of time; write it such as "1 h 15 min"')
        scale = _scale(name, "second")
        if scale >= last:
            raise QuantityError(f'"{clean(text)}" names its parts out of order; write it such as "1 h 15 min"')
        if number < 0:
            raise QuantityError(f'"{clean(text)}" is negative')
        last = scale
        total += number * scale
        rest = tail[match.end() :].strip().removeprefix("and ").strip()
    if total > 366 * 86400:
        raise QuantityError(f'"{clean(text)}" is longer than a year')
    return int(math.floor(total + 0.5))


def percent(value: object) -> float:
    """Percent from "12 %". A label after it ("% of dough") is refused here; see :func:`labelled_percent`."""
    text = _as_text(value, "12 %")
    number, unit = _number(text)
    if unit not in ("%", "percent", "pct"):
        raise QuantityError(f'"{clean(text)}" is no percentage; write it such as "12 %"')
    return number


def labelled_percent(value: object) -> tuple[float, str]:
    """(27.0, "dough") from "27 % of dough"; the base must be "flour" or "dough" and cannot be left out."""
    text = _as_text(value, "27 % of dough")
    number, unit = _number(text)
    match = re.fullmatch(r"(?:%|percent)\s*of\s+(?:the\s+)?(flour|dough)", unit.strip().lower())
    if match is None:
        raise QuantityError(
            f'"{clean(text)}" does not say of what; the two readings differ by a factor of two, '
            'so write "50 % of flour" or "27 % of dough"'
        )
    return number, match.group(1)


def units_of(data: dict) -> str:
    """The measures the tables of a batch file are said in, "metric" or "inch": the file's own `units`, else its
    kitchen's, else those its pieces are written in. A word that is neither counts for nothing here."""
    kitchen, rows = data.get("kitchen"), data.get("pieces")
    for said in (data.get("units"), kitchen.get("units") if isinstance(kitchen, dict) else None):
        if said in ("metric", "inch"):
            return said
    rows = rows if isinstance(rows, list) else []
    return "inch" if any(isinstance(row, dict) and is_inch_text(row.get("base")) for row in rows) else "metric"


def is_inch_text(value: object) -> bool:
    """Whether a person wrote this length in inches or feet."""
    if not isinstance(value, str):
        return False
    try:
        _, unit = _number(value[:MAX_TEXT])
    except QuantityError:
        return False
    return _LENGTH.get(unit.lower()) in ("inch", "foot")
