"""Checks of the plan record: canonical bytes, limits that name their field, hostile bytes, the clocks' change."""

import plans

from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan, put_uint, zigzag
from shared_schedule.units import NO_CDEG

HEAP = "512k"  # plan, its bytes and a decoded copy at once; the timer holds one


def full():
    """Return a plan in which every field holds something."""
    plan = plans.two_days(2)
    for name, kind, low, _high in P.PLAN_FIELDS:
        if kind == "u" and not getattr(plan, name):
            setattr(plan, name, low + 3)
        elif kind == "c" and getattr(plan, name) == NO_CDEG:
            setattr(plan, name, -123)
    plan.steps[0].name = "m\u00e9lange"
    return plan


def check_round_trip():
    plan = full()
    data = encode_plan(plan)
    again = P.decode(data)
    assert again == plan and encode_plan(again) == data
    assert len(data) < 100 * len(plan.steps)
    for index in range(len(plan.steps)):
        assert again.steps[index] == plan.steps[index]


def check_same_bytes_on_both_interpreters():
    # Regression: the id was computed on CPython when this check was written; both interpreters must agree on it.
    assert P.plan_id(encode_plan(plans.two_days(2))) == TWO_DAYS_ID, P.plan_id(encode_plan(plans.two_days(2)))


def check_any_change_changes_the_id():
    plan = full()
    seen = {P.plan_id(encode_plan(plan))}
    plan.steps[3].min_s -= 1
    seen.add(P.plan_id(encode_plan(plan)))
    plan.quiet = ()
    seen.add(P.plan_id(encode_plan(plan)))
    plan.steps[0].name = "mix"
    seen.add(P.plan_id(encode_plan(plan)))
    assert len(seen) == 4


def refused(plan):
    try:
        P.validate(plan)
    except P.PlanError as problem:
        assert str(problem) == problem.field + ": " + problem.sentence
        return problem.field
    return ""


def check_every_number_names_its_field_at_its_limits():
    count = 0
    for spec in P.PLAN_FIELDS:
        name, kind, low, high = spec
        if kind not in "us":
            continue
        for value, wanted in ((low - 1, name), (high + 1, name), ("7", name), (None, name)):
            plan = plans.two_days(1)
            setattr(plan, name, value)
            assert refused(plan) == wanted, (name, value, refused(plan))
            count += 1
    for spec in P.STEP_FIELDS:
        name, kind, low, high = spec
        if kind not in "us":
            continue
        for value in (low - 1, high + 1, "7"):
            plan = plans.two_days(1)
            setattr(plan.steps[2], name, value)
            assert refused(plan) == "steps[2]." + name, (name, value, refused(plan))
            count += 1
    assert count > 100


def check_temperatures_texts_and_lists_name_their_field():
    rows = (
        ("low_cdeg", 30001), ("high_cdeg", -5501), ("core_cdeg", "4"), ("name", ""), ("name", "x" * 33),
        ("name", "\u00e9" * 17), ("name", "a\x1bb"), ("name", "a\x9bb"), ("name", 5), ("ticks", ("a", "b", "c", "d")),
        ("ticks", ("",)), ("ticks", ("x" * 41,)), ("after", (1,) * 9), ("after", (99,)), ("after", (5,)),
        ("name", b"bytes"), ("after", 3), ("ticks", "salt"), ("after", ("1",)), ("ticks", 7),
    )  # fmt: skip
    for name, value in rows:
        plan = plans.two_days(1)
        setattr(plan.steps[2], name, value)
        assert refused(plan) == "steps[2]." + name, (name, value, refused(plan))


def check_relations_between_fields():
    rows = (
        ("min_s", "min_s", 10 ** 5), ("ideal_s", "ideal_s", 1), ("low_cdeg", "low_cdeg", 2500), ("fold", "fold", 0),
    )  # fmt: skip
    for name, wanted, value in rows:
        plan = plans.two_days(1)
        index = [i for i in range(len(plan.steps)) if plan.steps[i].kind == P.FOLD][0]
        setattr(plan.steps[index], name, value)
        assert refused(plan) == "steps[%d].%s" % (index, wanted), (name, refused(plan))
    plan = plans.two_days(1)
    plan.steps[2].step_id = 1
    assert refused(plan) == "steps[2].step_id"
    for quiet in (((5, 5),), ((9, 12), (10, 13)), ((1, 2, 3),), ((-1, 4),), (7,), (("a", "b"),)):
        plan = plans.two_days(1)
        plan.quiet = quiet
        assert refused(plan) == "quiet", quiet
    plan = plans.two_days(1)
    plan.steps = []
    assert refused(plan) == "steps"
    try:
        P.Plan(nonsense=1)
    except P.PlanError as problem:
        assert problem.field == "nonsense"
    else:
        raise AssertionError("unknown field taken")


def check_no_cycle_can_be_written():
    plan = plans.chain((P.MIX, 5, {}), (P.FLATTEN, 5, {}))
    plan.steps[0].after = (2,)
    assert refused(plan) == "steps[0].after"
    plan.steps[0].after = (1,)
    assert refused(plan) == "steps[0].after"


def check_too_many_steps_and_too_many_bytes():
    build = plans.Builder(plans.DAY_1)
    for _ in range(P.MAX_STEPS):
        build.add(P.FLATTEN, 5)
    plan = P.Plan(build.steps, name="long", made_at_s=plans.DAY_1, ready_at_s=build.at_s)
    assert P.decode(encode_plan(plan)) == plan
    for step in plan.steps:
        step.name = "n" * 32
        step.ticks = ("t" * 40,) * 3
    try:
        encode_plan(plan)
    except P.PlanError as problem:
        assert problem.field == "plan" and "bytes" in str(problem)
    else:
        raise AssertionError("a plan too large was taken")
    build.add(P.FLATTEN, 5)
    assert refused(P.Plan(build.steps, name="long")) == "steps"


def check_every_cut_and_many_flips_are_refused_or_valid():
    data = encode_plan(plans.two_days(1))
    for size in range(0, len(data), 3):
        try:
            P.decode(data[:size])
        except P.PlanError:
            continue
        raise AssertionError(size)
    broken = bytearray(data)
    refusals = 0
    for place in range(0, len(data), 5):
        for mask in (1, 0x80, 0xFF):
            broken[place] ^= mask
            try:
                P.validate(P.decode(bytes(broken)))
            except P.PlanError:
                refusals += 1
            broken[place] ^= mask
    assert refusals > 50
    for bad in (
        b"", b"TPL", b"TPL\x02", b"TPL\x00" + data[4:], b"TPL\x03" + data[4:], b"XYZ\x01" + data[4:], data + b"\x00",
        b"TPL\x01" + b"\xff" * 40,
    ):  # fmt: skip
        try:
            P.decode(bad)
        except P.PlanError:
            continue
        raise AssertionError(bad[:8])


def check_numbers_have_one_spelling():
    # 0x80 0x00 would be a second way to write 0: the same plan would get two ids.
    data = encode_plan(plans.two_days(1))
    at = 4 + 1 + len("two days")  # the length byte of the name is at 4; made_at_s follows the name
    size = 1
    while data[at + size - 1] & 128:
        size += 1
    padded = bytearray(data[: at + size])
    padded[-1] |= 128
    padded.append(0)
    padded.extend(data[at + size :])
    try:
        P.decode(bytes(padded))
    except P.PlanError:
        return
    raise AssertionError("a padded number was taken")


def tagged(header=b"", step=b"", form=2):
    """Return a plan of one step in format 2, its optional fields' octets as given."""
    plan = plans.chain((P.MIX, 5, {}))
    data = encode_plan(plan)
    plan.extra = ((99, b"?"),)  # where the optional fields stand: the octets differ from there on
    more = encode_plan(plan)
    at = 4
    while data[at] == more[at]:
        at += 1
    counted = [bytes((len(part),)) + part for part in (header, step)]
    return b"TPL" + bytes((form,)) + data[4:at] + counted[0] + data[at:] + counted[1]


def check_optional_fields_under_a_key():
    plan = plans.two_days(1)
    assert encode_plan(plan)[3] == 1 and plan.units == P.UNITS_METRIC  # nothing optional: every timer reads it
    plan.units = P.UNITS_US
    data = encode_plan(plan)
    again = P.decode(data)
    assert data[3] == 2 and again == plan and again.units == P.UNITS_US and encode_plan(again) == data
    assert P.decode(tagged(b"\x01\x01\x01")).units == P.UNITS_US
    plan.units = 2
    assert refused(plan) == "units"


def check_fields_that_are_not_known_are_passed_over_and_kept():
    for header, step in (
        (b"\x02\x00", b""), (b"\x01\x01\x01\x07\x03abc", b""), (b"", b"\x05\x02\xff\x80\x81\x01\x00"),
        (b"\x90\x01\xf0\x01" + bytes(240), b"\x01\x00"),
    ):  # fmt: skip
        data = tagged(header, step) if len(header) < 128 else None
        if data is None:  # a length of two octets
            plan = plans.chain((P.MIX, 5, {}))
            plan.extra = ((144, bytes(240)),)
            plan.steps[0].extra = ((1, b""),)
            data = encode_plan(plan)
        plan = P.decode(data)
        assert plan.steps[0].kind == P.MIX and encode_plan(plan) == data, header
        assert len(plan.extra) + len(plan.steps[0].extra) + (plan.units != 0) >= 1
        plan.extra = plan.steps[0].extra = ()
        assert encode_plan(plan) != data


def check_optional_fields_have_one_spelling():
    for header, step in (
        (b"", b""),  # of format 2 without need
        (b"\x01\x01\x00", b""),  # the default, spelt out
        (b"\x01\x02\x81\x00", b""),  # padded
        (b"\x01\x00", b""), (b"\x01\x02\x01\x01", b""), (b"\x01\x01\x02", b""),  # too short, too long, out of range
        (b"\x07\x00\x07\x00", b""), (b"\x07\x00\x06\x00", b""), (b"\x00\x00", b""),  # twice, not rising, no key
        (b"\x87\x00\x00", b""), (b"\x07\x80\x00", b""),  # padded key and length
        (b"\x07", b""), (b"\x07\x02\x00", b""), (b"", b"\x07\x7f"), (b"\x07\xff\xff\xff\xff\x07", b""),
        (b"\xff\xff\xff\xff\x0f\x00", b""),
    ):  # fmt: skip
        try:
            P.decode(tagged(header, step))
        except P.PlanError as problem:
            assert problem.sentence
        else:
            raise AssertionError((header, step))
    good = tagged(b"\x07\x00")
    P.decode(good)
    for bad in (good[:3] + b"\x01" + good[4:], good[:3] + b"\x03" + good[4:], tagged(bytes((7, 0)), form=1)):
        try:
            P.decode(bad)
        except P.PlanError:
            continue
        raise AssertionError(bad[:8])
    for extra in (((1, b""),), ((9, b""), (9, b"")), (("9", b""),), ((9, "text"),), ((9, bytes(P.MAX_TAGGED)),)):
        plan = plans.two_days(1)
        plan.extra = extra
        try:
            encode_plan(plan)
        except P.PlanError as problem:
            assert problem.field == "extra"
        else:
            raise AssertionError(extra)


def check_uint_and_zigzag():
    # Independent: LEB128 and zigzag examples as published with the protocol buffers encoding guide (from memory).
    for value, raw in ((0, b"\x00"), (1, b"\x01"), (127, b"\x7f"), (128, b"\x80\x01"), (300, b"\xac\x02")):
        out = bytearray()
        put_uint(out, value)
        assert bytes(out) == raw
    assert [zigzag(value) for value in (0, -1, 1, -2, 2147483647)] == [0, 1, 2, 3, 4294967294]


def check_the_night_the_clocks_change():
    # Published: Europe/Paris leaves summer time on 2026-10-25 at 01:00 UTC (+120 to +60 min) and begins it on
    # 2026-03-29 at 01:00 UTC (+60 to +120 min); rule: EU directive 2000/84/EC, last Sundays at 01:00 UTC.
    for change_at_s, before_min, after_min in ((215053200, 120, 60), (196477200, 60, 120)):
        plan = plans.two_days(1)
        plan.offset_min, plan.offset_after_min, plan.offset_change_at_s = before_min, after_min, change_at_s
        again = P.decode(encode_plan(plan))
        assert P.offset_min_at(again, change_at_s - 1) == before_min
        assert P.offset_min_at(again, change_at_s) == after_min
    plan.offset_change_at_s = 0
    assert P.offset_min_at(plan, 1 << 29) == plan.offset_min


TWO_DAYS_ID = 3021543766
