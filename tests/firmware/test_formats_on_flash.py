"""What older and newer firmware left on flash: a running day goes on, settings stay, nothing of another's is lost.

`tests/vectors/formats` holds flash images and files as the firmware of the day wrote them (*regression*).
"""

from __future__ import annotations

import json
import lzma
import shutil
from pathlib import Path

import pytest
from firmware_support import collect, on_device, send, tap, two_days
from tourier.device.client import Timer
from tourier.device.errors import Refused
from tourier.device.files import firmware_dir, shared_dir
from tourier.device.virtual import interpreter
from tourier.device.virtual.board import VirtualTimer

from shared_schedule import day as D
from shared_schedule import journal as J
from shared_schedule import messages as m
from shared_schedule import plan as P
from shared_schedule.plan_writer import encode_plan

STORED = Path(__file__).resolve().parents[1] / "vectors" / "formats"
PLAN = two_days()
START = PLAN.steps[0].start_at_s


def newer(tmp_path: Path, monkeypatch, plan_format: int, journal_version: int) -> None:
    """Let virtual timers run a firmware whose formats have other numbers."""
    monkeypatch.undo()
    firmware, shared = tmp_path / "newer" / "firmware", tmp_path / "newer" / "shared"
    shutil.rmtree(tmp_path / "newer", ignore_errors=True)
    shutil.copytree(firmware_dir(), firmware)
    shutil.copytree(shared_dir() / "shared_schedule", shared / "shared_schedule")
    for name, old, new in (
        ("plan", f"\nFORMAT = {P.FORMAT} ", f"\nFORMAT = {plan_format} "),
        ("journal", f"\nVERSION = {J.VERSION} ", f"\nVERSION = {journal_version} "),
    ):
        path = shared / "shared_schedule" / f"{name}.py"
        text = path.read_text()
        assert text.count(old) == 1
        path.write_text(text.replace(old, new))
    monkeypatch.setattr(interpreter, "firmware_dir", lambda: firmware)
    monkeypatch.setattr(interpreter, "shared_dir", lambda: shared)


def formats(journal: bytes) -> list[int]:
    return [record.body[0] for record in J.read(journal) if record.type == J.FORMAT]


def test_a_day_begun_under_formats_1_goes_on(tmp_path, record_property) -> None:
    record_property("interpreter", "micropython")
    then = json.loads((STORED / "1" / "running_day.json").read_text())
    (tmp_path / "flash").write_bytes(lzma.decompress((STORED / "1" / "running_day.img.xz").read_bytes()))
    with VirtualTimer(tmp_path / "flash", start_at_s=then["cut_at_s"] + 60) as timer:
        timer.run_for(10)
        with Timer.open(timer.port) as link:
            state = link.state()
            assert state.plan_id == then["plan_id"] and state.running == D.DAY_RUNNING
            past = state.past
            told = zip(past.steps, past.started_at_s, past.ended_at_s, strict=True)
            assert [list(row) for row in told] == then["steps"]
            index = next(i for i, s in enumerate(past.steps) if s == D.RUNNING and i > 7)
            held = P.decode(link.collect(m.STREAM_PLAN))
            link.command(m.ACTION_STEP_DONE, held.steps[index].step_id)
            assert link.state().past.steps[index] == D.DONE
        journal, samples, _plan = collect(timer)
        timer.run_for(60)
        assert len(collect(timer)[1]) > len(samples) >= then["samples_octets"]
    records = list(J.read(journal))
    assert P.plan_id(encode_plan(held)) == then["plan_id"]
    assert len(journal) > then["journal_octets"] and records[0].type == J.PLAN
    after = [r for r in records if r.at_s > then["cut_at_s"]]
    assert [r.type for r in after[:2]] == [J.FORMAT, J.BOOT] and after[0].seq == records[-len(after) - 1].seq + 1
    assert formats(journal) == [J.VERSION]


def test_a_day_survives_a_firmware_with_formats_one_higher_and_the_way_back(tmp_path, monkeypatch, record_property):
    record_property("interpreter", "micropython")
    flash = tmp_path / "flash"
    plan = two_days()
    plan.steps[0].ticks = ()
    plan.units = P.UNITS_US
    plan.extra = ((77, b"one field richer"),)  # a companion that is newer still
    data = encode_plan(plan)
    with VirtualTimer(flash, start_at_s=START - 100) as timer:
        timer.run_for(10)
        send(timer, plan)
        timer.run_until(START + 6)
        tap(timer, "middle")
        tap(timer, "middle")
        assert timer.glance.step_state == D.RUNNING
        timer.run_for(60)
        before = collect(timer)
    assert before[2] == data and data[3] == P.FORMAT
    newer(tmp_path, monkeypatch, P.FORMAT + 1, J.VERSION + 1)
    with VirtualTimer(flash, start_at_s=START + 120) as timer:
        timer.run_for(10)
        with Timer.open(timer.port) as link:
            state = link.state()
            assert state.plan_id == P.plan_id(data) and state.past.steps[0] == D.RUNNING
            link.command(m.ACTION_STEP_DONE, plan.steps[0].step_id)
            later, _samples, held = (link.collect(stream) for stream in (1, 2, 3))
        assert held == data and later.startswith(before[0])
    with pytest.raises(ValueError, match="format"):
        list(J.read(later))  # the companion says that it is the older side
    # Back to today's firmware: it cannot know what the newer one's journal says, obeys nothing of it, loses nothing.
    monkeypatch.undo()
    with VirtualTimer(flash, start_at_s=START + 200) as timer:
        timer.run_for(10)
        with Timer.open(timer.port) as link:
            assert link.hello().plan_id == 0 and link.hello().running == D.IDLE
    newer(tmp_path, monkeypatch, P.FORMAT + 1, J.VERSION + 1)
    with VirtualTimer(flash, start_at_s=START + 300) as timer:
        timer.run_for(10)
        assert collect(timer)[0].startswith(later)
        with Timer.open(timer.port) as link:
            assert link.state().past.steps[0] == D.DONE


def test_a_plan_of_a_format_not_known_is_refused_in_a_sentence(tmp_path, record_property) -> None:
    record_property("interpreter", "micropython")
    data = bytearray(encode_plan(PLAN))
    data[3] = P.FORMAT + 1
    with VirtualTimer(tmp_path / "flash", start_at_s=START - 100) as timer:
        timer.run_for(10)
        with Timer.open(timer.port) as link, pytest.raises(Refused, match="update the older side"):
            link.send_plan(bytes(data))


def test_settings_and_calibration_of_format_1_are_taken(record_property) -> None:
    """Under the device's interpreter, with the device's own reader."""
    record_property("interpreter", "micropython")
    for name, table in (("settings", "SETTINGS"), ("calibration", "CALIBRATION")):
        sealed = (STORED / "1" / f"{name}.bin").read_bytes()
        wanted = json.loads((STORED / "1" / f"{name}.json").read_text())
        program = f"""
import config, files
values = config.Values(config.{table})
assert values.unpack(files.unseal({sealed!r}))
for name, value in sorted({wanted!r}.items()):
    assert values[name] == value, name
assert files.unseal({sealed[:2] + bytes([sealed[2] + 1]) + sealed[3:]!r}) is None
print("taken")
"""
        done = on_device(program)
        assert done.stdout.strip() == "taken", done.stderr
