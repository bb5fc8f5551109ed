"""The day's plan as both machines hold it: records, limits, canonical bytes, plan id.

A plan is a list of steps in planned order. Every step names the steps it must follow, and those stand before it in the
list, so a plan cannot be cyclic. Canonical bytes are a fixed field order of variable-length integers: the same plan
gives the same bytes on both interpreters, and the plan id is the CRC-32 of them.

Format 2 is format 1 with optional fields under a key and a length after the fixed ones, in the header and in each step:
a key that is not known is kept and passed over, so a new field needs no new number. A plan without optional fields is
written in format 1, so that it has one spelling, and every timer reads it.
"""

import binascii

from shared_schedule.units import CDEG_MAX, CDEG_MIN, NO_CDEG

MAGIC = b"TPL"
FORMAT = 2  # the newest; every one from 1 on is read

MAX_STEPS = 96
MAX_PLAN_BYTES = 8192  # what the device sets aside: 96 steps at under 86 bytes each; 65 are usual
MAX_AFTER = 8
MAX_TICKS = 3
MAX_QUIET = 4
MAX_TAGGED = 256  # octets of optional fields in the header, and in each step

# Kinds of step. Numbers are never reused.
MIX = 1
BULK = 2
FLATTEN = 3  # dough pressed flat before its chill
CHILL = 4  # cold rest of the détrempe before lock-in
BLOCK = 5  # butter block made
TEMPER = 6  # butter block brought to a pliable temperature
ICE = 7  # ice on the bench, then wiped dry
LOCK_IN = 8
FOLD = 9
REST = 10  # rest of the pâton between folds
SHEET = 11  # final sheet
CUT = 12
SHAPE = 13
HOLD = 14  # cold hold of pâton or shaped pieces (retard)
FREEZE = 15
THAW = 16
PROOF = 17
WASH = 18  # egg wash
PREHEAT = 19
BAKE = 20
COOL = 21
KIND_WORDS = (
    "", "mix", "bulk", "flatten", "chill", "butter block", "temper", "ice the bench", "lock-in", "fold", "rest",
    "sheet", "cut", "shape", "cold hold", "freeze", "thaw", "proof", "egg wash", "preheat", "bake", "cool",
)  # fmt: skip

# Places. The bench, the oven and the proof space are one each; the others hold several pâtons.
ANYWHERE = 0
BENCH = 1
FRIDGE = 2
FREEZER = 3
ROOM = 4
PROOF_SPACE = 5
OVEN = 6
PLACE_WORDS = ("", "bench", "fridge", "freezer", "room", "proof space", "oven")

# What ends a step.
BY_COOK = 0
BY_TIME = 1
BY_CORE = 2  # probe within the window core_cdeg +-1 °C, or the maximum time
BY_DOSE = 3  # proof progress, then the cook's look

# Where the spine (closed edge) of the folded pâton lies for the next rolling: 0 none, 2 right, 3 near, 4 far, and
SPINE_LEFT = 1

# Flags.
SAVES_BATCH = 1  # its alarms sound even in quiet hours
ASK_OVEN_EMPTY = 2  # the oven may hold dough: an explicit answer before heating

S32_MAX = 0x3FFFFFFF  # a Pico's small integer

# What the timer's screens count in.
UNITS_METRIC = 0
UNITS_US = 1  # degrees F, inches, ounces

# By name, so that the rows are made when the module is loaded: constant rows would each bring strings of their own.
_WHOLE, _SIGNED, _CDEG, _TEXT, _TEXTS, _IDS, _SPANS = "u", "s", "c", "t", "T", "i", "q"

# (field, kind of field, low, high). The order is the canonical order and never changes: new fields are tagged, below.
# Kinds: u = unsigned, s = signed, c = temperature or NO_CDEG, t = text (cap in bytes), T = texts, i = ids, q = spans.
STEP_FIELDS = (
    ("step_id", _WHOLE, 1, 250),
    ("kind", _WHOLE, 1, 21),
    ("name", _TEXT, 1, 32),
    ("place", _WHOLE, 0, 6),
    ("paton", _WHOLE, 0, 8),  # 0 = the whole batch
    ("start_at_s", _SIGNED, 0, S32_MAX),
    ("planned_for_s", _WHOLE, 0, 864000),
    ("attended_s", _WHOLE, 0, 86400),  # hands-on time from the start of the step
    ("min_s", _WHOLE, 0, 864000),
    ("ideal_s", _WHOLE, 0, 864000),
    ("max_s", _WHOLE, 0, 2678400),
    ("after", _IDS, 0, MAX_AFTER),
    ("ends_by", _WHOLE, 0, 3),
    ("low_cdeg", _CDEG, 0, 0),  # window for the probe while the step runs
    ("high_cdeg", _CDEG, 0, 0),
    ("core_cdeg", _CDEG, 0, 0),  # core temperature that ends a rest or chill
    ("air_max_cdeg", _CDEG, 0, 0),  # limit of the air in a proof
    ("fold", _WHOLE, 0, 4),  # 2, 3 or 4; 0 = none
    ("fold_n", _WHOLE, 0, 12),
    ("fold_of", _WHOLE, 0, 12),
    ("spine", _WHOLE, 0, 4),
    ("quarter", _WHOLE, 0, 1),  # 1 = give the pâton a quarter turn before rolling
    ("length_um", _WHOLE, 0, 5000000),
    ("width_um", _WHOLE, 0, 5000000),
    ("thickness_um", _WHOLE, 0, 200000),
    ("layers", _WHOLE, 0, 20000),  # fat layers after the step
    ("dose_s", _WHOLE, 0, 864000),  # proof dose: seconds at the reference temperature
    ("flags", _WHOLE, 0, 255),
    ("ticks", _TEXTS, MAX_TICKS, 40),  # questions to be ticked before the step may end
)

PLAN_FIELDS = (
    ("name", _TEXT, 1, 40),
    ("made_at_s", _WHOLE, 0, S32_MAX),
    ("ready_at_s", _WHOLE, 0, S32_MAX),
    ("offset_min", _SIGNED, -1080, 1080),  # local time minus UTC when the plan begins
    ("offset_change_at_s", _WHOLE, 0, S32_MAX),  # 0 = no change of clocks during the plan
    ("offset_after_min", _SIGNED, -1080, 1080),
    ("quiet", _SPANS, 0, MAX_QUIET),  # (from_at_s, to_at_s) spans in which only SAVES_BATCH alarms sound
    ("butter_low_cdeg", _CDEG, 0, 0),  # pliable window of this butter
    ("butter_high_cdeg", _CDEG, 0, 0),
    ("butter_brittle_cdeg", _CDEG, 0, 0),  # below: it breaks
    ("butter_stop_cdeg", _CDEG, 0, 0),  # above: stop and chill
    ("butter_melt_cdeg", _CDEG, 0, 0),  # melting onset
    ("proof_cap_cdeg", _CDEG, 0, 0),
    ("yeast_min_cdeg", _CDEG, 0, 0),  # cardinal temperatures of the dose, and its reference
    ("yeast_opt_cdeg", _CDEG, 0, 0),
    ("yeast_max_cdeg", _CDEG, 0, 0),
    ("yeast_ref_cdeg", _CDEG, 0, 0),
    ("room_cdeg", _CDEG, 0, 0),
    ("room_rh_pct", _WHOLE, 0, 100),
    ("fridge_cdeg", _CDEG, 0, 0),
    ("freezer_cdeg", _CDEG, 0, 0),
    ("proof_cdeg", _CDEG, 0, 0),
    ("bench_um", _WHOLE, 0, 200000),
    ("bench_effusivity", _WHOLE, 0, 30000),  # J m-2 K-1 s-0.5
    ("film_room_mw", _WHOLE, 0, 200000),  # mW m-2 K-1
    ("film_fridge_mw", _WHOLE, 0, 200000),
    ("film_freezer_mw", _WHOLE, 0, 200000),
    ("laminate_k_mw", _WHOLE, 0, 5000),  # mW m-1 K-1 across the layers
    ("laminate_rc", _WHOLE, 0, 10000),  # kJ m-3 K-1, apparent
)

# Optional fields of format 2. A field's key is its place in the table, from 1 on: append only, never take one out.
PLAN_TAGS = (("units", _WHOLE, 0, 1),)
STEP_TAGS = ()


class PlanError(ValueError):
    """A plan that cannot be held. `field` names the place ('steps[3].name'), str() is one sentence."""

    def __init__(self, field, sentence):
        super().__init__("%s: %s" % (field, sentence))  # ValueError.__init__ does not exist on MicroPython
        self.field = field
        self.sentence = sentence


def default(kind):
    """Return what a field of a kind holds when nothing was set."""
    return {"c": NO_CDEG, "t": "", "u": 0, "s": 0}.get(kind, ())


class _Record:
    # What a field holds when nothing was set stands once in the class, not in each of fifty steps: a plan takes half
    # the memory so, and a timer must hold two while one replaces the other.
    FIELDS = TAGS = ()
    KINDS = {}

    def __init__(self, **values):
        for name in sorted(values):
            if name not in self.KINDS:
                raise PlanError(name, "is not a field")
            setattr(self, name, values[name])

    def __eq__(self, other):
        if type(self) is not type(other):
            return False
        for name in self.KINDS:
            if getattr(self, name) != getattr(other, name):
                return False
        return True

    def __hash__(self):  # records are mutable while a plan is built; identity serves sets of them
        return id(self)

    def __repr__(self):
        return "%s(%s)" % (type(self).__name__, getattr(self, "name", ""))


class Step(_Record):
    """One step; fields and limits in STEP_FIELDS and STEP_TAGS. Values left out are 0, "", () or NO_CDEG.

    `extra` holds the optional fields that this side does not know, ((key, octets), ...) by rising key.
    """

    start_at_s: int
    FIELDS = STEP_FIELDS
    TAGS = STEP_TAGS


class Plan(_Record):
    """One plan; fields and limits in PLAN_FIELDS and PLAN_TAGS, `extra`, and `steps`, Steps in planned order."""

    made_at_s: int
    FIELDS = PLAN_FIELDS
    TAGS = PLAN_TAGS

    def __init__(self, steps=(), **values):
        _Record.__init__(self, **values)
        self.steps = list(steps)

    def __eq__(self, other):
        return _Record.__eq__(self, other) and self.steps == other.steps

    __hash__ = _Record.__hash__

    def index_of(self, step_id):
        """Return the place of a step in `steps`, or -1."""
        for index in range(len(self.steps)):
            if self.steps[index].step_id == step_id:
                return index
        return -1


# --- validation -------------------------------------------------------------------------------------------------


def _check_field(where, spec, value):
    name, kind, low, high = spec
    field = where + name
    if kind in "us":
        if type(value) is not int:  # a bool counts as int on one interpreter and not on the other
            raise PlanError(field, "must be a whole number")
        if value < low or value > high:
            raise PlanError(field, "is %d; allowed are %d to %d" % (value, low, high))
    elif kind == "c":
        if type(value) is not int:
            raise PlanError(field, "must be a whole number of 0.01 degrees")
        if value != NO_CDEG and (value < CDEG_MIN or value > CDEG_MAX):
            raise PlanError(field, "is %d; allowed are %d to %d (0.01 degrees C)" % (value, CDEG_MIN, CDEG_MAX))
    elif kind == "t":
        _check_text(field, value, low, high)
    else:
        cap = low if kind == "T" else high
        if not isinstance(value, (tuple, list)):
            raise PlanError(field, "must be a list")
        if len(value) > cap:
            raise PlanError(field, "has %d entries; at most %d" % (len(value), cap))
        for item in value:
            if kind == "T":
                _check_text(field, item, 1, high)
            elif kind == "i":
                if type(item) is not int:
                    raise PlanError(field, "must name steps by their numbers")
            elif not _is_span(item):
                raise PlanError(field, "must hold pairs of instants")


def _is_span(item):
    return isinstance(item, (tuple, list)) and len(item) == 2 and type(item[0]) is int and type(item[1]) is int


def _check_text(field, text, low, high):
    if not isinstance(text, str):
        raise PlanError(field, "must be text")
    raw = text.encode()
    size = len(raw)
    if size < low or size > high:
        raise PlanError(field, "is %d bytes long; allowed are %d to %d" % (size, low, high))
    if not size or (min(raw) >= 32 and max(raw) < 127):
        return  # plain ASCII, looked at in C: a plan holds a thousand characters
    for char in text:
        code = ord(char)
        if code < 32 or 127 <= code < 160:
            raise PlanError(field, "holds a control character")


def validate(plan):
    """Raise PlanError naming the first field that is not allowed; return the plan."""
    _check_head(plan)
    seen = set()
    for index in range(len(plan.steps)):
        _check_step(plan.steps[index], index, seen)
    return plan


def _check_head(plan):
    for spec in PLAN_FIELDS + PLAN_TAGS:
        _check_field("", spec, getattr(plan, spec[0]))
    last = 0
    for span in plan.quiet:
        if not 0 <= span[0] < span[1] <= S32_MAX or span[0] < last:
            raise PlanError("quiet", "spans must be in order and end after they begin")
        last = span[1]
    if not plan.steps:
        raise PlanError("steps", "a plan needs at least one step")
    if len(plan.steps) > MAX_STEPS:
        raise PlanError("steps", "%d steps; the timer holds at most %d" % (len(plan.steps), MAX_STEPS))


def _check_step(step, index, seen):
    where = "steps[%d]." % index
    for specs in (STEP_FIELDS, STEP_TAGS):
        for spec in specs:
            value = getattr(step, spec[0])
            # Most fields are small whole numbers: no call for those. A plan of fifty steps has 1,500 fields.
            if spec[1] != "u" or type(value) is not int or value < spec[2] or value > spec[3]:
                _check_field(where, spec, value)
    if step.step_id in seen:
        raise PlanError(where + "step_id", "%d is used twice" % step.step_id)
    for before in step.after:
        if before not in seen:
            raise PlanError(where + "after", "names step %d, which does not stand before it" % before)
    if step.min_s > step.max_s:
        raise PlanError(where + "min_s", "is longer than max_s")
    if not step.min_s <= step.ideal_s <= step.max_s:
        raise PlanError(where + "ideal_s", "is not between min_s and max_s")
    if step.low_cdeg != NO_CDEG and step.high_cdeg != NO_CDEG and step.low_cdeg >= step.high_cdeg:
        raise PlanError(where + "low_cdeg", "is not below high_cdeg")
    if step.kind == FOLD and step.fold < 2:
        raise PlanError(where + "fold", "a fold step must be a 2-fold, 3-fold or 4-fold")
    seen.add(step.step_id)


# --- canonical bytes --------------------------------------------------------------------------------------------


class _Reader:
    def __init__(self, data):
        self.data = data
        self.at = 0

    def uint(self):
        value = 0
        shift = 0
        while True:
            if self.at >= len(self.data):
                raise PlanError("bytes", "end too soon")
            byte = self.data[self.at]
            self.at += 1
            value |= (byte & 127) << shift
            if byte < 128:
                if shift and not byte:
                    raise PlanError("bytes", "hold a number that is padded")  # one plan, one spelling, one id
                return value
            shift += 7
            if shift > 35:
                raise PlanError("bytes", "hold a number that is too long")

    def sint(self):
        value = self.uint()
        return -((value + 1) >> 1) if value & 1 else value >> 1

    def text(self, cap):
        size = self.uint()
        if size > cap or self.at + size > len(self.data):
            raise PlanError("bytes", "hold a text that is too long")
        raw = bytes(self.data[self.at : self.at + size])
        self.at += size
        try:
            return raw.decode()
        except UnicodeError:
            raise PlanError("bytes", "hold a text that is not UTF-8")


def _decode_fields(reader, record, specs, base):
    data = reader.data
    size = len(data)
    for name, kind, low, high in specs:
        if kind == "u":
            at = reader.at
            if at < size and data[at] < 128:  # one octet, as most are: no call
                reader.at = at + 1
                value = data[at]
            else:
                value = reader.uint()
        elif kind == "s":
            value = reader.sint() + (base if name == "start_at_s" else 0)
        elif kind == "c":
            raw = reader.uint() - 1
            if raw < 0:
                continue
            value = -((raw + 1) >> 1) if raw & 1 else raw >> 1
        elif kind == "t":
            value = reader.text(high)
        else:
            count = reader.uint()
            if count > (low if kind == "T" else high):
                raise PlanError(name, "has %d entries, too many" % count)
            if kind == "T":
                value = tuple([reader.text(high) for _ in range(count)])
            elif kind == "i":
                value = tuple([reader.uint() for _ in range(count)])
            else:
                value = tuple([(reader.uint(), reader.uint()) for _ in range(count)])
        # Defaults stand in the class; a temperature's is "none", so 0 degrees has to be set.
        if value or kind == "c":
            setattr(record, name, value)


def _decode_tagged(reader, record):
    end = reader.uint()
    if end > MAX_TAGGED:
        raise PlanError("bytes", "hold too many optional fields")
    end += reader.at
    last = 0
    while reader.at < end:
        key = reader.uint()
        stop = reader.uint()
        stop += reader.at
        if not last < key <= S32_MAX:
            raise PlanError("bytes", "hold an optional field twice or out of order")
        last = key
        if key > len(record.TAGS):
            record.extra += ((key, bytes(reader.data[reader.at : stop])),)
            reader.at = stop
        else:
            spec = record.TAGS[key - 1]
            _decode_fields(reader, record, (spec,), 0)
            if reader.at != stop or getattr(record, spec[0]) == default(spec[1]):
                raise PlanError(spec[0], "is not written as an optional field")
    if reader.at != end or end > len(reader.data):
        raise PlanError("bytes", "hold an optional field that is too long")
    return last


def decode(data):
    """Return the Plan in canonical bytes. Raises PlanError on anything else; allocates nothing beyond the caps."""
    return list(decoding(data))[-1]


def decoding(data):
    """As decode, a little at a time: yields None after each step read or checked (10 ms on a Pico), last the Plan."""
    if len(data) > MAX_PLAN_BYTES:
        raise PlanError("plan", "is %d bytes; the timer holds at most %d" % (len(data), MAX_PLAN_BYTES))
    if bytes(data[:3]) != MAGIC:
        raise PlanError("plan", "does not begin like a plan")
    if len(data) < 4 or not 1 <= data[3] <= FORMAT:
        raise PlanError("plan", "has a format this side does not know; update the older side")
    reader = _Reader(data)
    reader.at = 4
    plan = Plan()
    form = data[3]
    _decode_fields(reader, plan, PLAN_FIELDS, 0)
    tagged = form > 1 and _decode_tagged(reader, plan)
    count = reader.uint()
    if count > MAX_STEPS:
        raise PlanError("steps", "%d steps; the timer holds at most %d" % (count, MAX_STEPS))
    base = plan.made_at_s
    for _ in range(count):
        step = Step()
        _decode_fields(reader, step, STEP_FIELDS, base)
        if form > 1 and _decode_tagged(reader, step):
            tagged = True
        base = step.start_at_s
        plan.steps.append(step)
        yield None
    if reader.at != len(data):
        raise PlanError("plan", "has %d bytes too many" % (len(data) - reader.at))
    if form > 1 and not tagged:
        raise PlanError("plan", "has no optional field, so it belongs in format 1")  # one plan, one id
    _check_head(plan)
    seen = set()
    for index in range(count):
        _check_step(plan.steps[index], index, seen)
        yield None
    yield plan


def _put_defaults(record):
    record.KINDS = {}
    for field in record.FIELDS + record.TAGS + (("extra", "x"),):
        record.KINDS[field[0]] = field[1]
        setattr(record, field[0], default(field[1]))


_put_defaults(Step)
_put_defaults(Plan)


def plan_id(data):
    """Return the id of canonical plan bytes: their CRC-32 (ISO-HDLC), 0..2**32-1."""
    return binascii.crc32(data) & 0xFFFFFFFF


def offset_min_at(plan, at_s):
    """Return the local offset from UTC in minutes that holds at an instant of the plan."""
    if plan.offset_change_at_s and at_s >= plan.offset_change_at_s:
        return plan.offset_after_min
    return plan.offset_min
