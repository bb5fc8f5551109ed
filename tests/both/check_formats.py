"""Octets as stored when each format was current are read today: plan, journal, temperatures.

*Regression*: the octets and what they meant were stored with the codec of the day, before the next format was made.
What the octets mean is checked independently by a decoder written from FORMATS.md alone.
"""

import json

from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule import samples as S
from shared_schedule.plan_writer import encode_plan

HEAP = "2m"  # what is expected, as lists and as text at once

HERE = __file__[: __file__.rfind("/")] if "/" in __file__ else "."
STORED = HERE + "/../vectors/formats/"


def stored(name):
    """Return (octets, what they meant when they were stored)."""
    with open(STORED + name + ".bin", "rb") as file:
        data = file.read()
    with open(STORED + name + ".json") as file:
        return data, json.load(file)


def _plain(value):
    return [_plain(item) for item in value] if isinstance(value, (tuple, list)) else value


def _fields(record, specs):
    return {spec[0]: _plain(getattr(record, spec[0])) for spec in specs}


def check_plans_of_format_1():
    for name in ("1/plan_demo", "1/plan_full"):
        data, meant = stored(name)
        assert data[3] == 1
        plan = P.decode(data)
        said = _fields(plan, P.PLAN_FIELDS)
        said["steps"] = [_fields(step, P.STEP_FIELDS) for step in plan.steps]
        assert said == meant["plan"] and P.plan_id(data) == meant["plan_id"]
        assert plan.units == P.UNITS_METRIC and not plan.extra
        assert encode_plan(plan) == data, "the same plan has another id today"


def check_plans_of_format_2():
    for name in ("2/plan_units", "2/plan_richer"):
        data, meant = stored(name)
        plan = P.decode(data)
        assert data[3] == 2 and plan.units == P.UNITS_US and plan.name == meant["plan"]["name"]
        assert _plain([[key, octets] for key, octets in plan.extra]) == (
            [[77, b"one field richer"]] if name == "2/plan_richer" else []
        )
        assert encode_plan(plan) == data and P.plan_id(data) == meant["plan_id"]


def check_journals():
    for name in ("1/journal_demo", "1/journal_every", "2/journal_every"):
        data, meant = stored(name)
        reader = J.read(data)
        assert [[r.type, r.seq, r.at_s, list(r.body)] for r in reader] == meant and reader.unread == 0


def check_samples():
    for name in ("1/samples_demo", "1/samples_edges", "2/samples_edges"):
        data, meant = stored(name)
        reader = S.read_blocks(data)
        assert [list(row) for row in reader] == meant and reader.unread == 0
