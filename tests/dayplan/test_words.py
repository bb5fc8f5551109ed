"""How a plan says when it is ready, beside the hour asked for (wording of this project: regression)."""

from dataclasses import replace
from datetime import datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from days import SLEEP, at, spec, workup
from tourier.dayplan.model import Impossible
from tourier.dayplan.plan import _with_buffer, plan_days
from tourier.dayplan.words import asked_words, chance_words, ready_words

NOW = at(13, 18)
ASKED = datetime(2026, 11, 29, 8, 30, tzinfo=ZoneInfo("Europe/Paris"))


def _plan(early_min, batches=1, chance=None):
    ready = ASKED - timedelta(minutes=early_min)
    sure = None if chance is None else SimpleNamespace(ready_by=chance)
    return SimpleNamespace(planned_at=ready, wished=(ASKED,) * batches, chance=sure)


@pytest.mark.parametrize(
    ("early_min", "said"),
    [
        (30, ", half an hour before the 08:30 you asked for"),
        (60, ", an hour before the 08:30 you asked for"),
        (20, ", 20 min before the 08:30 you asked for"),
        (0, ""),
        (-25, ", 25 min after the 08:30 you asked for"),
        (9 * 60, ", 9 h before the Sun 08:30 you asked for"),
    ],
)
def test_the_hour_asked_for_stands_beside_the_hour_aimed_at(early_min, said):
    assert asked_words(_plan(early_min)) == said


def test_the_chance_names_its_hour_and_several_batches_have_no_common_one():
    assert ready_words(_plan(30)) == "Ready Sun 29 Nov 08:00, half an hour before the 08:30 you asked for"
    assert chance_words(_plan(30, chance=0.874)) == "87 % chance of being ready by 08:30"
    assert chance_words(_plan(30)) == ""
    assert asked_words(_plan(30, batches=2)) == ""
    assert "08:30" not in chance_words(_plan(30, batches=2, chance=0.5))


def test_the_advice_of_a_refusal_leaves_room_for_the_buffer():
    refused = Impossible("The earliest is 08:30.", ASKED, give_up=("Be ready at 08:30 instead.", "Get up earlier."))
    better = _with_buffer(refused, spec(ready=ASKED - timedelta(hours=1)), 1200)
    assert better.nearest == ASKED + timedelta(minutes=20)
    assert "ask for Sun 29 Nov 08:50" in better.sentence
    assert better.give_up[0].startswith("Be ready at Sun 29 Nov 08:50") and better.give_up[1] == "Get up earlier."


def test_a_refused_wish_with_a_buffer_is_granted_at_the_hour_it_names():
    wish = spec(ready=at(15, 6, 30), away=(SLEEP,), buffer_s=1200)
    with pytest.raises(Impossible) as refused:
        plan_days(wish, workup(wish), NOW, chance=False)
    assert refused.value.nearest is not None
    later = replace(wish, wished_at=refused.value.nearest)
    again = plan_days(later, workup(later), NOW, chance=False)
    assert again.wished[0] - again.planned_at >= timedelta(seconds=1200)
