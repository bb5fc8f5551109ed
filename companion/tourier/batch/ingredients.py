"""Names of ingredients as a cook writes them, and the kind of thing each is.

The kind picks the composition used for heat and volume (craft.properties) and how fine a scale is needed.
"""

from __future__ import annotations

#: Kinds by the words of a name; the first entry whose words all occur wins.
_WORDS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("yeast", "osmotolerant"), "osmotolerant yeast"),
    (("yeast", "instant"), "instant yeast"),
    (("yeast", "dry"), "active dry yeast"),
    (("yeast",), "fresh yeast"),
    (("flour", "bread"), "bread flour"),
    (("flour", "strong"), "bread flour"),
    (("flour",), "flour"),
    (("milk", "powder"), "milk powder"),
    (("milk", "skim"), "skim milk"),
    (("milk",), "milk"),
    (("water",), "water"),
    (("sugar",), "sugar"),
    (("honey",), "sugar"),
    (("malt",), "sugar"),
    (("salt",), "salt"),
    (("egg", "yolk"), "egg yolk"),
    (("egg", "white"), "egg white"),
    (("egg",), "egg"),
    (("butter",), "butter"),
    (("cream",), "cream"),
    (("vinegar",), "water"),
    (("lemon",), "water"),
)

KINDS: tuple[str, ...] = tuple(dict.fromkeys(kind for _, kind in _WORDS))
FLOURS = ("bread flour", "flour")
YEASTS = ("fresh yeast", "active dry yeast", "instant yeast", "osmotolerant yeast")
FINE = (*YEASTS, "salt")  # weighed to 0.1 g

#: Temperature an ingredient has when the file names none: in the fridge, or at room temperature.
COLD = ("milk", "skim milk", "egg", "egg yolk", "egg white", "cream", "fresh yeast")


def kind_of(name: str) -> str | None:
    """The kind an ingredient's name tells of, or None."""
    words = name.lower().replace("-", " ").replace("_", " ")
    for parts, kind in _WORDS:
        if all(part in words for part in parts):
            return kind
    return None
