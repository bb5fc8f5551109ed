"""What of the other system of measures stands in a text, found by rules that know nothing of how it was made."""

from __future__ import annotations

import re
from html import unescape

import pytest
from tourier.batch.examples import example_text

_NUMBER = r"(?<![\w.])[-+−–]?\d[\d.,/ ]*\s?"
#: A figure with a unit of the other system, or that unit alone in a heading, a column or a sentence.
STRAYS = {
    "inch": re.compile(rf"°C|Δ?\bK\b|{_NUMBER}(?:mm|cm|µm|kg|m)\b|\b(?:in|of) (?:mm|cm)\b|, cm:|[a-z]_c\b|W/m"),
    "metric": re.compile(
        rf"°F|{_NUMBER}(?:in(?! (?:the|a|all|its|\d))|oz|lb|ft)\b|\b(?:oz|inches)\b|, in:|[a-z]_f\b|Btu"
    ),
}
UNITS = pytest.mark.parametrize("units", ["inch", "metric"])


def strays(units: str, text: str) -> list[str]:
    """Return what of the other system stands in a text, each with what is around it."""
    return [text[max(0, m.start() - 30) : m.end() + 20] for m in STRAYS[units].finditer(text)]


def of_html(text: str) -> str:
    """Return what a reader sees of HTML or SVG: no styles, no markup, no attributes but titles."""
    text = re.sub(r"<style>.*?</style>", " ", text, flags=re.DOTALL)
    return unescape(re.sub(r"<[^>]*>", " ", text))


def batch_text(units: str) -> str:
    """Return the example batch of a cook."""
    return example_text("home-inches" if units == "inch" else "demo")
