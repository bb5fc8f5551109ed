"""The tables of a batch file: [formula], [butter], [folds], [kitchen], [[away]]."""

from __future__ import annotations

from datetime import datetime, time
from zoneinfo import ZoneInfo

from tourier.batch.fields import Table, flag, percent_limit, text, time_limit, whole, word
from tourier.batch.ingredients import FLOURS, KINDS, YEASTS, kind_of
from tourier.batch.model import AwaySpan, Butter, FoldWish, FormulaLine, KitchenSpec
from tourier.batch.plausible import OVEN_C, impossible
from tourier.batch.when import clock, moment
from tourier.craft.butter import now_called
from tourier.quantities import (
    difference_k,
    duration_s,
    labelled_percent,
    length_m,
    mass_kg,
    percent,
    temperature_c,
)
from tourier.voice import UNITS, Voice, span

MAX_LINES = 24
BENCHES = ("marble", "granite", "stone", "slate", "steel", "glass", "wood", "maple", "beech", "oak")
PROFILES = ("standard-80", "standard-82", "roll-in-84", "hard-fraction", "cultured-82", "plant-block")


def _profile(value: object) -> str:
    return word(*PROFILES)(now_called(value) if isinstance(value, str) else value)


def _flour(voice: Voice, kg: float) -> str:
    return voice.weight(kg * 1000)


def formula(table: Table, kind: str) -> tuple[FormulaLine, ...]:
    """[formula]: one key an ingredient, percent of flour, or { percent, kind, temperature }."""
    lines: list[FormulaLine] = []
    if len(table.data) > MAX_LINES:
        table.wrong("", f"has {len(table.data)} ingredients; at most {MAX_LINES} are allowed")
        return ()
    for key, value in table.data.items():
        table.asked.add(key)
        try:
            name = text(32)(key)
        except ValueError as error:
            table.wrong(key, f"as the name of an ingredient {error}")
            continue
        row = Table(value if isinstance(value, dict) else {"percent": value}, table.key(key), table.lines,
                    table.problems, table.voice)  # fmt: skip
        if not isinstance(value, dict):
            # Written short, a problem belongs to the ingredient's own key.
            row.one_key = table.key(key)
        share = row.get("percent", percent, low=0.01, high=200.0, show=percent_limit)
        what = row.get("kind", word(*KINDS), kind_of(name))
        if what is None and not row.has("kind"):
            table.wrong(key, "is an ingredient this program does not know; write { percent = \"...\", kind = \"...\" } "
                             f"with one of {', '.join(KINDS)}")  # fmt: skip
        degrees = row.get("temperature", temperature_c, None, low=-20.0, high=60.0, show=Voice.temperature)
        row.finish()
        if share is not None and what is not None:
            lines.append(FormulaLine(name, share, what, degrees))
    flour = sum(line.percent_of_flour for line in lines if line.kind in FLOURS)
    if table.data and not table.problems and abs(flour - 100.0) > 0.05:
        table.wrong("", f"has flours of {flour:g} % together; in baker's percent they make 100 %")
    wet = sum(line.percent_of_flour for line in lines if line.kind in ("water", "milk", "skim milk", "egg", "cream"))
    if table.data and not table.problems and not 30.0 <= wet <= 90.0:
        table.wrong("", f"has {wet:g} % of water, milk and egg on flour; a dough for laminating has 30 to 90 %")
    yeast = any(line.kind in YEASTS for line in lines)
    if table.data and not table.problems and kind == "leavened" and not yeast:
        table.wrong("", 'has no yeast; a leavened dough needs some (or write kind = "puff")')
    if table.data and not table.problems and kind == "puff" and yeast:
        table.wrong("", 'has yeast; puff has none (or write kind = "leavened")')
    if not table.problems:
        for key, sentence in impossible(lines, kind):
            table.wrong(key, sentence)
    return tuple(lines)


def butter(table: Table) -> Butter | None:
    """[butter]: profile, roll_in with its label, block sizes, lock-in."""
    roll = table.get("roll_in", labelled_percent)
    on_flour = on_dough = None
    if roll is not None:
        share, base = roll
        low, high = (10.0, 120.0) if base == "flour" else (5.0, 70.0)
        if not low <= share <= high:
            table.wrong("roll_in", f"{share:g} % of {base} is not possible here; allowed are {low:g} to {high:g} %")
        if base == "flour":
            on_flour = share
        else:
            on_dough = share
    result = Butter(
        profile=table.get("profile", _profile, "standard-82"),
        roll_in_percent_of_flour=on_flour,
        roll_in_percent_of_dough=on_dough,
        block_thickness_m=table.get("block_thickness", length_m, None, low=0.003, high=0.03, show=Voice.thickness),
        block_length_m=table.get("block_length", length_m, None, low=0.05, high=0.8, show=Voice.length),
        block_width_m=table.get("block_width", length_m, None, low=0.05, high=0.8, show=Voice.length),
        lock_in=table.get("lock_in", word("two-flap", "envelope", "half"), "two-flap"),
    )
    table.finish()
    if result.block_thickness_m and result.block_length_m and result.block_width_m:
        table.wrong("block_thickness", "cannot be set beside length and width: the mass of butter decides it")
    return result


def _sequence(value: object) -> tuple[int, ...]:
    if not isinstance(value, list) or not value:
        raise ValueError("must be a list of folds such as [4, 3, 3]")
    if len(value) > 8:
        raise ValueError(f"has {len(value)} folds; at most 8 are allowed")
    if any(type(n) is not int or n not in (2, 3, 4) for n in value):
        raise ValueError("may hold only 2, 3 and 4 (for 2-fold, 3-fold and 4-fold)")
    return tuple(value)


def folds(table: Table, kind: str) -> tuple[FoldWish | None, float | None]:
    """[folds]: the sequence and what happens around it; also the final thickness as written, if any."""
    sequence = table.get("sequence", _sequence)
    final = table.get("final_thickness", length_m, None, low=0.0015, high=0.015, show=Voice.thickness)
    wish = FoldWish(
        folds=sequence or (3,),
        sheet_length_m=table.get("sheet_length", length_m, None, low=0.15, high=2.0, show=Voice.length),
        rest_s=table.get("rest", duration_s, None, low=300, high=86400, show=time_limit),
        rest_place=table.get("rest_place", word("fridge", "freezer"), "fridge"),
        final_chill_s=table.get("final_chill", duration_s, None, low=0, high=7200, show=time_limit),
        final_thickness_m=final or 0.004,
        dough_chill_s=table.get("dough_chill", duration_s, None, low=0, high=14400, show=time_limit),
        overnight=table.get("overnight", word("dough", "paton", "pieces", "none"), "dough"),
        folds_per_rest=table.get("folds_per_rest", whole, 2 if kind == "puff" else 1, low=1, high=3),
    )
    table.finish()
    return (None if sequence is None else wish), final


def kitchen(table: Table, kind: str = "leavened") -> KitchenSpec | None:
    """[kitchen] and its tables bench, fridge, freezer, proof, oven, mixing; the oven's bounds go by the dough."""
    before = len(table.problems)
    bench, fridge, freezer = table.table("bench"), table.table("fridge"), table.table("freezer", need=False)
    proof, oven, mixing = (table.table(name, need=False) for name in ("proof", "oven", "mixing"))
    least_c, most_c = OVEN_C[kind][1]
    room = table.get("room", temperature_c, low=2.0, high=45.0, show=Voice.temperature)
    table.get("units", word(*UNITS), None)  # read before all the rest, see `read`
    values = {
        "name": table.get("name", text(40), "kitchen"),
        "room_c": room,
        "humidity_pct": table.get("humidity", percent, 55.0, low=5.0, high=100.0, show=percent_limit),
        "altitude_m": table.get("altitude", length_m, 0.0, low=-450.0, high=5000.0, show=Voice.height),
        "bench_material": bench.get("material", word(*BENCHES)),
        "bench_thickness_m": bench.get("thickness", length_m, low=0.0005, high=0.15, show=Voice.thickness),
        "bench_length_m": bench.get("length", length_m, low=0.2, high=6.0, show=Voice.length),
        "bench_width_m": bench.get("width", length_m, low=0.15, high=3.0, show=Voice.length),
        "rolling": bench.get("rolling", word("hand", "sheeter"), "hand"),
        "ice_bench": bench.get("ice", flag, False),
        "fridge_c": fridge.get("temperature", temperature_c, low=-1.0, high=12.0, show=Voice.temperature),
        "fridge_fan": fridge.get("fan", flag, False),
        "fridge_shelf_length_m": fridge.get("shelf_length", length_m, None, low=0.1, high=3.0, show=Voice.length),
        "fridge_shelf_width_m": fridge.get("shelf_width", length_m, None, low=0.1, high=3.0, show=Voice.length),
        "fridge_shelves": fridge.get("shelves", whole, 4, low=1, high=60),
        "freezer_c": freezer.get("temperature", temperature_c, -18.0, low=-45.0, high=-4.0, show=Voice.temperature),
        "proof_place": proof.get("place", word("room", "oven", "box"), "room"),
        "proof_c": proof.get("temperature", temperature_c, None, low=10.0, high=45.0, show=Voice.temperature),
        "proof_humidity_pct": proof.get("humidity", percent, None, low=20.0, high=100.0, show=percent_limit),
        "oven_c": oven.get("temperature", temperature_c, 190.0, low=least_c, high=most_c, show=Voice.temperature),
        "oven_preheat_s": float(oven.get("preheat", duration_s, 1800, low=0, high=10800, show=time_limit)),
        "oven_trays": oven.get("trays", whole, 1, low=1, high=40),
        "pieces_per_tray": oven.get("pieces_per_tray", whole, 12, low=1, high=60),
        "mixing": mixing.get("by", word("hand", "mixer"), "hand"),
        "mixer_flour_max_kg": mixing.get("flour_max", mass_kg, None, low=0.1, high=200.0, show=_flour),
        "tap_c": mixing.get("tap", temperature_c, 15.0, low=0.0, high=35.0, show=Voice.temperature),
        "friction_k": mixing.get("friction", difference_k, None, low=0.0, high=20.0, show=Voice.difference),
    }  # fmt: skip
    for part in (bench, fridge, freezer, proof, oven, mixing, table):
        part.finish()
    if len(table.problems) > before:
        return None
    if values["fridge_c"] >= values["room_c"]:
        fridge.wrong("temperature", "is not below the room's; a cold place is needed")
    return KitchenSpec(**values)


def _length_of(start: time, end: time) -> int:
    """Minutes from start to end, over midnight when end is earlier."""
    return ((end.hour * 60 + end.minute) - (start.hour * 60 + start.minute)) % 1440


def away(rows: list[Table], zone: ZoneInfo | None, ready: datetime | None) -> tuple[AwaySpan, ...]:
    """[[away]]: daily hours ("22:30" to "06:00") or one span ("Saturday 14:00" to "Saturday 16:00")."""
    spans: list[AwaySpan] = []
    for row in rows:
        why = row.get("why", word("sleep", "away"), "away")
        span = None
        begins = row.data.get("from")
        if isinstance(begins, time) or (isinstance(begins, str) and len(begins.strip()) <= 5):
            start, end = row.get("from", clock), row.get("to", clock)
            if start is not None and end is not None:
                span = _daily(row, why, start, end)
        elif zone is not None and ready is not None:
            first = row.get("from", lambda v: moment(v, zone, ready, forward=False))
            last = row.get("to", lambda v: moment(v, zone, ready, forward=False))
            if first is not None and last is not None:
                if first >= last:
                    row.wrong("to", "is not after from; a span ends after it begins")
                else:
                    span = AwaySpan(why, from_at=first, to_at=last)
        row.asked |= {"from", "to"}
        row.finish()
        if span is not None:
            _no_overlap(row, span, spans)
            spans.append(span)
    return tuple(spans)


def _daily(row: Table, why: str, start: time, end: time) -> AwaySpan | None:
    minutes = _length_of(start, end)
    if minutes == 0:
        row.wrong("to", "is the same as from; the span would be empty or a whole day")
        return None
    if minutes > 14 * 60:
        row.wrong("from", f"until to is {span(minutes * 60)} every day; are they the wrong way round?")
        return None
    return AwaySpan(why, start=start, end=end)


def _no_overlap(row: Table, span: AwaySpan, others: list[AwaySpan]) -> None:
    for other in others:
        if span.start and span.end and other.start and other.end:
            gap = _length_of(other.start, span.start)
            overlap = gap < _length_of(other.start, other.end) or (
                _length_of(span.start, other.start) < _length_of(span.start, span.end)
            )
        elif span.from_at and span.to_at and other.from_at and other.to_at:
            overlap = span.from_at < other.to_at and other.from_at < span.to_at
        else:
            overlap = False  # one day's outing may well reach into the night
        if overlap:
            row.wrong("from", "overlaps another [[away]] span; join the two or set them apart")
            return
