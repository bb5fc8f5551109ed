"""What a type checker sees of plan.py, whose records get their fields from tables. No interpreter loads this file."""

from collections.abc import Iterable, Iterator
from typing import ClassVar, TypeAlias

FieldSpec: TypeAlias = tuple[str, str, int, int]  # name, kind, low, high
FieldValue: TypeAlias = int | str | tuple[int, ...] | tuple[str, ...] | tuple[tuple[int, int], ...]

MAGIC: bytes
FORMAT: int
MAX_STEPS: int
MAX_PLAN_BYTES: int
MAX_AFTER: int
MAX_TICKS: int
MAX_QUIET: int
MAX_TAGGED: int
MIX: int
BULK: int
FLATTEN: int
CHILL: int
BLOCK: int
TEMPER: int
ICE: int
LOCK_IN: int
FOLD: int
REST: int
SHEET: int
CUT: int
SHAPE: int
HOLD: int
FREEZE: int
THAW: int
PROOF: int
WASH: int
PREHEAT: int
BAKE: int
COOL: int
KIND_WORDS: tuple[str, ...]
ANYWHERE: int
BENCH: int
FRIDGE: int
FREEZER: int
ROOM: int
PROOF_SPACE: int
OVEN: int
PLACE_WORDS: tuple[str, ...]
BY_COOK: int
BY_TIME: int
BY_CORE: int
BY_DOSE: int
SPINE_LEFT: int
SAVES_BATCH: int
ASK_OVEN_EMPTY: int
S32_MAX: int
UNITS_METRIC: int
UNITS_US: int
STEP_FIELDS: tuple[FieldSpec, ...]
PLAN_FIELDS: tuple[FieldSpec, ...]
PLAN_TAGS: tuple[FieldSpec, ...]
STEP_TAGS: tuple[FieldSpec, ...]

class PlanError(ValueError):
    field: str
    sentence: str
    def __init__(self, field: str, sentence: str) -> None: ...

class _Record:
    FIELDS: ClassVar[tuple[FieldSpec, ...]]
    TAGS: ClassVar[tuple[FieldSpec, ...]]
    KINDS: ClassVar[dict[str, str]]
    extra: tuple[tuple[int, bytes], ...]

class Step(_Record):
    step_id: int
    kind: int
    name: str
    place: int
    paton: int
    start_at_s: int
    planned_for_s: int
    attended_s: int
    min_s: int
    ideal_s: int
    max_s: int
    after: tuple[int, ...]
    ends_by: int
    low_cdeg: int
    high_cdeg: int
    core_cdeg: int
    air_max_cdeg: int
    fold: int
    fold_n: int
    fold_of: int
    spine: int
    quarter: int
    length_um: int
    width_um: int
    thickness_um: int
    layers: int
    dose_s: int
    flags: int
    ticks: tuple[str, ...]
    def __init__(self, **values: FieldValue | tuple[tuple[int, bytes], ...]) -> None: ...

class Plan(_Record):
    name: str
    made_at_s: int
    ready_at_s: int
    offset_min: int
    offset_change_at_s: int
    offset_after_min: int
    quiet: tuple[tuple[int, int], ...]
    butter_low_cdeg: int
    butter_high_cdeg: int
    butter_brittle_cdeg: int
    butter_stop_cdeg: int
    butter_melt_cdeg: int
    proof_cap_cdeg: int
    yeast_min_cdeg: int
    yeast_opt_cdeg: int
    yeast_max_cdeg: int
    yeast_ref_cdeg: int
    room_cdeg: int
    room_rh_pct: int
    fridge_cdeg: int
    freezer_cdeg: int
    proof_cdeg: int
    bench_um: int
    bench_effusivity: int
    film_room_mw: int
    film_fridge_mw: int
    film_freezer_mw: int
    laminate_k_mw: int
    laminate_rc: int
    units: int
    steps: list[Step]
    def __init__(self, steps: Iterable[Step] = (), **values: FieldValue | tuple[tuple[int, bytes], ...]) -> None: ...
    def index_of(self, step_id: int) -> int: ...

def default(kind: str) -> FieldValue: ...
def validate(plan: Plan) -> Plan: ...
def decode(data: bytes | bytearray | memoryview) -> Plan: ...
def decoding(data: bytes | bytearray | memoryview) -> Iterator[Plan | None]: ...
def plan_id(data: bytes | bytearray | memoryview) -> int: ...
def offset_min_at(plan: Plan, at_s: int) -> int: ...
