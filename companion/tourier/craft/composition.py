"""What the ingredients of a dough are made of: mass fractions by component.

Components as in the Choi and Okos model: water, protein, fat, carbohydrate (without fibre), fibre, ash.
Source of every row: USDA National Nutrient Database, Standard Reference, abbreviated table, by NDB number.
Cream and milk powder are labelled "from memory". Salt counts as ash.
"""

from __future__ import annotations

from collections.abc import Iterable

COMPONENTS: tuple[str, ...] = ("water", "protein", "fat", "carbohydrate", "fibre", "ash")

# kind: (source, water, protein, fat, ash, carbohydrate including fibre, fibre) in g per 100 g
_ROWS = {
    "bread flour": ("USDA SR 20083", 13.36, 11.98, 1.66, 0.47, 72.53, 2.4),
    "flour": ("USDA SR 20081", 11.92, 10.33, 0.98, 0.47, 76.31, 2.7),
    "milk": ("USDA SR 01077", 88.13, 3.15, 3.25, 0.67, 4.80, 0.0),
    "skim milk": ("USDA SR 01085", 90.84, 3.37, 0.08, 0.75, 4.96, 0.0),
    "milk powder": ("from memory", 3.2, 36.2, 0.8, 7.9, 52.0, 0.0),
    "cream": ("from memory", 58.0, 2.8, 36.0, 0.5, 2.8, 0.0),
    "water": ("pure water", 100.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    "egg": ("USDA SR 01123", 76.15, 12.56, 9.51, 1.06, 0.72, 0.0),
    "egg white": ("USDA SR 01124", 87.57, 10.90, 0.17, 0.63, 0.73, 0.0),
    "egg yolk": ("USDA SR 01125", 52.31, 15.86, 26.54, 1.71, 3.59, 0.0),
    "sugar": ("USDA SR 19335", 0.02, 0.0, 0.0, 0.01, 99.98, 0.0),
    "salt": ("USDA SR 02047", 0.2, 0.0, 0.0, 99.8, 0.0, 0.0),
    "fresh yeast": ("USDA SR 18374", 69.0, 8.4, 1.9, 1.8, 18.1, 8.1),
    "active dry yeast": ("USDA SR 18375", 5.08, 40.44, 7.61, 5.65, 41.22, 26.9),
    "instant yeast": ("USDA SR 18375", 5.08, 40.44, 7.61, 5.65, 41.22, 26.9),
    "osmotolerant yeast": ("USDA SR 18375", 5.08, 40.44, 7.61, 5.65, 41.22, 26.9),
    "butter": ("USDA SR 01145", 17.94, 0.85, 81.11, 0.04, 0.06, 0.0),
}

#: The détrempe of the sources' worked example: (kind, mass in g).
REFERENCE_RECIPE = (
    ("bread flour", 1000.0), ("milk", 250.0), ("water", 270.0), ("sugar", 120.0), ("butter", 60.0), ("salt", 20.0),
    ("fresh yeast", 35.0),
)  # fmt: skip



def composition(kind: str) -> dict[str, float]:
    """Mass fractions of one kind of ingredient, normalised to sum to 1; KeyError for an unknown kind."""
    _, water, protein, fat, ash, carbohydrate, fibre = _ROWS[kind]
    shares = (water, protein, fat, carbohydrate - fibre, fibre, ash)
    parts: dict[str, float] = dict(zip(COMPONENTS, shares, strict=True))
    total = sum(parts.values())
    return {name: value / total for name, value in parts.items()}


def mixture(parts: Iterable[tuple[str, float]]) -> dict[str, float]:
    """Mass fractions of a mixture of (kind, mass); masses in any one unit, their sum above zero."""
    total = 0.0
    mixed: dict[str, float] = dict.fromkeys(COMPONENTS, 0.0)
    for kind, mass in parts:
        total += mass
        for name, share in composition(kind).items():
            mixed[name] += mass * share
    if total <= 0:
        raise ValueError("a mixture needs some mass")
    return {name: value / total for name, value in mixed.items()}
