"""Ice point and boiling point, step by step, with the live reading."""

from __future__ import annotations

from typing import Any

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Button, Digits, Input, Label, Static

from tourier.desk.data import care
from tourier.desk.data.fleet import Berth
from tourier.desk.data.follow import Gone, JobDone, Seen
from tourier.desk.screens.dialogs import Dialog
from tourier.desk.widgets.pages import PageRow
from tourier.voice import voice_of_plan

_ICE = (
    "1  Fill a thermos with crushed ice, then cold water to the top of the ice. Stir.\n"
    "2  Put the probe in the middle, touching neither wall nor bottom, and keep stirring.\n"
    "3  Wait until the reading stands still for a minute, then keep it as the ice point."
)
_BOIL = (
    "1  Bring a deep pot of water to a rolling boil. Mind the steam; hold the probe with tongs.\n"
    "2  Put the probe in the middle of the water, touching nothing.\n"
    "3  Write your altitude, wait until the reading stands still, then compare. Nothing is changed."
)


class Calibrate(Dialog[None]):
    """`kind` is ice or boil."""

    BINDINGS = [("escape", "leave", "Close")]

    def __init__(self, berth: Berth, kind: str) -> None:
        super().__init__()
        self._berth, self._kind = berth, kind
        self._channel = "probe"
        self._steady = care.Steady()
        self._said = voice_of_plan(berth.plan)

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog small wizard"):
            title = "Ice point" if self._kind == "ice" else "Boiling point"
            yield Label(f"{title} of {self._berth.label}", markup=False)
            yield PageRow([("probe", "dough probe"), ("bench", "bench sensor")], id="channel")
            yield Static(_ICE if self._kind == "ice" else _BOIL, markup=False)
            yield Digits("--", id="reading")
            yield Static("Waiting for a reading …", id="steady", markup=False)
            if self._kind == "boil":
                such = self._said.height(300)
                yield Input(self._said.height(0), placeholder=f"altitude, such as {such}", id="altitude", max_length=20)
            yield Static("", id="taken", markup=False)
            with Horizontal(classes="buttons"):
                yield Button("Keep it as the ice point" if self._kind == "ice" else "Compare", id="take", disabled=True)
                yield Button("Close", id="close")

    def on_mount(self) -> None:
        self.app.timers.subscribe(self, self._heard)  # type: ignore[attr-defined]

    def on_page_row_chosen(self, event: PageRow.Chosen) -> None:
        event.stop()
        self._channel, self._steady = event.page, care.Steady()

    def _heard(self, heard: tuple[Berth, Any]) -> None:
        berth, what = heard
        if berth.port != self._berth.port:
            return
        if isinstance(what, Seen):
            sight = what.sight
            cdeg = sight.probe_cdeg if self._channel == "probe" else sight.bench_cdeg
            self._steady.add(sight.at_s, cdeg)
            self._said = sight.voice
            self.query_one("#reading", Digits).update("--" if cdeg is None else self._said.degrees(cdeg / 100))
            self.query_one("#steady", Static).update(self._words(cdeg))
            self.query_one("#take", Button).disabled = not self._steady.still
        elif isinstance(what, Gone):  # never an old number
            self._steady = care.Steady()
            self.query_one("#reading", Digits).update("--")
            self.query_one("#steady", Static).update(f"The timer does not answer: {what.why}")
            self.query_one("#take", Button).disabled = True
        elif isinstance(what, JobDone) and what.name in ("Ice point", "Boil point"):
            self.query_one("#taken", Static).update(what.error or str(what.result))

    def _words(self, cdeg: int | None) -> str:
        if cdeg is None:
            return "No reading: is the probe plugged in?"
        span = self._said.difference((self._steady.span_cdeg or 0) / 100, 2)
        if self._steady.still:
            return f"Stands still: within {span} for a minute."
        return f"Moves by {span}; watched for {self._steady.held_s} of 60 s."

    def on_button_pressed(self, event: Button.Pressed) -> None:
        if event.button.id == "close":
            self.leave()
            return
        follower = self._berth.follower
        if self._kind == "ice":
            follower.do("Ice point", care.ice_point(self._channel))
            return
        from tourier.craft.probe import boiling_point_c, pressure_at_altitude_pa
        from tourier.quantities import QuantityError, length_m

        try:
            expected_c = boiling_point_c(pressure_at_altitude_pa(length_m(self.query_one("#altitude", Input).value)))
        except (QuantityError, ValueError) as error:
            self.query_one("#taken", Static).update(f"Altitude: {error}")
            return
        follower.do("Boil point", care.boil_point(self._channel, expected_c))
