"""The Timer room against virtual bench timers: the real firmware on a real interpreter behind a real pseudo-terminal.

Every action of the room is done by key or click; what it did is read back from the timer's own flash or port.
"""

from __future__ import annotations

import asyncio
import contextlib
import zipfile
from types import SimpleNamespace

import pytest
from installed import verify
from textual.widgets import Button, DataTable, Input, Static
from tourier.device.client import Timer
from tourier.device.install import at_prompt
from tourier.device.virtual.board import VirtualTimer
from tourier.device.virtual.kitchen import KitchenConfig, PlayedKitchen
from tourier.device.virtual.ntc import code16

T0 = 226_000_000  # project epoch, in 2027


class Plugged:
    """The ports of this machine in the eyes of the desk application: virtual timers plugged in and pulled out."""

    def __init__(self) -> None:
        self.ports: list[str] = []

    def __call__(self) -> list[SimpleNamespace]:
        return [SimpleNamespace(port=port, serial_number="", description="") for port in self.ports]


@pytest.fixture
def plugged(monkeypatch, home):
    found = Plugged()
    monkeypatch.setattr("tourier.device.ports.candidates", found)
    monkeypatch.setattr("tourier.desk.data.fleet._SCAN_EVERY_S", 0.2)
    # The timer's ten seconds may pass in a tenth of ours, and it stops talking to a host it has not heard for 15 s.
    monkeypatch.setattr("shared_schedule.link_rules.PING_MS", 50)
    monkeypatch.setattr("tourier.desk.data.follow._LOOK_EVERY_S", 0.0)  # every look of those ten seconds
    return found


@pytest.fixture
def board(tmp_path):
    """Return a function that switches a virtual timer on in a kitchen of its own."""
    with contextlib.ExitStack() as stack:

        def switch_on(seed: int, **kwargs) -> VirtualTimer:
            kitchen = PlayedKitchen(KitchenConfig(room_c=21.0), seed)
            return stack.enter_context(
                VirtualTimer(tmp_path / f"flash{seed}", kitchen, start_at_s=T0, seed=seed, **kwargs)
            )

        yield switch_on


def _said(desk) -> str:
    return str(desk.screen_stack[0].query_one("#health", Static).content)


def _gone(desk) -> None:
    """Wait until the application, which has ended, has let its ports go."""
    for berth in desk.fleet.berths.values():
        assert berth.follower.ended.wait()


def _rows(desk) -> list[dict[str, str]]:
    """Return what the list says of each timer, by column."""
    table = desk.screen_stack[0].query_one("#timers", DataTable)
    titles = [str(column.label) for column in table.ordered_columns]
    return [dict(zip(titles, map(str, table.get_row_at(n)), strict=True)) for n in range(table.row_count)]


async def _to_timer_room(desk, pilot, until, count: int) -> None:
    await until(pilot, lambda: len(desk.fleet.berths) == count, what="not found")
    await until(pilot, lambda: all(berth.connected for berth in desk.fleet.berths.values()), what="not connected")
    await pilot.press("f5")
    await until(pilot, lambda: desk.screen.__class__.__name__ == "TimerRoom" and len(_rows(desk)) == count)


async def _told(desk, pilot, until, words: str) -> str:
    await until(pilot, lambda: words in _said(desk), what=f"{words!r} was not said; instead: {_said(desk)[:300]!r}")
    return _said(desk)


async def _watch(desk, pilot, until, timer, seconds: int) -> None:
    """Let the timer's time go on as fast as this machine can, a look at a time, the application following."""
    berth = desk.fleet.berths[timer.port]
    for _ in range(0, seconds, 10):
        seen = berth.sight.at_s if berth.sight else 0
        await asyncio.to_thread(timer.run_for, 10)
        await until(pilot, lambda before=seen: berth.sight is not None and berth.sight.at_s >= before + 8)


async def test_two_timers_listed_chosen_and_one_vanishes(make_desk, until, plugged, board):
    one, other = board(0x11A1), board(0x22B2, clock_known=False)
    plugged.ports = [one.port]
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await _to_timer_room(desk, pilot, until, 1)
        plugged.ports = [one.port, other.port]  # the second is plugged in while the room is open
        await until(pilot, lambda: len(_rows(desk)) == 2 and all("connected" in row["state"] for row in _rows(desk)))
        names = [row["timer"][2:] for row in _rows(desk)]
        assert len(set(names)) == 2 and all(name.startswith("timer ") for name in names)

        # The second is chosen by its row; the check is that timer's, not the other's.
        await pilot.press("down")
        await until(pilot, lambda: desk.fleet.shown == other.port, what="the row does not bring it into view")
        await pilot.press("k")
        said = await _told(desk, pilot, until, "self-test")
        assert other.board_id.hex() in said or desk.fleet.berths[other.port].board_id in said
        assert desk.fleet.berths[one.port].board_id not in said
        assert "NOT known" in said  # its clock has never been set
        for word in ("counters:", "flash lasts", "free memory", "worst turn"):
            assert word in said

        # Its clock is set, and the check agrees.
        await pilot.press("t")
        await _told(desk, pilot, until, "clock is set, right within")
        await pilot.press("k")
        said = await _told(desk, pilot, until, "clock known")
        with_sign = next(line for line in said.splitlines() if line.startswith("clock known"))
        assert abs(float(with_sign.split(",")[1].split()[0])) < 3  # s; it was set a moment ago by the same clock

        # By mouse: the first again.
        table = desk.screen.query_one("#timers", DataTable)
        await pilot.click(table, offset=(4, 1))
        await until(pilot, lambda: desk.fleet.shown == one.port, what="a click does not choose it")

        # One loses its cable: it stays in the list, in word and shape; what it says is not the other's state.
        other.pull_cable()
        await until(pilot, lambda: any("lost, look" in row["state"] for row in _rows(desk)), what="loss unseen")
        lost = next(row for row in _rows(desk) if row["port"] == other.port)
        kept = next(row for row in _rows(desk) if row["port"] == one.port)
        assert lost["timer"][0] == "✕" and "lost, looking for it: " in lost["state"] and kept["timer"][0] == "●"
        assert desk.fleet.berths[one.port].connected
        other.plug_cable()
        await until(pilot, lambda: desk.fleet.berths[other.port].connected, what="not found again by itself")
        await until(pilot, lambda: all(row["timer"][0] == "●" for row in _rows(desk)), what="the list does not say so")


async def test_ice_point_refused_kept_and_left(make_desk, until, plugged, board):
    timer = board(0x33C3)
    plugged.ports = [timer.port]
    desk = make_desk()

    def line(selector: str) -> str:
        return str(desk.screen.query_one(selector, Static).content)

    async with desk.run_test(size=(80, 24)) as pilot:
        await _to_timer_room(desk, pilot, until, 1)
        # Left without doing anything: nothing is kept.
        await pilot.press("z")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Calibrate", what="no wizard")
        await until(pilot, lambda: desk.screen.query_one("#reading").value != "--", what="no live reading")
        assert abs(float(desk.screen.query_one("#reading").value) - 21.0) < 4.0
        await pilot.press("escape")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "TimerRoom")

        # Room air is no ice: the reading stands still, is offered, and the timer refuses it with a reason.
        timer.probe_counts = code16(21.3)
        await pilot.press("z")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Calibrate")
        wizard = desk.screen
        await _watch(desk, pilot, until, timer, 70)
        await until(pilot, lambda: "Stands still" in line("#steady"), what="never still")
        assert not wizard.query_one("#take", Button).disabled
        assert wizard.query_one("#reading").value == "21.3"
        wizard.query_one("#take").focus()
        await pilot.press("enter")
        await until(pilot, lambda: line("#taken"), what="no answer to the refused ice point")
        assert "within 3 degrees" in line("#taken")

        # A needle that moves is not taken; a pulled one has no reading.
        timer.probe_counts = code16(5.0)
        await _watch(desk, pilot, until, timer, 10)
        await until(pilot, lambda: "Moves by" in line("#steady"), what="moving unseen")
        assert wizard.query_one("#take", Button).disabled
        timer.probe_counts = code16(None)
        await _watch(desk, pilot, until, timer, 10)
        await until(pilot, lambda: "No reading" in line("#steady"), what="no reading unseen")
        assert wizard.query_one("#reading").value == "--"

        # Ice and water: 0.6 K off.
        timer.probe_counts = code16(0.6)
        await _watch(desk, pilot, until, timer, 100)
        await until(pilot, lambda: "Stands still" in line("#steady") and wizard.query_one("#reading").value == "0.6")
        await pilot.click("#take")
        await until(pilot, lambda: "Ice point kept" in line("#taken"), what="not kept")
        await _watch(desk, pilot, until, timer, 10)
        assert -0.62 <= float(line("#taken").split("kept: ")[1].split(" K")[0]) <= -0.57
        await until(pilot, lambda: wizard.query_one("#reading").value in ("0.0", "-0.0"), what="not in force")
        await pilot.press("escape")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "TimerRoom")

        # Boiling water at 300 m: compared, nothing changed. First an altitude that is none.
        timer.probe_counts = code16(98.2)
        await pilot.press("b")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Calibrate")
        wizard = desk.screen
        await _watch(desk, pilot, until, timer, 70)
        await until(pilot, lambda: "Stands still" in line("#steady"), what="never still at the boil")
        altitude = wizard.query_one("#altitude", Input)
        await pilot.click(altitude)
        await pilot.press("end", *["backspace"] * 10, *"high")
        await pilot.click("#take")
        await until(pilot, lambda: "Altitude" in line("#taken"), what="a wrong altitude goes through")
        await pilot.click(altitude)
        await pilot.press("end", *["backspace"] * 10, *"300 m")
        await pilot.click("#take")
        await until(pilot, lambda: "Water boils at" in line("#taken"), what="not compared")
        # Standard atmosphere at 300 m: 977.7 hPa (ISO 2533), water boils at 99.0 °C there (IAPWS saturation line).
        assert "99.0 °C" in line("#taken")
        await pilot.press("escape")
    _gone(desk)
    with Timer.open(timer.port) as link:
        assert int(link.setting("offset_probe")) == pytest.approx(-60, abs=3)
        assert int(link.setting("boil_error")) == pytest.approx(-140, abs=15)  # 98.2 - 0.6 - 99.0


async def test_backup_install_and_restore_are_byte_for_byte(make_desk, until, plugged, board, tmp_path):
    timer = board(0x44D4)
    plugged.ports = [timer.port]
    with Timer.open(timer.port) as link:
        link.set_setting("contrast", b"77")
    desk = make_desk()
    saved = tmp_path / "kept" / "mine.zip"
    saved.parent.mkdir()

    def on_flash() -> dict[str, bytes]:
        with at_prompt(timer.port) as prompt:
            return {name: prompt.read(f"/{name}") for name in ("cal", "set") if prompt.sha256(f"/{name}")}

    async with desk.run_test(size=(120, 40)) as pilot:
        await _to_timer_room(desk, pilot, until, 1)
        # An unwise file first: a sentence, no crash, and the timer is followed again.
        await _with_file(desk, pilot, until, "u", tmp_path / "no such folder" / "x.zip")
        await _told(desk, pilot, until, "✕")
        assert "no such folder" in _said(desk)
        await until(pilot, lambda: desk.fleet.berths[timer.port].connected, what="not followed again")

        await _with_file(desk, pilot, until, "u", saved)
        await _told(desk, pilot, until, "files saved in")
        with zipfile.ZipFile(saved) as archive:
            kept = {name: archive.read(name) for name in archive.namelist()}
        assert {"set"} <= set(kept)
        await until(pilot, lambda: desk.fleet.berths[timer.port].connected, what="not followed again after backup")

        # The setting is changed behind the application's back; the backup brings the old bytes home.
        follower = desk.fleet.berths[timer.port].follower
        desk.fleet.release(timer.port)
        await asyncio.to_thread(follower.ended.wait, 30)
        await asyncio.to_thread(_change, timer)
        desk.fleet.follow(timer.port)
        await until(pilot, lambda: desk.fleet.berths[timer.port].connected)
        await _with_file(desk, pilot, until, "r", saved)
        await _told(desk, pilot, until, "files restored from")
        await until(pilot, lambda: desk.fleet.berths[timer.port].connected, what="not followed again after restore")
    _gone(desk)
    assert on_flash() == {name: kept[name] for name in ("cal", "set") if name in kept}
    with Timer.open(timer.port) as link:
        assert link.setting("contrast") == b"77"


def _change(timer) -> None:
    with Timer.open(timer.port) as link:
        link.set_setting("contrast", b"12")
        assert link.setting("contrast") == b"12"


async def _with_file(desk, pilot, until, key: str, file) -> None:
    await pilot.press(key)
    await until(pilot, lambda: desk.screen.__class__.__name__ == "Ask", what="no question for the file")
    desk.screen.query_one(Input).value = str(file)
    await pilot.press("enter")
    await until(pilot, lambda: desk.screen.__class__.__name__ == "TimerRoom")


async def test_install_asks_first_and_then_writes_this_program(make_desk, until, plugged, board):
    timer = board(0x55E5)
    plugged.ports = [timer.port]
    desk = make_desk()
    async with desk.run_test(size=(80, 24)) as pilot:
        await _to_timer_room(desk, pilot, until, 1)
        await pilot.press("i")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Confirm", what="installs without asking")
        await pilot.press("escape")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "TimerRoom")
        assert desk.fleet.berths[timer.port].connected  # nothing was begun
        await pilot.press("i")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Confirm")
        await pilot.click("#yes")
        bar = desk.screen_stack[0].query_one("#care")
        await until(pilot, lambda: not bar.has_class("hidden"), what="no progress is shown")
        await _told(desk, pilot, until, "files written and verified")
        assert bar.has_class("hidden")
        await until(pilot, lambda: desk.fleet.berths[timer.port].connected, what="not followed again")
    _gone(desk)
    assert verify(timer.port).current
