"""Power cut at flash operations of a scripted two-day run: the journal that comes back is judged against what was said.

The run is recorded once, operation by operation, with marks where the firmware knew something to be durable. Every
cut is then the image as it stood at that operation, untouched or torn. Method after littlefs's own power-loss runner
and SQLite's crash tests: legal states first, then every cut judged against them; each test asserts that cuts fired.

Short form by default; `TOURIER_SWEEP=full python -m pytest -m powercut tests/powercut` takes every operation.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
from pathlib import Path

import pytest
from firmware_support import collect, day, send, two_days
from tourier.device.files import firmware_dir, shared_dir
from tourier.device.virtual.board import find_micropython
from tourier.device.virtual.flash import BLOCK, BLOCKS, FlashOp, make_blank

from shared_schedule import history, samples
from shared_schedule import journal as J
from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan

pytestmark = pytest.mark.powercut
FULL = os.environ.get("TOURIER_SWEEP") == "full"
SHORT_CUTS = 120
LOST_AT_MOST_S = 30
ERASE = 1
PROGRAM = 2  # as the virtual board reports them


class Replayer:
    """An image that grows operation by operation, to stand at any instant between two of them, or within one."""

    def __init__(self, start: bytes | None = None) -> None:
        self.image = bytearray(start if start is not None else b"\xff" * (BLOCK * BLOCKS))

    def apply(self, op: FlashOp) -> None:
        self._write(self.image, op, len(op.data))

    def torn(self, op: FlashOp, share: float = 0.5) -> bytes:
        """The image when power goes within `op`: the first part of a page arrived, an erase had not begun."""
        image = bytearray(self.image)
        if op.kind == PROGRAM:
            self._write(image, op, int(len(op.data) * share))
        return bytes(image)

    @staticmethod
    def _write(image: bytearray, op: FlashOp, count: int) -> None:
        at = op.block * BLOCK + op.offset
        if op.kind == ERASE:
            image[at : at + BLOCK] = b"\xff" * BLOCK
        else:
            image[at : at + count] = op.data[:count]


class Recovery:
    """The device-side opener, one interpreter for all trials."""

    def __init__(self, image: Path) -> None:
        self.process = subprocess.Popen(
            [find_micropython(), "-X", "heapsize=16m", str(Path(__file__).with_name("recover_device.py")), str(image)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            env={"MICROPYPATH": f"{firmware_dir()}:{shared_dir()}"},
        )  # fmt: skip

    def trial(self, cut: int | None = None) -> dict:
        self.process.stdin.write("TRIAL\n" if cut is None else f"TRIAL {cut}\n")
        self.process.stdin.flush()
        line = self.process.stdout.readline()
        assert line, "the recovery crashed"
        return json.loads(line)

    def close(self) -> None:
        self.process.stdin.close()
        self.process.wait()


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    """(operations and marks in order, plan, whole journal, whole sample log) of one two-day run."""
    record: list = []
    plan = two_days()
    with day(tmp_path_factory.mktemp("record") / "flash", plan, seed=5, record=record) as timer:
        timer.run_for(20)
        send(timer, plan)
        end = plan.ready_at_s + 4 * 3600
        while timer.glance.screen != "done" and timer.now_s < end:
            timer.run_for(900)
        journal, log, _plan = collect(timer)
    return record, plan, journal, log


def _chosen(count: int) -> set[int]:
    if FULL or count <= SHORT_CUTS:
        return set(range(count))
    step = count / SHORT_CUTS
    dense = set(range(40))  # the making of the batch: the most different things in the shortest time
    return dense | {int(i * step) for i in range(SHORT_CUTS)}


def _torn(file, op: FlashOp) -> None:
    at = op.block * BLOCK + op.offset
    file.seek(at)
    file.write(op.data[: len(op.data) // 2] if op.kind == PROGRAM else b"\xff" * (BLOCK // 2))
    file.flush()


def _apply(file, op: FlashOp) -> None:
    file.seek(op.block * BLOCK + op.offset)
    file.write(op.data if op.kind == PROGRAM else b"\xff" * BLOCK)
    file.flush()


def test_no_acknowledged_transition_is_lost_at_any_flash_operation(recorded, tmp_path, record_property):
    record, plan, journal, log = recorded
    whole = list(J.read(journal))
    assert len(whole) > 100
    ops = [at for at, entry in enumerate(record) if isinstance(entry, FlashOp)]
    assert len(ops) > 1000
    chosen = _chosen(len(ops))
    image = make_blank(tmp_path / "image")
    recovery = Recovery(image)
    durable, sampled, plan_durable = -1, 0, False
    cuts = torn = erases = 0
    number = -1
    all_pairs = {pair[0] for pair in samples.read_blocks(log)}
    with open(image, "r+b") as file:
        for entry in record:
            if not isinstance(entry, FlashOp):
                kind, value = entry.split()
                if kind == "durable":
                    durable = int(value)
                    plan_durable = True
                elif kind == "samples":
                    sampled = int(value)
                continue
            number += 1
            if number in chosen:
                for tear in (False, True):
                    if tear:
                        _torn(file, entry)
                        torn += 1
                        erases += entry.kind == ERASE
                    answer = recovery.trial()
                    cuts += 1
                    _judge(answer, number, tear, plan, whole, durable, sampled, plan_durable, all_pairs)
            _apply(file, entry)
    recovery.close()
    assert cuts >= 2 * min(len(ops), SHORT_CUTS) and torn >= SHORT_CUTS and erases > 0
    record_property("cuts", cuts)
    print(f"{cuts} cuts over {len(ops)} flash operations ({torn} torn, {erases} within an erase): nothing lost")


def _judge(answer, number, tear, plan, whole, durable, sampled, plan_durable, all_pairs):
    where = f"operation {number}{' torn' if tear else ''}"
    if number < 40 and "error" in answer:
        assert not plan_durable, where  # the file system itself is still being made
        return
    assert "error" not in answer, (where, answer)
    records = list(J.read(bytes.fromhex(answer["journal"])))
    if plan_durable:
        assert answer["plan_id"] == P.plan_id(encode_plan(plan)), where
        assert answer["plan"] == len(encode_plan(plan)), where
    # Legal states: what was acknowledged, and at most the one append that was under way.
    assert records == whole[: len(records)], where
    assert len(records) > durable, where
    more = records[durable + 1 :]
    assert len({record.at_s for record in more}) <= 1, where
    if more:
        assert history.replay(plan, records).steps == history.replay(plan, whole[: len(records)]).steps
    lost = [what for what, _octets in answer["losses"]]
    assert lost == [], (where, lost)
    reader = samples.read_blocks(bytes.fromhex(answer["sample_hex"]))
    pairs = [pair[0] for pair in reader]
    assert reader.unread == 0, where
    assert pairs == sorted(set(pairs)) and all_pairs.issuperset(pairs), where
    if sampled:
        assert pairs[-1] >= sampled, where


def test_a_second_cut_while_recovering_loses_nothing_either(recorded, tmp_path):
    record, plan, journal, _log = recorded
    whole = list(J.read(journal))
    ops = [entry for entry in record if isinstance(entry, FlashOp)]
    stops = range(80, len(ops), max(1, len(ops) // (400 if FULL else 25)))
    image = make_blank(tmp_path / "image")
    recovery = Recovery(image)
    fired = 0
    at = 0
    with open(image, "r+b") as file:
        for stop in stops:
            while at < stop:
                _apply(file, ops[at])
                at += 1
            _torn(file, ops[at])
            for cut in range(0, 8 if FULL else 4):
                answer = recovery.trial(cut)
                assert "error" not in answer, (stop, cut, answer)
                records = list(J.read(bytes.fromhex(answer["journal"])))
                assert records == whole[: len(records)] and records, (stop, cut)
                fired += answer["ops"] > cut
    recovery.close()
    assert fired >= 2 * len(stops) > 40


def test_lost_temperatures_are_at_most_half_a_minute(recorded):
    """Samples are on flash every 30 s: the longest gap between a sample and the mark that it is durable."""
    record, _plan, _journal, _log = recorded
    marks = [int(entry.split()[1]) for entry in record if isinstance(entry, str) and entry.startswith("samples")]
    gaps = [b - a for a, b in zip(marks, marks[1:], strict=False)]
    assert len(gaps) > 1000
    assert max(gaps) <= LOST_AT_MOST_S


def test_the_firmware_itself_boots_at_the_right_step(recorded, tmp_path):
    """Whole boots at a few cuts: the step on the screen is the step in the journal."""
    record, plan, _journal, _log = recorded
    ops = [entry for entry in record if isinstance(entry, FlashOp)]
    replayer = Replayer()
    stops = [int(len(ops) * share) for share in ((i + 1) / 41 for i in range(40))][:: 1 if FULL else 4]
    at = booted = 0
    for stop in stops:
        while at < stop:
            replayer.apply(ops[at])
            at += 1
        flash = tmp_path / f"flash{stop}"
        flash.write_bytes(replayer.torn(ops[at]))
        with day(flash, plan, seed=5) as timer:
            timer.cook = None
            timer.run_for(6)
            assert timer.glance.screen in ("step", "done", "no plan"), timer.glance
            journal = collect(timer)[0]
            state = history.replay(plan, J.read(journal))
            index = plan.index_of(timer.glance.step_id)
            if index >= 0:
                assert timer.glance.step_state == state.steps[index]
            booted += 1
    assert booted == len(stops) >= 10


def test_wear_is_not_estimated_too_low(recorded):
    """A Pico's own file system does not count erases; the firmware reckons one for each WRITES_PER_ERASE writes."""
    record, _plan, _journal, _log = recorded
    erases = sum(isinstance(entry, FlashOp) and entry.kind == ERASE for entry in record)
    writes = sum(isinstance(entry, str) for entry in record)  # a few have no mark: the safe side
    text = (firmware_dir() / "store.py").read_text(encoding="utf-8")
    per_erase = int(re.search(r"^WRITES_PER_ERASE = (\d+)", text, re.M).group(1))
    print(f"{erases} erases, {writes} marked writes")
    assert erases > 100 and writes / erases >= per_erase
