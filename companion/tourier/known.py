"""What the cook's own batches have taught: learned values, each with its band, unit and the batches it rests on.

`Lessons` are all values in force, of every kitchen and butter; the logbook writes them, `design.lessons_of` alone reads
them for a plan. `Known` is what of them concerns one batch: beside the batch file the only thing a plan is made from.
A new quantity is one more field of `Known`; one that is stored and has no field here changes no plan.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, fields

from tourier.voice import Voice


@dataclass(frozen=True)
class Learned:
    """One value. `error_before` and `error_after` are the forecast's error without and with it, in `error_unit`."""

    quantity: str
    subject: str  # the kitchen or the butter it is about
    value: float
    low: float  # 90 % band
    high: float
    unit: str
    method: str
    batches: tuple[int, ...]
    error_before: float | None = None
    error_after: float | None = None
    error_unit: str = ""
    learned_at_s: int = 0
    id: int = 0


def _named(words: str, low: float, high: float) -> None:
    """A field: in a cook's words, and between which figures it can be true at all (wider than any kitchen)."""
    return field(default=None, metadata={"words": words, "ends": (low, high)})


@dataclass(frozen=True)
class Known:
    """Learned values for one kitchen and one butter; None where nothing is known. `Known()`: nothing learned at all.

    °C, K, W/(m2 K), J/(m2 K s^0.5), seconds at 26 °C. The names stay as they are: files and `learn --forget` use them.
    """

    fridge_c: Learned | None = _named("air of the fridge", -5.0, 20.0)
    freezer_c: Learned | None = _named("air of the freezer", -50.0, 0.0)
    film_fridge: Learned | None = _named("how fast the fridge chills", 1.0, 150.0)
    film_freezer: Learned | None = _named("how fast the freezer chills", 1.0, 150.0)
    bench_effusivity: Learned | None = _named("how fast the bench chills", 50.0, 30000.0)
    mixing_rise_k: Learned | None = _named("mixing warms dough by", -10.0, 30.0)
    proof_dose_s: Learned | None = _named("proof that suits it", 300.0, 172800.0)
    butter_low_c: Learned | None = _named("bends from", -5.0, 35.0)
    butter_high_c: Learned | None = _named("bends to", -5.0, 35.0)

    @property
    def values(self) -> tuple[Learned, ...]:
        """All that is known, in the order of the fields."""
        return tuple(value for one in fields(self) if (value := getattr(self, one.name)) is not None)

    @property
    def films(self) -> dict[str, float]:
        """Learned films by place, W/(m2 K)."""
        known = {"fridge": self.film_fridge, "freezer": self.film_freezer}
        return {place: learned.value for place, learned in known.items() if learned is not None}

    @property
    def butter_window_c(self) -> tuple[float, float] | None:
        """The butter's window; one edge alone makes none."""
        if self.butter_low_c is None or self.butter_high_c is None:
            return None
        return self.butter_low_c.value, self.butter_high_c.value

    @property
    def untrue(self) -> Learned | None:
        """A value that no kitchen and no butter can have; a plan made with it would be wrong or none."""
        for value in self.values:
            if not possible(value.quantity, value.value):
                return value
        window = self.butter_window_c
        return self.butter_high_c if window is not None and window[0] >= window[1] else None


_WORDS = {one.name: str(one.metadata["words"]) for one in fields(Known)}
_ENDS = {one.name: one.metadata["ends"] for one in fields(Known)}


def possible(quantity: str, value: object) -> bool:
    """Whether a quantity can have this value; of one that changes no plan nothing is known against it."""
    low, high = _ENDS.get(quantity, (float("-inf"), float("inf")))
    return isinstance(value, int | float) and low <= value <= high


@dataclass(frozen=True)
class Lessons:
    """All learned values in force. `Lessons()`: nothing was ever learned."""

    values: tuple[Learned, ...] = ()

    def about(self, kitchen: str, butter: str) -> Known:
        """Return what is known of this kitchen and this butter."""
        of_these = {v.quantity: v for v in self.values if v.subject in (kitchen, butter) and v.quantity in _WORDS}
        return Known(**of_these)


def at(learned: Learned | None, otherwise: float) -> float:
    """Return a learned value, or the figure that holds without one."""
    return otherwise if learned is None else learned.value


def words(quantity: str) -> str:
    """Return a quantity in the cook's words; its own name when it has none."""
    return _WORDS.get(quantity, quantity)


def lines(values: Iterable[Learned], said: Voice) -> list[str]:
    """Return learned values as lines: what, value with band, from which batches, error before and after."""
    out = []
    for value in values:
        batches = ", ".join(str(number) for number in value.batches)
        figure = said.learned(value.value, value.unit, (value.low, value.high))
        line = f"{value.subject}, {words(value.quantity)}: {figure}, from batch {batches or '--, by hand'}"
        if value.error_before is not None and value.error_after is not None:
            before, after = (said.error(one, value.error_unit) for one in (value.error_before, value.error_after))
            line += f"; forecast error {before.partition(',')[0]} -> {after}"
        out.append(f"{line}  [{value.quantity}]")
    return out
