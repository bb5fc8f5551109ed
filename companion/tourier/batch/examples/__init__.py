"""Batch files that come with the program; `tourier.batch.examples` is a package of data and these few functions."""

from __future__ import annotations

from importlib.resources import files

NAMES = ("demo", "home-inches", "three-patons", "puff", "hot-kitchen", "mixed-shapes")


def example_text(name: str) -> str:
    """The text of an example; raises KeyError with the known names."""
    if name not in NAMES:
        raise KeyError(f"no example is called {name!r}; known: {', '.join(NAMES)}")
    return (files(__name__) / f"{name}.toml").read_text(encoding="utf-8")


def demo_text() -> str:
    """The text of the demo batch."""
    return example_text("demo")
