"""What is said when something is wrong with the timer itself; nothing on the screen runs into anything else."""

from __future__ import annotations

from pathlib import Path

import gallery
import pytest
from firmware_support import on_device


@pytest.fixture(scope="module")
def drawn():
    return {shot.name: shot for shot in gallery.shots()[0]}


def row(shot, y):
    """Columns that are lit in a row of the picture."""
    return [x for x in range(128) if shot.memory[y // 8 * 128 + x] >> y % 8 & 1]


def test_the_bar_touches_neither_digits_nor_line(drawn):
    """A post that met the digits' last row made 12.0 read "12,Q"."""
    bars = 0
    for name, shot in drawn.items():
        if any(height == 24 and y == 20 for _x, y, _width, height, _text in shot.marks):
            if row(shot, 46):
                bars += 1
                assert not row(shot, 44) and not row(shot, 47), name
    assert bars > 10


def test_the_middle_dot_is_a_dot_and_a_long_name_keeps_its_paton(drawn):
    line = next(mark for mark in drawn["long-name"].marks if mark[1] == 48)
    assert line[4] == "Wrap and rest after. \u00b7 1"
    assert not any("?" in mark[4] for mark in drawn["long-name"].marks)
    code = "from canvas import Canvas\nc=Canvas(bytearray(1024))\nprint(list(c._glyphs('\u00b7\u00b0?')))"
    assert on_device(code).stdout.strip() == "[130, 127, 63]"


def test_the_bench_and_a_stuck_button_have_their_words(drawn):
    def said(name):
        return [mark[4] for mark in drawn[name].marks]

    assert {"NO READING", "check the bench's plug"} <= set(said("no-bench-alarm"))
    assert "bench: no reading" in said("no-bench")
    assert "middle button is stuck" in said("stuck-button")


_STAGE = f"""
import sys
sys.path.append({str(Path(gallery.__file__).parent)!r})
import buttons
from showcase import _Stage
from shared_schedule import day as D
"""


def test_minutes_left_do_not_rise_when_the_bench_is_not_read():
    code = _STAGE + """
stage = _Stage().at(5, probe=1190, bench=2700)
bench = stage.app.bench
left = [bench.left_s]
for n in range(1, 13):
    bench.on_sample(stage.now_s + 5 * n, 5, -32768, 1190, 1500)
    left.append(bench.left_s)
print(*left)
bench.window = None
bench._window_step = 0
bench.on_sample(stage.now_s + 70, 5, -32768, 1190, 1500)
print(bench.left_s)
"""  # fmt: skip
    done = on_device(code)
    assert done.returncode == 0, done.stderr
    falling, anew = done.stdout.splitlines()
    left = [int(word) for word in falling.split()]
    assert left[0] > 60 and [a - b for a, b in zip(left, left[1:], strict=False)] == [5] * 12
    assert int(anew) > left[-1] + 60  # reckoned with the cool room's air alone it would have won minutes


def test_the_watch_misses_the_bench_once_and_while_hands_work():
    code = _STAGE + """
from watch import Watch, BENCH_FAULT
from shared_schedule import journal as J
stage = _Stage().at(5, probe=1190)
app = stage.app
raised = []
app.raise_ = lambda kind, step_id, now_s: raised.append((kind, step_id))
watch = Watch(app)
app.sampler.channels = (app.sampler.bench, app.sampler.probe)
for channel in app.sampler.channels:
    channel.number = 0
def read(bench, times):
    del raised[:]
    stage.read(1190, bench)
    for n in range(times):
        watch.turn(stage.now_s + 5 * n)
    print([pair for pair in raised if pair[0] == J.SENSOR_FAULT])
read(1980, 4)
read(-32768, 1)
read(-32768, 6)
app.bench.window = None
watch.turn(stage.now_s)
for n in range(4):
    watch.turn(stage.now_s)
read(1980, 2)
"""  # fmt: skip
    done = on_device(code)
    assert done.returncode == 0, done.stderr
    assert done.stdout.split("\n")[:4] == ["[]", "[]", "[(5, 255)]", "[]"]


def test_holding_the_button_on_a_question_goes_all_the_way():
    """A start that first asks a tick of the step before: held, that step ends without it and the start is made."""
    code = _STAGE + """
stage = _Stage().at(9, D.READY, ago_s=7200, probe=2540)
app = stage.app
day, plan = app.bench.state, app.bench.plan
plan.steps[8].ticks = ("Does it wobble?",)
app.bench.store_failed = False
app.bench.write = lambda *a: True
app.ui.compose(stage.now_s)
app.ui._event((D.EV_START_STEP, 11, KIND), stage.now_s)
print(app.ui.question, day.steps[8], day.steps[10])
app.ui.press(buttons.MIDDLE, buttons.LONG, stage.now_s)
print(app.ui.message, day.steps[8], day.steps[10])
"""  # fmt: skip
    for kind in ("0", "D.DELIBERATE"):
        done = on_device(code.replace("KIND", kind))
        assert done.returncode == 0, done.stderr
        assert done.stdout.splitlines() == ["0 4 0", "() 2 1"]


def test_not_rested_long_enough_is_said_only_when_holding_helps():
    """Of two steps before this one, one has not rested and one has not begun: the second is what stands in the way."""
    code = _STAGE + """
stage = _Stage().at(8, D.WAITING, ago_s=60)
day, plan = stage.app.bench.state, stage.app.bench.plan
day.steps[5], day.started_at_s[5], day.ended_at_s[5] = D.RUNNING, stage.now_s - 60, 0
def why(arg=0):
    return D.REASONS[D.refusal(plan, day, (D.EV_START_STEP, 8, arg), stage.now_s)]
day.steps[6] = D.WAITING
print(why())
print(why(D.DELIBERATE))
day.steps[6] = D.DONE
print(why())
print(why(D.DELIBERATE))
"""  # fmt: skip
    done = on_device(code)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        "a step before it is not finished", "a step before it is not finished",
        "not rested long enough; hold the middle button to start anyway", "",
    ]  # fmt: skip
