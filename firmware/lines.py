"""The texts on the screen: short, plain, from the plan and the day. No state of their own."""

import glance as G

from shared_schedule import day as D
from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule import voice as V
from shared_schedule import window as W
from shared_schedule import words
from shared_schedule.units import NO_CDEG, div_round

_WIDTH = 22  # letters of small text that fit a line in any case


def wrapped(text):
    """Return the text in lines of at most _WIDTH letters, five at most."""
    found = []
    line = ""
    for part in text.split(" "):
        if line and len(line) + 1 + len(part) > _WIDTH:
            found.append(line)
            line = part
        else:
            line = line + " " + part if line else part
    found.append(line)
    return found[:5]


def clock_text(plan, at_s, offset_min=0):
    """Return '14:05' in the kitchen's local time."""
    minutes = (at_s + 60 * (P.offset_min_at(plan, at_s) if plan is not None else offset_min)) // 60
    return "%02d:%02d" % (minutes // 60 % 24, minutes % 60)


def day(ui, g, now_s):
    """Fill the glance with the step to look at."""
    app = ui.app
    bench = app.bench
    plan = bench.plan
    state = bench.state
    index = D.focus(plan, state, now_s)
    if index < 0 or state.mode == D.FINISHED:
        g.screen = G.S_DONE
        g.word, g.code = words.WORDS[words.DONE], words.DONE
        g.line = "the day is finished"
        g.labels = ("times", "", "more")
        return
    step = plan.steps[index]
    step_state = state.steps[index]
    g.screen = G.S_STEP
    g.step_id = step.step_id
    g.step_state = step_state
    g.place = step.place
    g.fold, g.fold_n, g.fold_of = step.fold, step.fold_n, step.fold_of
    g.code = words.KIND + step.kind
    g.word = words.KIND_WORDS[step.kind]
    if step_state == D.WAITING:
        _waiting(g, plan, state, index, now_s, app.clock.ok)
    else:
        _open(g, bench, index, now_s)
    _judged(g, bench, app)
    # Worked out once a minute and after every change: only one of them is shown, and each costs a few allocations.
    key = (index, bench.changes, now_s // 60, app.clock.ok, app.buttons.stuck, app.sampler.bench.fault)
    if key != ui.details_key:
        ui.details_key = key
        ui.details = _all_details(bench, index, now_s, app.clock.ok) + _troubles(app)
    g.line = ui.details[(now_s // 5) % len(ui.details)] if ui.details else ""


def _troubles(app):
    """Lines about what is wrong with the timer, for as long as it is."""
    found = [stuck(app)] if app.buttons.stuck else []
    if app.sampler.bench.fault:
        found.append("bench: no reading")
    return found


def stuck(app):
    """Return which button stays down, '' for none."""
    for mask, name in ((1, "left"), (2, "middle"), (4, "right")):
        if app.buttons.stuck & mask:
            return name + " button is stuck"
    return ""


def _all_details(bench, index, now_s, clock_ok):
    plan, state = bench.plan, bench.state
    step = plan.steps[index]
    details = []
    if state.steps[index] == D.WAITING:
        at = clock_text(plan, step.start_at_s) if clock_ok else "next:"
        details.append("%s %s" % (at, called(plan, step)))
    details.append(_what(plan, step))
    _details(details, bench, index, now_s, clock_ok)
    return [text for text in details if text]


def _waiting(g, plan, state, index, now_s, clock_ok):
    step = plan.steps[index]
    if D.can_start(plan, state, index) and (now_s >= step.start_at_s or not clock_ok):
        g.due = True
        g.labels = ("times", "start", "more")
    else:
        g.code = words.NEXT
        g.word = words.WORDS[words.NEXT]
        g.labels = ("times", "start" if D.can_start(plan, state, index) else "", "more")
        if clock_ok:
            g.left_kind = G.LEFT_STEP
            g.left_s = max(0, step.start_at_s - now_s)


def _open(g, bench, index, now_s):
    plan, state = bench.plan, bench.state
    step = plan.steps[index]
    g.labels = ("times", "done", "more")
    if D.runs_itself(step):
        left = D.left_s(plan, state, index, now_s)
        g.left_kind = G.LEFT_STEP
        g.left_s = G.UNKNOWN if left is None else max(0, left)
        whole = state.for_s[index]
        if left is not None and whole > 0:
            g.progress_pct = max(0, min(100, (whole - left) * 100 // whole))
        if state.steps[index] == D.READY:
            g.progress_pct = 100
            g.left_kind = G.LEFT_NOTHING
            g.due = True
            if not D.wants_done(plan, state, index):
                # Nothing to press while what comes next waits for another step as well.
                able = D.can_start(plan, state, D.next_after(state, index))
                g.due = able
                g.labels = ("times", "next" if able else "", "more")
            g.code = words.READY
            g.word = words.WORDS[words.READY]
        else:
            other = D.next_after(state, index)
            if other >= 0 and not D.wants_done(plan, state, index):
                g.labels = ("times", "next", "more")
        return
    g.hands = True
    if bench.window is not None:
        g.left_kind = G.LEFT_WINDOW
    elif bench.clock_ok:
        g.left_kind = G.LEFT_STEP
        g.left_s = max(0, state.started_at_s[index] + state.for_s[index] - now_s)


def _judged(g, bench, app):
    """Window, trend, and the words that overrule the step's own."""
    window = bench.window
    if window is None or bench._window_step != g.step_id:
        return
    g.low_cdeg, g.high_cdeg = window.low, window.high
    rate = bench.forecast.rate.cdeg_per_min()
    if rate is not None and abs(rate) >= 10:
        g.trend = 1 if rate > 0 else -1
    hands = g.step_state == D.RUNNING and not D.runs_itself(bench.plan.steps[bench.plan.index_of(g.step_id)])
    if not hands:
        return
    left = bench.left_s
    g.left_s = left if left < 5940 else 5940
    if window.state == W.TOO_WARM:
        g.code, g.urgent = words.CHILL_NOW, True
    elif window.state == W.TOO_COLD:
        g.code = words.WAIT
        g.left_kind = G.LEFT_NOTHING  # no minutes are left of a window not yet reached
    elif window.state == W.NO_READING or app.sampler.probe.fault:
        g.code = words.NO_READING
    else:
        return
    g.word = words.WORDS[g.code]


def called(plan, step):
    """Return a step's own name; where several p\u00e2tons could be meant, which and what: 'p\u00e2ton 2, rest 1'."""
    if not step.paton or not _several(plan):
        return step.name
    if step.fold_n and step.kind in (P.FOLD, P.REST):
        return "p\u00e2ton %d, %s %d" % (step.paton, "fold" if step.fold else "rest", step.fold_n)
    return "p\u00e2ton %d, %s" % (step.paton, words.KIND_WORDS[step.kind].lower())


def _several(plan):
    for step in plan.steps:
        if step.paton > 1:
            return True
    return False


def _what(plan, step):
    """What the hands do: fold, sheet, layers; first of all to which p\u00e2ton, when there are several."""
    if not step.fold:
        return called(plan, step)
    text = "%d-fold %d/%d" % (step.fold, step.fold_n, step.fold_of)
    if step.paton and _several(plan):
        return "p\u00e2ton %d, %s" % (step.paton, text)
    return text + " " + _spine(step) if step.spine else text


def _spine(step):
    return "spine " + ("left", "right", "near", "far")[step.spine - 1]


def _sheet(step, us):
    """The sheet to roll: '51x20 cm, 7.0 mm', or '20 1/4x8 in, 1/4 thick': a quarter of an inch will do."""
    if not step.length_um:
        return ""
    if us:
        size = "%sx%s in" % (V.inches(step.length_um, 4), V.inches(step.width_um, 4))
        return size + ", %s thick" % V.inches(step.thickness_um) if step.thickness_um else size
    size = "%dx%d cm" % (div_round(step.length_um, 10000), div_round(step.width_um, 10000))
    return size + ", %s mm" % V.degrees(step.thickness_um // 10) if step.thickness_um else size


def _details(details, bench, index, now_s, clock_ok):
    plan, state = bench.plan, bench.state
    step = plan.steps[index]
    details.append(_sheet(step, plan.units))
    if step.fold and step.quarter:
        details.append("quarter turn, then roll")
    if step.paton and _several(plan):
        if step.spine:
            details.append(_spine(step))
        if not step.fold:
            details.append(step.name)
    elif step.fold:
        details.append(step.name)
    if state.steps[index] != D.WAITING and clock_ok:
        for other in range(len(plan.steps)):
            if other != index and state.steps[other] == D.WAITING:
                at_s = plan.steps[other].start_at_s
                if bench.projection is not None:
                    at_s = bench.projection.start_at_s[other]
                details.append("%s %s" % (clock_text(plan, at_s), called(plan, plan.steps[other])))
                break
    if bench.projection is not None:
        if bench.projection.slip_s >= 300:
            details.append("late by %s" % V.span(bench.projection.slip_s // 60 * 60))
        elif bench.projection.slack_s >= 60:
            details.append("%s to spare" % V.span(bench.projection.slack_s // 60 * 60))
    count = 0
    for other in range(len(plan.steps)):
        if other != index and D.is_open(state.steps[other]) and D.runs_itself(plan.steps[other]):
            count += 1
    if count:
        details.append("%d more running: times" % count)


def rests(app):
    """Return lines for all that runs by itself, then what comes next."""
    bench = app.bench
    if bench.plan is None:
        return ("no plan held",)
    plan, state, now_s = bench.plan, bench.state, app.clock.now_s
    found = []
    for index in D.running_rests(plan, state):
        left = D.left_s(plan, state, index, now_s)
        if state.steps[index] == D.READY:
            text = "ready"
        elif left is None:
            text = "?"
        else:
            text = "%s %s" % V.countdown(max(0, left))
        found.append("%s %s" % (text, called(plan, plan.steps[index])))
    for index in range(len(plan.steps)):
        if state.steps[index] == D.WAITING and len(found) < 4:
            at_s = plan.steps[index].start_at_s
            if bench.projection is not None:
                at_s = bench.projection.start_at_s[index]
            found.append("%s %s" % (clock_text(plan, at_s), called(plan, plan.steps[index])))
    return found[:4]


def alarm(app, alarm_):
    """Return the line that says what the alarm is about."""
    bench = app.bench
    name = ""
    if bench.plan is not None and alarm_.step_id:
        index = bench.plan.index_of(alarm_.step_id)
        if index >= 0:
            name = called(bench.plan, bench.plan.steps[index])
    kind = alarm_.kind
    if kind == J.WINDOW_SOON:
        return "finish, then chill"
    if kind == J.WINDOW_LEFT_WARM:
        return "stop and chill it"
    if kind == J.WINDOW_LEFT_COLD:
        return "butter may crack: wait"
    if kind == J.SENSOR_FAULT:
        return "check the bench's plug" if alarm_.step_id else "check the probe's plug"
    if kind == J.PROOF_CAP:
        return "too warm for butter"
    if kind == J.HOLD_MAX:
        return name
    if kind == J.SLIP:
        late_s = bench.projection.slip_s if bench.projection is not None else 0
        return "late by %s" % V.span(late_s // 60 * 60) if late_s >= 60 else "running late"
    if kind == J.CLOCK_UNKNOWN:
        return "what time is it?"
    if kind == J.LOW_MEMORY:
        if alarm_.step_id == 0:
            return "memory is short"
        return "flash failed: see desk" if app.bench.store_failed else "log full: collect it"
    if kind == J.REST_DONE:
        return name
    return name


def air(app):
    """Return lines about room, bench and clock."""
    found = []
    us = app.bench.us
    if app.air is not None and app.air.cdeg != -32768:
        found.append("room %s\u00b0  %d %% rh" % (V.degrees(app.air.cdeg, us), app.air.rh_pct))
    else:
        found.append("room: no sensor")
    bench_cdeg = app.sampler.bench.cdeg
    found.append("bench " + (V.degrees(bench_cdeg, us) + "\u00b0" if bench_cdeg != NO_CDEG else "no reading"))
    if app.clock.ok:
        found.append("clock " + clock_text(app.bench.plan, app.clock.now_s, app.clock.offset_min))
    else:
        found.append("clock not set")
    return found
