"""Named days for the virtual kitchen: what is different about the kitchen, and what the scripted cook does wrong.

A scenario is plain data. The cook looks up ``slips`` for the step at hand (by the plan's kind, and by fold number for
folds and rests), and ``kitchen`` replaces fields of the kitchen's configuration with numbers the plan does not know.
``cause`` and ``fold`` say what a review should find; ``good`` has neither.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from shared_schedule import plan
from tourier.device.virtual.kitchen import KitchenConfig


@dataclass(frozen=True)
class Slip:
    """One departure from the plan at a step of ``kind`` (and, when not 0, of fold number ``fold_n``).

    ``late_s``: starts that much after the step could start, the dough staying where the step before left it.
    ``extra_s``: the work itself takes that much longer, dough on the bench.
    ``rest_factor``: a rest, chill or proof lasts this share of its planned time (1 = as planned, and the cook then
    ignores the bench timer's opinion).
    ``skip``: the step is acknowledged but not done (ice not laid).
    ``start_c``: temperature of the block (BLOCK, TEMPER, LOCK_IN) or of the dough (CHILL) when it comes to the bench.
    ``air_c``: temperature of the proof space during the step.
    ``bench_c``: the bench is this warm when the step begins.
    ``probe``: 'open', 'short' or '' during the step.
    ``where``: put it there instead ('' = as planned): e.g. the chill forgotten in the room.
    """

    kind: int
    fold_n: int = 0
    late_s: int = 0
    extra_s: int = 0
    rest_factor: float = 1.0
    skip: bool = False
    start_c: float | None = None
    air_c: float | None = None
    bench_c: float | None = None
    probe: str = ""
    where: str = ""


@dataclass(frozen=True)
class Scenario:
    """A named day. ``symptoms`` are what the cook would report of the bake, in the logbook's own words."""

    name: str
    sentence: str
    kitchen: dict[str, object] = field(default_factory=dict)
    slips: tuple[Slip, ...] = ()
    cause: str = ""
    fold: int = 0
    symptoms: tuple[str, ...] = ()

    def configure(self, believed: KitchenConfig) -> KitchenConfig:
        """The true kitchen for a plan that believes in ``believed``; text such as '+3' or '-2' is added to a field."""
        changes = {}
        for key, value in self.kitchen.items():
            if isinstance(value, str) and value[:1] in "+-" and value[1:].replace(".", "").isdigit():
                changes[key] = getattr(believed, key) + float(value)
            else:
                changes[key] = value
        return replace(believed, **changes)

    def slip(self, kind: int, fold_n: int = 0) -> Slip:
        """The slip for a step, or one that changes nothing."""
        for slip in self.slips:
            if slip.kind == kind and slip.fold_n in (0, fold_n):
                return slip
        return Slip(kind, fold_n)


_ALL = (
    Scenario("good", "Everything goes about as planned, give or take a minute."),
    Scenario(
        "cold-lock-in",
        "The butter block comes to the bench straight from the fridge and is enclosed while it still snaps.",
        slips=(Slip(plan.TEMPER, rest_factor=0.05), Slip(plan.LOCK_IN, start_c=6.0)),
        cause="butter-too-cold",
        symptoms=("shattered-butter", "hollow"),
    ),
    Scenario(
        "cold-dough",
        "The dough comes out of the freezer half stiff and chills the butter while the cook looks for the rolling pin.",
        slips=(Slip(plan.CHILL, where="freezer"), Slip(plan.FOLD, 1, late_s=420)),
        cause="dough-too-cold",
        fold=1,
        symptoms=("shattered-butter",),
    ),
    Scenario(
        "warm-bench",
        "The ice is forgotten and the stone is as warm as the room behind an oven.",
        kitchen={"room_c": "+3"},
        slips=(Slip(plan.ICE, skip=True), Slip(plan.LOCK_IN, bench_c=27.0), Slip(plan.FOLD, 0, bench_c=27.0)),
        cause="warm-bench",
        symptoms=("bready", "leak"),
    ),
    Scenario(
        "warm-third-fold",
        "The ice is long gone when the telephone rings at the third fold: three quarters of an hour on the bench.",
        slips=(Slip(plan.FOLD, 3, extra_s=2700, bench_c=16.0),),
        cause="slow-fold",
        fold=3,
        symptoms=("bready",),
    ),
    Scenario(
        "short-rest",
        "The second rest is cut to a third because guests are waiting.",
        slips=(Slip(plan.REST, 2, rest_factor=0.33),),
        cause="short-rest",
        fold=2,
        symptoms=("shrinks", "torn-skin"),
    ),
    Scenario(
        "long-rest",
        "The second rest runs over the afternoon; the butter is hard when the pin comes down.",
        slips=(Slip(plan.REST, 2, rest_factor=5.0), Slip(plan.FOLD, 3, late_s=0)),
        cause="long-rest",
        fold=2,
        symptoms=("shattered-butter",),
    ),
    Scenario(
        "hot-proof",
        "The proof space stands over the pilot light at 32 degrees.",
        slips=(Slip(plan.PROOF, air_c=32.0),),
        cause="hot-proof",
        symptoms=("leak", "flat"),
    ),
    Scenario(
        "short-proof",
        "The tray goes into the oven at half the proof because the table is laid.",
        slips=(Slip(plan.PROOF, rest_factor=0.5),),
        cause="short-proof",
        symptoms=("leak", "hollow"),
    ),
    Scenario(
        "long-proof",
        "Nobody hears the timer and the pieces stand twice as long.",
        slips=(Slip(plan.PROOF, rest_factor=1.9),),
        cause="long-proof",
        symptoms=("flat",),
    ),
    Scenario(
        "condensation",
        "A thundery evening: the iced bench sweats and the cold sheet grows sticky.",
        kitchen={"humidity": 0.88, "room_c": "+2"},
        cause="condensation",
        symptoms=("sticky",),
    ),
    Scenario(
        "probe-fault",
        "The probe's plug works loose during the first rest and is found at the second fold.",
        slips=(Slip(plan.REST, 1, probe="open"),),
        cause="probe-fault",
    ),
    Scenario(
        "late-oven",
        "The tray is forgotten in the oven for twelve minutes more.",
        slips=(Slip(plan.BAKE, extra_s=720),),
        cause="late-oven",
        symptoms=("dark",),
    ),
    Scenario(
        "warm-fridge",
        "The fridge door has stood open and the shelf is at nine degrees.",
        kitchen={"fridge_c": 9.0},
        cause="warm-fridge",
        symptoms=("bready",),
    ),
    Scenario(
        "late-morning",
        "The cook sleeps through the alarm and starts the second day three quarters of an hour late.",
        slips=(Slip(plan.LOCK_IN, late_s=2700),),
        cause="butter-too-warm",
    ),
)

SCENARIOS: dict[str, Scenario] = {scenario.name: scenario for scenario in _ALL}


def scenario(name: str) -> Scenario:
    """The scenario called ``name``; ``KeyError`` with the known names otherwise."""
    try:
        return SCENARIOS[name]
    except KeyError:
        raise KeyError(f"no scenario called {name!r}; known: {', '.join(SCENARIOS)}") from None
