"""What cannot be made, told so that whoever speaks to the cook can say it in the cook's units."""

from __future__ import annotations

_SI = {"length": "m", "thickness": "m", "weight": "g", "temperature": "°C", "area": "m2"}


class Misfit(ValueError):
    """A wish that craft cannot meet; `quantity` names what limits.

    `sentence` is whole, with named holes for `measures`: text, or (kind, value in SI units, grams or °C) with a kind
    that `tourier.voice` says: "length", "thickness", "weight", "temperature", "area". str() fills the holes with SI.
    """

    def __init__(self, sentence: str, quantity: str, **measures: str | tuple[str, float]) -> None:
        self.sentence, self.quantity, self.measures = sentence, quantity, measures
        plain = {k: m if isinstance(m, str) else f"{m[1]:g} {_SI[m[0]]}" for k, m in measures.items()}
        super().__init__(sentence.format(**plain) if measures else sentence)
