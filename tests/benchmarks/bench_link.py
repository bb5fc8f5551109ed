"""The link's figures, as ratios within one run.

`pytest -m bench tests/benchmarks/bench_link.py -s` asserts and prints them. The device is a DeviceSession on a real
MicroPython interpreter; 115200 is the cable's line rate (8N1: 11,520 octets a second); the peer is mpremote's own
file copy (the calls behind `mpremote fs cp`) through the same cable to the same interpreter.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from mpremote.transport_serial import SerialTransport

sys.path.insert(0, str(Path(__file__).parent.parent / "link"))

from conftest import ROOT, Board, micropython  # noqa: E402
from tourier.device.client import Timer  # noqa: E402
from tourier.device.virtual.board import VirtualTimer  # noqa: E402

from shared_schedule import messages as m  # noqa: E402
from shared_schedule import plan as plans  # noqa: E402
from shared_schedule.framing import Deframer, encode  # noqa: E402
from shared_schedule.plan_writer import encode_plan  # noqa: E402
from shared_schedule.samples import SampleWriter, read_blocks  # noqa: E402

pytestmark = [pytest.mark.bench, pytest.mark.cpu(600)]

LINE = 11_520  # octets a second
PAIRS = 34_560  # two days at one pair in 5 s
HERE = Path(__file__).parent


def two_days_of_samples() -> bytes:
    """A kitchen's two days as the timer logs them: slow swings, sensor noise of some hundredths, a few moves."""
    chance = random.Random(20)
    writer = SampleWriter(5)
    out = bytearray()
    bench, probe, target = 2100.0, 400.0, 400.0
    for i in range(PAIRS):
        if i % 1500 == 0:
            target = chance.choice((-1500.0, 400.0, 400.0, 1400.0, 2000.0, 2600.0))
        bench += chance.gauss(0, 0.8)
        probe += (target - probe) / 120 + chance.gauss(0, 0.8)
        while not writer.add(1000 + 5 * i, (int(bench + chance.gauss(0, 2)), int(probe + chance.gauss(0, 2)))):
            out += bytes(writer.block())
    out += bytes(writer.block())
    return bytes(out)


class FileBoard(Board):
    """A Board whose plan and log are files."""

    def __init__(self, folder: Path, **cable) -> None:
        self.folder = folder
        super().__init__(script=HERE / "link_device.py", arguments=(str(folder),), **cable)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "samples.bin").write_bytes(two_days_of_samples())
    return tmp_path


def timed(work) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def best_of_three(work, enough_s: float = 0.0) -> float:
    """The shortest of three tries of work(0), work(1), work(2): another program's turn is no property of the link.

    Stops early when one took `enough_s` or less.
    """
    best = 1e9
    for turn in range(3):
        best = min(best, timed(lambda turn=turn: work(turn)))
        if best <= enough_s:
            break
    return best


def test_goodput_at_115200(folder):
    log = (folder / "samples.bin").read_bytes()
    assert sum(1 for _ in read_blocks(log)) == PAIRS
    one = FileBoard(folder, bits_per_s=115_200)
    rows = []
    try:
        heard = bytearray()

        def listen(way: str, _ms: int, octets: bytes) -> None:
            if way == "<":
                heard.extend(octets)

        with Timer.open(one.port, watchers=(listen,)) as timer:
            for size in (4000, 8000):

                def upload(turn: int, size=size) -> None:
                    data = random.Random(size + turn).randbytes(size)
                    timer.send_plan(data)
                    assert (folder / "plan.bin").read_bytes() == data

                rows.append((f"plan, {size} octets", size, best_of_three(upload, size / LINE / 0.91)))
            before = 0

            def download(_turn: int) -> None:
                nonlocal before
                before = one.bridge.octets[1]
                heard.clear()
                assert timer.collect(m.STREAM_SAMPLES) == log

            took_s = best_of_three(download, len(log) / LINE / 0.96)
            on_line = one.bridge.octets[1] - before
            rows.append((f"log, {len(log)} octets", len(log), took_s))
            assert timer.counters["resent"] == 0
    finally:
        one.close()
    # Frames of the log itself, as they were on the line; what telemetry took is no overhead of the log.
    frames = [(m.header(payload)[0], len(encode(payload))) for payload in Deframer(m.HOST_CAP).feed(bytes(heard))]
    telemetry = sum(size for number, size in frames if number == m.TELEMETRY)
    overhead = (on_line - telemetry) / len(log) - 1
    print()
    for what, size, took_s in rows:
        print(f"{what:24} {took_s:6.2f} s  goodput {size / took_s / LINE:6.1%} of the line")
    print(f"overhead on log data {overhead:.2%} (replies too; with telemetry {on_line / len(log) - 1:.2%})")
    print(f"{PAIRS} sample pairs: {len(log) / PAIRS:.2f} octets a pair, collected in {rows[2][2]:.1f} s")
    assert rows[0][1] / rows[0][2] / LINE >= 0.90
    assert rows[1][1] / rows[1][2] / LINE >= 0.90
    assert rows[2][1] / rows[2][2] / LINE >= 0.95
    assert overhead <= 0.02
    assert rows[2][2] <= 10


@pytest.mark.parametrize("bits_per_s", [None, 115_200])
def test_against_mpremote(folder, bits_per_s):
    """Same files, same interpreter, same cable; connecting is in both times. Best of three."""
    log = (folder / "samples.bin").read_bytes()
    log = log[: len(log) if bits_per_s is None else 16_384]
    (folder / "samples.bin").write_bytes(log)
    data = random.Random(1).randbytes(4000)

    def ours_up(port):
        with Timer.open(port) as timer:
            timer.send_plan(data)

    def ours_down(port):
        with Timer.open(port) as timer:
            assert timer.collect(m.STREAM_SAMPLES) == log

    def peer(port, work):
        transport = SerialTransport(port)
        transport.enter_raw_repl(soft_reset=False)
        result = work(transport)
        transport.exit_raw_repl()
        transport.close()
        return result

    def peer_up(port):
        peer(port, lambda transport: transport.fs_writefile(f"{folder}/peer.bin", data))
        assert (folder / "peer.bin").read_bytes() == data

    def peer_down(port):
        assert peer(port, lambda transport: transport.fs_readfile(f"{folder}/samples.bin")) == log

    times: dict[str, float] = {}
    for name, work in (("up", ours_up), ("down", ours_down)):
        for _ in range(3):
            one = FileBoard(folder, bits_per_s=bits_per_s)
            time.sleep(0.5)
            times[f"ours {name}"] = min(times.get(f"ours {name}", 1e9), timed(lambda w=work, o=one: w(o.port)))
            one.close()
    one = Board(program=False, bits_per_s=bits_per_s)
    time.sleep(0.5)
    for name, work in (("up", peer_up), ("down", peer_down)):
        for _ in range(3):
            times[f"peer {name}"] = min(times.get(f"peer {name}", 1e9), timed(lambda w=work: w(one.port)))
    one.close()
    print(f"\nline: {bits_per_s or 'raw pty'}; plan {len(data)} octets up, log {len(log)} octets down")
    for name, size in (("up", len(data)), ("down", len(log))):
        ours, theirs = times[f"ours {name}"], times[f"peer {name}"]
        print(
            f"{name:5} ours {ours * 1000:8.1f} ms ({size / ours / 1000:7.1f} KB/s)   "
            f"mpremote {theirs * 1000:8.1f} ms ({size / theirs / 1000:7.1f} KB/s)   ratio {theirs / ours:5.1f}"
        )
    if bits_per_s is None:
        assert times["peer up"] / times["ours up"] >= 3
        assert times["peer down"] / times["ours down"] >= 5


COST = """
import sys, time
sys.path.insert(0, ROOT); sys.path.insert(0, ROOT + "/tests/link")
from model_timer import ModelTimer
from shared_schedule import messages as m, link_host as lh
from shared_schedule.link import DeviceSession
from shared_schedule.framing import encode
def ns(): return time.time_ns()
def passes(n):
    t = ns()
    for i in range(n): pass
    return (ns() - t) / n
one = min(passes(20000) for _ in range(7))
timer = ModelTimer(); device = DeviceSession(timer); session = lh.quiet_session(3)
device.feed(lh.hello_frame(session), 0)
def drain():
    n = 0
    while device.pending():
        out = device.output(0); n += len(out); device.sent(len(out))
    return n
drain()
data = bytes([i * 89 >> 3 & 0xFF for i in range(8000)])
import binascii
best_in = best_out = 1e18
for turn in range(7):
    timer.plan = b""
    offer = {"plan_id": binascii.crc32(data), "length": 8000, "crc32": binascii.crc32(data)}
    device.feed(encode(m.encode(m.PLAN_OFFER, session, turn + 1, offer)), 0); drain()
    host = []
    for at in range(0, 7000, 1000):
        part = data[at:at + 1000]; mask = m.mask_for(part)
        values = {"plan_id": binascii.crc32(data), "offset": at, "mask": mask, "data": m.masked(part, mask)}
        host.append(encode(m.encode(m.PLAN_DATA, session, turn + 1, values)))
    stream = b"".join(host); blocks = [stream[i:i + 64] for i in range(0, len(stream), 64)]
    t = ns()
    for block in blocks: device.feed(block, 0)
    best_in = min(best_in, (ns() - t) / len(stream)); drain()
timer.streams[2] = bytes([0x78 + (i * 7 % 5) for i in range(60000)])
for turn in range(7):
    read = {"stream": 2, "fresh": 1, "length": 60000, "chunk": m.CHUNK_MAX}
    device.feed(encode(m.encode(m.LOG_READ, session, 100 + turn, read)), 0)
    t = ns(); n = drain(); best_out = min(best_out, (ns() - t) / n)
print(one, best_in, best_out)
"""


def test_cost_per_octet():
    """Interpreter work per octet, in passes of an empty `for` loop, which take 5.2 us on a Pico at full clock.

    The floors: reading by poll and read(1) 55 us an octet, by readinto of 64-octet blocks 8.3; writing 1.75 (570 KB/s).
    """
    counted = {}
    for path in ("in", "out"):
        counted[path] = opcodes(path)
    source = f"ROOT = {str(ROOT)!r}\n" + COST
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder) / "cost.py"
        script.write_text(source)
        done = subprocess.run([micropython(), "-X", "heapsize=2m", str(script)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    one, cost_in, cost_out = map(float, done.stdout.split())
    print(f"\nMicroPython here: for pass {one:.0f} ns, in {cost_in:.1f} ns an octet, out {cost_out:.1f} ns an octet")
    print(
        f"bytecodes an octet (counted on CPython): in {counted['in']:.2f} (64-octet blocks), out {counted['out']:.2f}"
    )
    # A for pass is three bytecodes. The C part is what replace, count and crc32 took on the emulated Pico: 254 to
    # 487 KB/s for a frame's decoding or encoding by replace, so about 3 us an octet.
    for path, floors in (("in", {"poll and read(1)": 55.0, "64-octet blocks": 8.3}), ("out", {"writing": 1.75})):
        pico = counted[path] * 5.2 / 3 + 3.0
        for name, floor in floors.items():
            print(
                f"estimated on a Pico, {path:3}: {pico:4.1f} us an octet over the floor of {floor} us ({name}): "
                f"{1000 / (pico + floor):.0f} KB/s of the floor's {1000 / floor:.0f}"
            )
    assert counted["in"] < 4 and counted["out"] < 4


def opcodes(path: str) -> float:
    """Bytecodes CPython executes in shared_schedule per octet on a path; independent of this machine's speed."""
    from model_timer import ModelTimer

    from shared_schedule import link_host as lh
    from shared_schedule.link import DeviceSession

    timer = ModelTimer()
    device = DeviceSession(timer)
    session = lh.quiet_session(3)
    device.feed(lh.hello_frame(session), 0)
    while device.pending():
        device.sent(len(device.output(0)))
    count = 0

    def trace(frame, event, _arg):
        nonlocal count
        if "shared_schedule" not in frame.f_code.co_filename:
            return None
        frame.f_trace_opcodes = True
        if event == "opcode":
            count += 1
        return trace

    data = two_days_of_samples()[:8000]
    octets = 0
    if path == "in":
        offer = {"plan_id": 9, "length": 8000, "crc32": 9}
        device.feed(encode(m.encode(m.PLAN_OFFER, session, 1, offer)), 0)
        stream = b""
        for at in range(0, 8000, 1000):
            part = data[at : at + 1000]
            values = {"plan_id": 9, "offset": at, "mask": 0, "data": part}
            stream += encode(m.encode(m.PLAN_DATA, session, 1, values))
        sys.settrace(trace)
        for at in range(0, len(stream), 64):
            device.feed(stream[at : at + 64], 0)
        sys.settrace(None)
        assert device._plans.pull.got == 8000 or device._plans.pull is None
        octets = len(stream)
    else:
        timer.streams[m.STREAM_SAMPLES] = data
        read = {"stream": 2, "fresh": 1, "length": 8000, "chunk": m.CHUNK_MAX}
        device.feed(encode(m.encode(m.LOG_READ, session, 1, read)), 0)
        sys.settrace(trace)
        while device.pending():
            out = device.output(0)
            octets += len(out)
            device.sent(len(out))
        sys.settrace(None)
        assert octets > 10_000
    return count / octets


def long_plan(name: str = "two days") -> bytes:
    """A plan of 48 steps with every field of a lamination step in use and long names."""
    steps = [
        plans.Step(
            step_id=i + 1,
            kind=1 + i % 21,
            name=f"third fold, block {i % 4}, roll",
            place=1 + i % 5,
            paton=i % 4,
            start_at_s=200_000_000 + 1800 * i,
            planned_for_s=1800,
            attended_s=900,
            min_s=1200,
            ideal_s=1800,
            max_s=7200,
            after=(i,) if i else (),
            low_cdeg=1200,
            high_cdeg=1600,
            fold=3,
            fold_n=1 + i % 3,
            fold_of=3,
            length_um=500_000,
            width_um=200_000,
            thickness_um=8000,
            layers=27,
        )
        for i in range(48)
    ]
    return encode_plan(plans.Plan(steps, name=name, made_at_s=200_000_000, ready_at_s=200_100_000))


def test_plan_is_small_on_the_wire():
    """48 steps: at most 4 KB."""
    data = long_plan()
    on_line = sum(len(encode(data[at : at + 1000])) + 14 for at in range(0, len(data), 1000))
    print(f"\n48 steps: {len(data)} octets, {len(data) / 48:.0f} a step, {on_line} on the line")
    assert len(data) <= 4096


def test_on_the_virtual_board(tmp_path):
    """The real firmware on the virtual board, and mpremote on the same board's own flash: plan up, plan down."""
    plans_of_three = [long_plan(f"two days {turn}") for turn in range(3)]  # the same one again would not be sent
    data = plans_of_three[-1]
    times = {}
    with VirtualTimer(tmp_path / "flash", start_at_s=200_000_000, speed=1) as one:
        time.sleep(2)
        got = []
        with Timer.open(one.port) as timer:
            times["ours up"] = best_of_three(lambda turn: timer.send_plan(plans_of_three[turn]))
            times["ours down"] = best_of_three(lambda _: got.append(timer.collect(m.STREAM_PLAN)))
        transport = SerialTransport(one.port)
        transport.enter_raw_repl(soft_reset=False)
        times["peer up"] = best_of_three(lambda _: transport.fs_writefile("/peer.bin", data))
        times["peer down"] = best_of_three(lambda _: got.append(transport.fs_readfile("/peer.bin")))
        assert got == [data] * 6
        transport.close()
    print(f"\nreal firmware on the virtual board, {len(data)} octets, connecting left out on both sides")
    for name in ("up", "down"):
        ours, theirs = times[f"ours {name}"], times[f"peer {name}"]
        print(f"{name:5} ours {ours * 1000:7.1f} ms   mpremote {theirs * 1000:7.1f} ms   ratio {theirs / ours:5.1f}")
    assert times["peer up"] / times["ours up"] >= 3
    assert times["peer down"] / times["ours down"] >= 5


def test_two_days_of_the_real_firmware_at_115200(tmp_path):
    """A day played by the real firmware, its samples collected over a 115200 line: the whole chain, flash included."""
    sys.path.insert(0, str(HERE.parent / "firmware"))
    from firmware_support import day, send, two_days

    plan = two_days()
    with day(tmp_path / "flash", plan, bridge_options={"bits_per_s": 115_200}) as one:
        one.run_for(20)
        send(one, plan)
        end = plan.ready_at_s + 3600
        while one.glance.screen != "done" and one.now_s < end:
            one.run_for(3600)
        with Timer.open(one.port) as timer:
            before = one.bridge.octets[1]
            got = []
            took_s = timed(lambda: got.append(timer.collect(m.STREAM_SAMPLES)))
            on_line = one.bridge.octets[1] - before
            counters = timer.device_counters()
    pairs = sum(1 for _ in read_blocks(got[0]))
    size = len(got[0])
    print(
        f"\nreal firmware: {pairs} pairs in {size} octets, collected in {took_s:.1f} s, "
        f"{size / took_s / LINE:.1%} of the line, {on_line / size - 1:.2%} overhead with telemetry; "
        f"worst turn of the loop {counters['loop_worst_ms']} ms"
    )
    assert pairs > 10_000
    assert took_s / pairs * PAIRS <= 10
    assert size / took_s / LINE >= 0.95
