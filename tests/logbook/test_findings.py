"""Account, findings, comparison: what is said of a log, and what is not."""

import math

import logbook_support as support
import numpy as np
import pytest
from tourier.logbook import LogbookError, Outcome, review
from tourier.logbook.account.steps import account
from tourier.logbook.account.traces import cardinal
from tourier.logbook.findings import knowledge, numbers
from tourier.logbook.findings.compare import Change, compare, last_good, standing_out

from shared_schedule import ferment


def _reviewed(book, outcome=None, made=support.BEGIN, **day):
    number = support.Day(support.small_plan(made_at_s=made), **day).collect(book)
    return review(book.load(number), outcome)


def test_a_day_as_planned_is_not_accused(book):
    found = _reviewed(book)
    assert found.named == () and found.possible == () and found.enough_data
    assert found.verdict.startswith("Nothing in the log stands out")


@pytest.mark.parametrize("slip, cause, fold, saw", [
    ({1: {"lasts_s": 120, "end_c": 7.5}, 2: {"start_c": 8.0, "end_c": 9.0}}, "butter-too-cold", 0,
     ("shattered-butter",)),
    ({1: {"lasts_s": 4500, "end_c": 21.5}, 2: {"start_c": 21.0, "end_c": 17.0}}, "butter-too-warm", 0, ("bready",)),
    ({2: {"start_c": 13.0, "end_c": 8.0}, 3: {"start_c": 8.0, "end_c": 11.0}}, "dough-too-cold", 1,
     ("shattered-butter",)),
    ({5: {"lasts_s": 1800, "end_c": 20.0}}, "slow-fold", 2, ("bready",)),
    ({6: {"lasts_s": 900, "end_c": 13.0}}, "short-rest", 2, ("shrinks",)),
    ({4: {"lasts_s": 26000, "end_c": 4.0}}, "long-rest", 1, ("shattered-butter",)),
    ({11: {"end_c": 31.5}}, "hot-proof", 0, ("leak",)),
    ({11: {"lasts_s": 4000}}, "short-proof", 0, ("leak",)),
    ({11: {"lasts_s": 19000}}, "long-proof", 0, ("flat",)),
    ({13: {"lasts_s": 2000}}, "late-oven", 0, ("dark",)),
    ({12: {"untick": True}}, "missed-item", 0, ("bland",)),
    ({5: {"probe": "open"}, 6: {"probe": "open"}}, "probe-fault", 2, ()),
])  # fmt: skip
def test_one_thing_wrong_is_the_one_named(book, slip, cause, fold, saw):
    found = _reviewed(book, Outcome(saw), slips=slip)
    assert found.named[0].key == cause, [(f.key, f.probability, f.reading.sentence) for f in found.all[:4]]
    assert found.named[0].fold_n == fold
    assert found.change and "Consistent with" in found.verdict


def test_the_same_symptom_is_told_apart_by_the_log_alone(book):
    """Practice 5 (e) and (f): proof too warm and proof too short leak alike."""
    hot = _reviewed(book, Outcome(("leak",)), slips={11: {"end_c": 31.5}})
    short = _reviewed(book, Outcome(("leak",)), support.BEGIN + 10**6, slips={11: {"lasts_s": 4000}})
    assert (hot.named[0].key, short.named[0].key) == ("hot-proof", "short-proof")
    assert "oven cooler than its dial" in hot.rivals


def test_what_the_cook_did_not_see_counts_against_a_cause_but_silence_does_not(book):
    """By Bayes' rule: a symptom that a cause makes likely, and that is not reported, makes the cause less likely."""
    slips = {11: {"end_c": 31.5}}
    table = numbers.load()
    likely = {name: row for name, row in table.symptom.items() if row.get("hot-proof", 0) > row["otherwise"]}
    assert "leak" in likely

    def chance(outcome, made):
        found = _reviewed(book, outcome, support.BEGIN + made, slips=slips)
        return next(each.probability for each in found.all if each.key == "hot-proof")

    silent = chance(Outcome(), 0)
    seen = chance(Outcome(("leak",)), 10**6)
    well = chance(Outcome(rating=5), 2 * 10**6)
    assert well < silent < seen
    odds = [p / (1 - p) for p in (silent, well)]
    by_hand = 1.0
    for row in table.symptom.values():
        by_hand *= ((1 - row.get("hot-proof", row["otherwise"])) / (1 - row["otherwise"])) ** (
            table.limits["unreported_weight"]
        )
    assert odds[1] / odds[0] == pytest.approx(by_hand, rel=1e-6)


def test_without_readings_it_says_not_enough_data(book):
    blind = {step: {"probe": "open"} for step in range(1, 15)}
    found = _reviewed(book, Outcome(("shattered-butter",)), slips=blind)
    assert not found.enough_data and found.missing
    assert all(f.key == "probe-fault" for f in found.named)
    assert any("Cannot tell" in sentence for sentence in found.missing)


def test_a_symptom_the_log_cannot_explain_is_left_unexplained(book):
    found = _reviewed(book, Outcome(("hollow",)))
    assert found.named == () and "shows nothing that explains" in found.verdict
    assert "pieces rolled too tightly" in found.rivals


def test_unknown_symptoms_are_refused_by_name(book):
    with pytest.raises(LogbookError, match="'burnt' is no symptom"):
        _reviewed(book, Outcome(("burnt",)))


def test_account_integrates_what_lies_outside(book):
    """A straight ramp, 12 to 20 °C in 20 min, window to 17 °C: 3 °C over 7.5 min, a triangle of 11.25 °C min."""
    plan = support.small_plan()
    day = support.Day(plan, slips={3: {"lasts_s": 1200, "start_c": 20.0, "end_c": 20.0}})
    loaded = book.load(day.collect(book))
    samples = loaded.samples
    from_s = next(r.at_s for r in loaded.records if r.type == 3 and r.body[0] == 3)
    inside = (samples.at_s >= from_s) & (samples.at_s < from_s + 1200)
    samples.probe_c[inside] = 12.0 + 8.0 * (samples.at_s[inside] - from_s) / 1200
    step = account(loaded).step(3)
    assert abs(step.probe.warm_degmin - 11.25) < 0.15 and step.probe.cold_degmin == 0.0
    assert abs(step.probe.rate_c_min - 0.4) < 0.01
    assert abs(step.probe.warm_s - 450) < 10


def test_the_needle_is_where_the_timer_says(book):
    """Of the open steps that ask for the probe, the one begun last has it: a rest running beside a fold has none."""
    plan = support.small_plan()
    plan.steps[4].after = (3,)  # fold 2 no longer waits for rest 1, so both may be open
    day = support.Day(plan)
    loaded = book.load(day.collect(book))
    records = list(loaded.records)
    rest_begins = next(r.at_s for r in records if r.type == 3 and r.body[:3] == (4, 0, 1))
    records = tuple(r for r in records if not (r.type == 3 and r.body[0] == 4 and r.body[2] == 2))
    open_rest = account(type(loaded)(**{**loaded.__dict__, "records": records}))
    rest = open_rest.step(4)
    at_s, _c = open_rest.readings(rest)
    fold_begins = next(r.at_s for r in records if r.type == 3 and r.body[:3] == (5, 0, 1))
    fold_ends = next(r.at_s for r in records if r.type == 3 and r.body[:3] == (5, 1, 2))
    assert at_s.min() >= rest_begins
    assert not ((at_s >= fold_begins) & (at_s < fold_ends)).any()


def test_dose_is_the_timers_own():
    """Against shared_schedule.ferment: the same weight at every tenth of a degree (same source, other code)."""
    t = np.arange(-2.0, 50.0, 0.1)
    ours = cardinal(t, 2.8, 36.0, 46.0)
    for c, value in zip(t, ours, strict=True):
        assert abs(ferment.gamma(round(c * 100), 280, 3600, 4600) - value) < 2e-3
    assert cardinal(np.array([36.0]), 2.8, 36.0, 46.0)[0] == pytest.approx(1.0)


def test_every_number_and_cause_of_the_table_is_used():
    """The table and its numbers fit each other: no orphan in either, every cause sourced, every change one sentence."""
    n = numbers.builtin()
    with_evidence = {c.key for c in knowledge.CAUSES if c.evidence}
    assert set(n.prior) == with_evidence
    assert set(n.symptom) == set(knowledge.SYMPTOMS) == set(knowledge.UNSEEN)
    for row in n.symptom.values():
        assert set(row) - {"otherwise"} <= with_evidence
    assert set(n.evidence) <= with_evidence
    assert all(c.source and c.change for c in knowledge.CAUSES)
    assert {u for row in knowledge.UNSEEN.values() for u in row} <= set(knowledge.BY_KEY) - with_evidence
    assert len(knowledge.table()) > 40


def test_the_cooks_own_numbers_count_and_are_checked(book, tmp_path):
    own = tmp_path / "findings.toml"
    own.write_text("[prior]\nslow-fold = 0.0001\n[limits]\nnamed = 0.9\n")
    day = support.Day(support.small_plan(), slips={5: {"lasts_s": 1000, "end_c": 17.5}})
    batch = book.load(day.collect(book))
    usual = {f.key: f.probability for f in review(batch).all}
    mine = {f.key: f.probability for f in review(batch, numbers=numbers.load(own)).all}
    assert mine["slow-fold"] < usual["slow-fold"] / 50 and mine["short-rest"] == usual["short-rest"]
    for text, words in (
        ("[prior]\nslow-fold = 2\n", "prior.slow-fold must be"), ("[levels]\nhuge = 3\n", "is no number"),
        ("[prior\n", "cannot be read"), ("[evidence.slow-fold]\ntimes_planned = [1, 2]\n", "or three"),
    ):  # fmt: skip
        own.write_text(text)
        with pytest.raises(LogbookError, match=words):
            numbers.load(own)


def test_compare_lists_all_and_only_the_changed_inputs(book):
    """20 pairs of batch files, each with a known random edit (practice need 18)."""
    rng = np.random.default_rng(8)
    base = {"dough_temperature": "22 °C", "trim": "12 %", "butter.profile": "roll-in-84",
            "butter.roll_in": "28 % of dough", "folds.rest": "60 min", "kitchen.room": "22 °C",
            "kitchen.humidity": "55 %"}  # fmt: skip

    def text(values):
        top = [f'{k} = "{v}"' for k, v in values.items() if "." not in k]
        for table in ("butter", "folds", "kitchen"):
            top.append(f"[{table}]")
            top += [f'{k.split(".")[1]} = "{v}"' for k, v in values.items() if k.startswith(table + ".")]
        return "\n".join(top)

    for pair in range(20):
        changed = dict(base)
        keys = [k for k in base if rng.random() < 0.3]
        for key in keys:
            changed[key] = f"{rng.integers(10, 99)} %"
        batches = []
        for n, values in enumerate((base, changed)):
            day = support.Day(support.small_plan(made_at_s=support.BEGIN + pair * 10**5 + n * 50_000), until=2)
            batches.append(book.load(day.collect(book, batch_text=f'name = "x{n}"\n' + text(values))))
        found = compare(batches)
        assert found.source == "batch file"
        assert sorted(c.what for c in found.inputs) == sorted(keys)


_FILE = """name = "a"
ready = "Sunday 08:30"
dough_temperature = "22 °C"
[kitchen]
room = "22 °C"
[kitchen.bench]
length = "120 cm"
[kitchen.fridge]
temperature = "4 °C"
"""


@pytest.mark.parametrize("edits, plan, wanted", [
    ([("Sunday 08:30", "Saturday 8:30"), ('"a"', '"b"')], {}, []),  # another day and name, same hour
    ([("Sunday 08:30", "Sunday 10:00")], {}, ["ready (hour)"]),
    ([("22 °C", "71.6 °F"), ("120 cm", "1.2 m")], {}, []),  # the same in other units
    ([('room = "22 °C"', 'room = "24 °C"')], {"room_cdeg": 2400}, ["kitchen.room"]),
    ([], {"fridge_cdeg": 910, "film_fridge_mw": 5500}, ["learned: chilling in the fridge (W/m²K)",
                                                         "learned: fridge (°C)"]),
    ([('"4 °C"', '"7 °C"')], {"fridge_cdeg": 700}, ["kitchen.fridge.temperature"]),  # the file says it: not learned
])  # fmt: skip
def test_compare_knows_hours_units_and_what_was_learned(book, edits, plan, wanted):
    text = _FILE
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    batches = []
    for n, (words, values) in enumerate(((_FILE, {}), (text, plan))):
        day = support.Day(support.small_plan(made_at_s=support.BEGIN + n * 50_000, **values), until=2)
        batches.append(book.load(day.collect(book, batch_text=words)))
    assert sorted(c.what for c in compare(batches).inputs) == wanted


def test_compare_falls_back_on_the_plans_and_shows_behaviour(book):
    one = support.Day(support.small_plan()).collect(book)
    other = support.small_plan(made_at_s=support.BEGIN + 10**6, butter_high_cdeg=1800)
    two = support.Day(other, slips={7: {"lasts_s": 1500, "end_c": 21}}).collect(book)
    found = compare([book.load(one), book.load(two)])
    assert [c.what for c in found.inputs] == ["butter_high_cdeg"] and found.source == "plan"
    behaviour = {c.what: c.values for c in found.behaviour}
    assert behaviour["fold 3 (3-fold): lasted (s)"] == (480.0, 1500.0)
    assert not any(what.startswith("fold 1") for what in behaviour)
    with pytest.raises(LogbookError, match="needs two"):
        compare([book.load(one)])


def test_what_stands_out_comes_first_in_a_cooks_words(book):
    """Of all that differs the fold that took 25 minutes leads, once a step, and its seconds are said as minutes."""
    one = support.Day(support.small_plan()).collect(book)
    late = support.small_plan(made_at_s=support.BEGIN + 10**6)
    two = support.Day(late, slips={7: {"lasts_s": 1500, "end_c": 21}}).collect(book)
    found = compare([book.load(one), book.load(two)])
    assert standing_out(found.behaviour)[0].what.startswith("fold 3 (3-fold): ")
    lasted = next(change for change in found.behaviour if change.what == "fold 3 (3-fold): lasted (s)")
    assert lasted.row() == ("fold 3 (3-fold): lasted", "8 min", "25 min")
    steps = [change.what.rsplit(": ", 1)[0] for change in standing_out(found.behaviour)]
    assert len(steps) == len(set(steps)) <= 5
    assert Change("fold 1 (3-fold): warmed (°C/min)", (-0.4, None)).row()[1:] == ("\N{MINUS SIGN}0.4", "--")
    # A rest lies in the fridge: what the bench was meanwhile is no difference.
    assert not [c for c in found.behaviour if "Rest" in c.what and "bench" in c.what]



def test_rivals_are_those_a_baker_would_name():
    """A cool oven leaves pieces pale, never dark, and too little yeast makes nothing sour."""
    assert "cool-oven" in knowledge.UNSEEN["pale"] and knowledge.UNSEEN["dark"] == ("hot-oven",)
    assert "weak-yeast" in knowledge.UNSEEN["dense"] and knowledge.UNSEEN["sour"] == ("much-yeast",)
    assert {key for keys in knowledge.UNSEEN.values() for key in keys} <= set(knowledge.BY_KEY)


def test_the_last_good_batch(book):
    ids = [support.Day(support.small_plan(made_at_s=support.BEGIN + n * 10**5)).collect(book) for n in range(4)]
    book.set_outcome(ids[0], Outcome((), 5))
    book.set_outcome(ids[1], Outcome(("leak",), 4))
    assert last_good(book, ids[3]) == ids[0] and last_good(book, ids[0]) is None
    assert math.isnan(account(book.load(ids[0])).step(1).dose_s)


def test_the_printed_table_is_current():
    """FINDINGS.md is what the code says. After a change: TOURIER_REGENERATE=1 pytest tests/logbook -k printed."""
    import os
    from pathlib import Path

    import findings_doc

    file = Path(knowledge.__file__).with_name("FINDINGS.md")
    if os.environ.get("TOURIER_REGENERATE"):
        file.write_text(findings_doc.markdown(), encoding="utf-8")
    assert file.read_text(encoding="utf-8") == findings_doc.markdown()
