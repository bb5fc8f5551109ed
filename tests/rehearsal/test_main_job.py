"""The main job on the real firmware: plan, send, two days, a warning ahead, log, and the fold that went wrong named."""

from __future__ import annotations

import json

import pytest
from rehearsal_support import play
from tourier.cli import main
from tourier.logbook.reports.json import review_dict

from shared_schedule import day as D
from shared_schedule import history, samples
from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan


@pytest.fixture(scope="module")
def records(rehearsed):
    done, _ = rehearsed
    return list(J.read((done.kept / "journal.bin").read_bytes()))


def test_the_timer_ran_the_plan_that_was_made(rehearsed, records):
    done, _ = rehearsed
    sent = (done.kept / "plan.bin").read_bytes()
    assert encode_plan(done.design.plan) == sent
    plans = [record for record in records if record.type == J.PLAN]
    assert [record.body[0] for record in plans] == [P.plan_id(sent)]


def test_every_step_was_done_and_the_day_finished(rehearsed, records):
    done, _ = rehearsed
    state = history.replay(done.design.plan, records)
    assert [D.STATE_WORDS[s] for s in state.steps] == ["done"] * len(done.design.plan.steps)
    assert sum(record.type == J.FINISHED for record in records) == 1


def test_it_warned_before_the_window_was_left_at_fold_three(rehearsed, records):
    done, _ = rehearsed
    third = {step.step_id for step in done.design.plan.steps if step.kind == P.FOLD and step.fold_n == 3}
    assert len(third) == 2
    said = {kind: {r.body[1]: r.at_s for r in records if r.type == J.ALARM and r.body[0] == kind and r.body[1] in third}
            for kind in (2, 3)}  # fmt: skip
    assert said[3], "no fold grew too warm: the scenario did not happen"
    for step_id, left_at_s in said[3].items():
        assert said[2][step_id] <= left_at_s - 60, "warned less than a minute ahead"


def test_the_review_names_the_third_fold(rehearsed):
    done, _ = rehearsed
    found = done.review
    assert found.named[0].key == "slow-fold"
    assert found.named[0].fold_n == 3
    assert "fold 3" in found.change
    report = json.loads(json.dumps(review_dict(found)))
    assert report["schema"] == "tourier/review/1"
    assert report["findings"][0]["fold"] == 3
    assert "Consistent with" in report["verdict"]  # never more than that
    assert len(report["steps"]) == len(done.design.plan.steps)


def test_the_log_is_whole_and_small(rehearsed, records):
    done, _ = rehearsed
    reader = samples.read_blocks((done.kept / "samples.bin").read_bytes())
    pairs = list(reader)
    assert reader.unread == 0
    gaps = [b[0] - a[0] for a, b in zip(pairs, pairs[1:], strict=False)]
    # One second may be missing where the seconds that the program counts were put right by the clock chip.
    assert set(gaps) <= {5, 6} and gaps.count(6) <= 2
    assert done.log_bytes["samples"] / len(pairs) < 3.0
    assert [record.seq for record in records] == list(range(len(records)))
    assert done.log_bytes["journal"] == (done.kept / "journal.bin").stat().st_size < 20_000


def test_it_takes_less_than_a_minute_of_cpu_and_leaves_memory(rehearsed):
    done, used_s = rehearsed
    print(f"{used_s:.1f} s of CPU; wall: {done.wall_s}; heap least {done.counters['heap_low']} of 440 KB")
    assert done.counters["heap_low"] > 30_000
    assert done.counters["boots"] == 1
    assert used_s < 60


def test_commands_look_again_at_what_was_kept(rehearsed, capsys, tmp_path):
    done, _ = rehearsed
    book = str(done.kept / "logbook.sqlite")
    files = [tmp_path / name for name in ("r.html", "r.csv", "r.log")]
    options = ["--html", str(files[0]), "--csv", str(files[1]), "--log", str(files[2])]
    assert main(["review", "--logbook", book, "--json", *options]) == 0
    assert json.loads(capsys.readouterr().out)["findings"][0]["fold"] == 3
    assert all(file.stat().st_size > 1000 for file in files)
    assert main(["review", "--logbook", book]) == 0
    text = capsys.readouterr().out
    assert "\x1b" not in text and "fold 3" in text and "no food-safety instrument" in text
    assert main(["batches", "--logbook", book, "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["batches"]) == 1
    assert main(["logbook", "check", "--logbook", book]) == 0
    assert main(["link", "decode", str(done.kept / "send.link")]) == 0
    assert capsys.readouterr().out.count("\n") > 10


def test_a_good_day_accuses_nothing(tmp_path, record_property):
    record_property("interpreter", "micropython")
    done = play(tmp_path / "kept", "good")
    assert [finding.key for finding in done.review.named] == []


@pytest.mark.slow
@pytest.mark.parametrize(
    ("scenario", "cause", "fold"),
    [
        ("cold-lock-in", "butter-too-cold", None),
        ("short-rest", "short-rest", 2),
        ("hot-proof", "hot-proof", None),
        ("short-proof", "short-proof", None),
        ("long-proof", "long-proof", None),
        ("late-oven", "late-oven", None),
        ("probe-fault", "probe-fault", None),
    ],
)
def test_a_bad_day_is_named(tmp_path, scenario, cause, fold):
    done = play(tmp_path / "kept", scenario)
    assert done.review.named, done.review.verdict
    assert done.review.named[0].key == cause, [(f.key, f.probability) for f in done.review.all[:4]]
    if fold is not None:
        assert done.review.named[0].fold_n == fold
