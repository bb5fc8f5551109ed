"""From a Plan to its canonical bytes: the half of the plan's codec that a timer has no use for.

The bytes are described in FORMATS.md; `plan.decode` reads them.
"""

from shared_schedule.plan import (
    MAGIC,
    MAX_PLAN_BYTES,
    MAX_TAGGED,
    PLAN_FIELDS,
    S32_MAX,
    STEP_FIELDS,
    PlanError,
    default,
    validate,
)
from shared_schedule.units import NO_CDEG


def put_uint(out, value):
    """Append an unsigned integer to a bytearray, seven bits a byte, low bits first."""
    while value > 127:
        out.append((value & 127) | 128)
        value >>= 7
    out.append(value)


def zigzag(value):
    """Map signed to unsigned so that small magnitudes stay short."""
    return value * 2 if value >= 0 else -value * 2 - 1


def _encode_fields(out, record, specs, base):
    for name, kind, _low, _high in specs:
        value = getattr(record, name)
        if kind == "u":
            put_uint(out, value)
        elif kind == "s":
            # Instants are written relative to a base, which keeps them to two or three bytes.
            put_uint(out, zigzag(value - base if name == "start_at_s" else value))
        elif kind == "c":
            put_uint(out, 0 if value == NO_CDEG else zigzag(value) + 1)
        elif kind == "t":
            _put_octets(out, value.encode())
        elif kind == "T":
            put_uint(out, len(value))
            for text in value:
                _put_octets(out, text.encode())
        elif kind == "i":
            put_uint(out, len(value))
            for item in value:
                put_uint(out, item)
        else:
            put_uint(out, len(value))
            for start, end in value:
                put_uint(out, start)
                put_uint(out, end)


def _tagged(where, record):
    """Return the optional fields' octets; none for what has its default, so that one plan has one spelling."""
    out = bytearray()
    last = len(record.TAGS)  # a field's key is its place in the table: what is not known lies above
    for at in range(last):
        spec = record.TAGS[at]
        if getattr(record, spec[0]) != default(spec[1]):
            value = bytearray()
            _encode_fields(value, record, (spec,), 0)
            put_uint(out, at + 1)
            _put_octets(out, value)
    for key, value in record.extra:
        if type(key) is not int or not last < key <= S32_MAX or type(value) is not bytes:
            raise PlanError(where + "extra", "must hold octets by rising keys that are not known")
        put_uint(out, key)
        _put_octets(out, value)
        last = key
    if len(out) > MAX_TAGGED:
        raise PlanError(where + "extra", "has %d bytes of optional fields; at most %d" % (len(out), MAX_TAGGED))
    return out


def _put_octets(out, octets):
    put_uint(out, len(octets))
    out.extend(octets)


def encode_plan(plan):
    """Return the canonical bytes of a valid plan. Raises PlanError if it is not valid or too large to hold."""
    validate(plan)
    optional = [_tagged("", plan)]
    for index in range(len(plan.steps)):
        optional.append(_tagged("steps[%d]." % index, plan.steps[index]))
    form = 2 if max(optional) else 1
    out = bytearray(MAGIC)
    out.append(form)
    _encode_fields(out, plan, PLAN_FIELDS, 0)
    if form > 1:
        _put_octets(out, optional[0])
    put_uint(out, len(plan.steps))
    base = plan.made_at_s
    for index in range(len(plan.steps)):
        step = plan.steps[index]
        _encode_fields(out, step, STEP_FIELDS, base)
        if form > 1:
            _put_octets(out, optional[index + 1])
        base = step.start_at_s
    if len(out) > MAX_PLAN_BYTES:
        raise PlanError("plan", "is %d bytes; the timer holds at most %d" % (len(out), MAX_PLAN_BYTES))
    return bytes(out)
