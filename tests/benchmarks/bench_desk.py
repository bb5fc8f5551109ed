"""What the desk application may cost, as ratios within one run: first paint, frames over a million samples, idling."""

from __future__ import annotations

import asyncio
import fcntl
import os
import pty
import select
import statistics
import struct
import subprocess
import sys
import termios
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.bench

_BARE = """
from textual.app import App
from textual.widgets import Footer, Static
class Bare(App):
    def compose(self):
        yield Static("painted")
        yield Footer()
Bare().run()
"""


def _painted(code: str, mark: bytes, home) -> float:
    """Return seconds from starting a Python in a terminal of its own until `mark` stands on the screen."""
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    env = {**os.environ, "TOURIER_HOME": str(home), "TERM": "xterm-256color", "COLORTERM": "truecolor"}
    begun = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-c", code], stdin=slave, stdout=slave, stderr=slave, env=env)
    os.close(slave)
    seen = b""
    try:
        while mark not in seen:
            ready, _, _ = select.select([master], [], [], 20)
            assert ready, seen[-2000:]
            seen += os.read(master, 65536)
        return time.perf_counter() - begun
    finally:
        process.kill()
        process.wait()
        os.close(master)


def _wall(command: list[str], env: dict[str, str]) -> float:
    begun = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True, env=env)
    return time.perf_counter() - begun


def test_first_paint_within_one_and_a_half_times_a_bare_application(tmp_path):
    (tmp_path / "config").mkdir()
    (tmp_path / "config" / "desk.toml").write_text("welcomed = true\n")
    desk = "from tourier.desk.__main__ import run_desk; run_desk(end=exit)"
    pairs = [(_painted(_BARE, b"painted", tmp_path), _painted(desk, b"F1 Batch", tmp_path)) for _ in range(9)]
    bare_s, desk_s = (min(values) for values in zip(*pairs, strict=True))  # the least disturbed run of each
    print(f"\nfirst paint: bare {bare_s:.3f} s, desk {desk_s:.3f} s, {desk_s / bare_s:.2f} times")
    assert desk_s <= 1.5 * bare_s


def test_help_within_six_times_an_empty_python(tmp_path):
    env = {**os.environ, "TOURIER_HOME": str(tmp_path)}
    tourier = [str(Path(sys.executable).with_name("tourier")), "--help"]
    pairs = [(_wall([sys.executable, "-c", "pass"], env), _wall(tourier, env)) for _ in range(9)]
    empty_s, help_s = (min(values) for values in zip(*pairs, strict=True))
    print(f"\n--help: empty python {empty_s * 1000:.0f} ms, tourier {help_s * 1000:.0f} ms, "
          f"{help_s / empty_s:.1f} times")  # fmt: skip
    assert help_s <= 6 * empty_s


async def test_a_million_samples_a_frame():
    from textual.app import App
    from tourier.desk.themes import LIGHT
    from tourier.desk.widgets.plot import Plot
    from tourier.picture.decimate import columns
    from tourier.picture.raster import Band, Series

    count = 1_000_000
    at_s = np.arange(count, dtype=float)
    rng = np.random.default_rng(1)
    curve = 12 + 6 * np.sin(at_s / 9000) + rng.normal(0, 0.2, count)
    curve[123_456] = 60.0  # one spike

    class Bare(App):
        def __init__(self):
            super().__init__()
            self.register_theme(LIGHT)
            self.theme = LIGHT.name

        def compose(self):
            yield Plot(id="plot")

    app = Bare()
    async with app.run_test(size=(120, 40)) as pilot:
        plot = app.query_one("#plot", Plot)
        series = [Series("bench", at_s, curve - 3, dotted=True), Series("probe", at_s, curve)]
        bands = [Band(k * 20000.0, k * 20000.0 + 9000, 10, 17) for k in range(50)]
        begun = time.perf_counter()
        plot.set_data(series, bands)
        await pilot.pause()
        frames = [time.perf_counter() - begun]
        for step in range(40):
            begun = time.perf_counter()
            if step % 4 == 3:
                plot.zoom(0.6)
            elif step == 20:
                plot.view = plot.whole
            else:
                plot.pan(0.1)
            plot.render_lines(plot.region.reset_offset)
            frames.append(time.perf_counter() - begun)
            await pilot.pause()
        plot.view = plot.whole
        top = "".join(segment.text for segment in plot.render_line(1)) + "".join(s.text for s in plot.render_line(2))
        assert any(0x2800 < ord(char) < 0x2900 for char in top), "the spike is gone"
    # The samples' own memory, and what drawing needs on top; measured apart, since tracing slows every frame.
    tracemalloc.start()
    for first in range(0, count, 100_000):
        columns(at_s, curve, first, count, 230)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(f"\na million samples: worst frame {max(frames) * 1000:.0f} ms, median "
          f"{statistics.median(frames) * 1000:.0f} ms; memory: samples {3 * curve.nbytes / 1e6:.0f} MB, "
          f"drawing {peak / 1e3:.0f} kB")  # fmt: skip
    assert max(frames) <= 0.1


async def test_idle_cpu_of_a_connected_screen(tmp_path, monkeypatch):
    """1 Hz telemetry of a virtual timer that runs in another process; only this process is counted."""
    monkeypatch.setenv("TOURIER_HOME", str(tmp_path))
    (tmp_path / "config").mkdir()
    (tmp_path / "config" / "desk.toml").write_text("welcomed = true\n")
    from tourier.desk.app import Desk

    serve = subprocess.Popen(
        [sys.executable, "-c", "from tourier.cli import main; import sys; sys.exit(main())", "virtual", "--for", "60"],
        stdout=subprocess.PIPE, text=True, env={**os.environ, "TOURIER_HOME": str(tmp_path)},
    )  # fmt: skip
    try:
        port = serve.stdout.readline().strip()
        desk = Desk(port=port)
        async with desk.run_test(size=(120, 40)) as pilot:
            batch = desk.screen
            await pilot.press("f2")
            for _ in range(200):
                await pilot.pause(0.1)
                if desk.fleet.berth and desk.fleet.berth.sight:
                    break
            assert desk.fleet.berth.sight is not None, "never connected"
            for _ in range(300):  # the batch room plans its batch first
                await asyncio.sleep(0.1)
                if batch.timed is not None:
                    break
            await asyncio.sleep(3)
            looks = len(desk.fleet.berth.looks)
            cpu, wall = time.process_time(), time.perf_counter()
            await asyncio.sleep(20)
            cpu, wall = time.process_time() - cpu, time.perf_counter() - wall
            assert len(desk.fleet.berth.looks) - looks >= 15, "no telemetry was heard"
    finally:
        serve.terminate()
        serve.wait()
    print(f"\nidle, connected, 1 Hz: {cpu / wall * 100:.2f} % of one core")
    assert cpu / wall <= 0.02
