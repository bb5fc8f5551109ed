"""The pictures of the assembly guide: what is already there in grey, what this step adds in orange."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from build123d import Align, Box, BuildPart, Cone, Cylinder, Locations, Mode

from hardware.enclosure import scene
from hardware.enclosure.params import PARAMS
from hardware.enclosure.parts import coupon, puck, tray
from hardware.enclosure.render import Mesh, render

P = PARAMS
NEW = (0.93, 0.50, 0.13)
OLD = (0.84, 0.85, 0.86)
DONE = (0.62, 0.66, 0.70)
_LOW = (Align.CENTER, Align.CENTER, Align.MIN)


@dataclass(frozen=True)
class Step:
    """One picture: file name, view (azimuth, elevation in degrees) and what it shows."""

    name: str
    view: tuple[float, float]
    build: Callable[[], list[Mesh]]


_cylinder = scene.cylinder


def _inserts(lift: float = 0.0) -> list:
    return [_cylinder(x, y, P.shelf_z - 6 + lift, 4.6, 6, 2.6) for x, y in P.post_centres()]


def _above_posts() -> list[tuple[float, float, float]]:
    return [(x, y, P.shelf_z + 14) for x, y in P.post_centres()]


def _tray(colour=OLD) -> Mesh:  # noqa: ANN001
    return scene.mesh(tray(P), colour)


def _arrows(spots: list[tuple[float, float, float]], length: float = 14) -> list[Mesh]:
    """Downward arrows that end at the spots."""
    out = []
    for x, y, z in spots:
        with BuildPart() as part:
            with Locations((x, y, z + 4)):
                Cylinder(0.9, length, align=_LOW)
            with Locations((x, y, z)):
                Cone(0.1, 2.4, 4.5, align=_LOW)
        out.append(scene.mesh(part.part, (0.11, 0.36, 0.56), glow=True))
    return out


def _lifted(by: float, meshes: list[Mesh]) -> list[Mesh]:
    return [m.moved(scene.shift(z=by)) for m in meshes]


def _small_screws(spots: list[tuple[float, float]], z: float, length: float) -> list[Mesh]:
    """Screws that hang above their holes, each with an arrow; z is where their points are."""
    out = []
    for x, y in spots:
        out += _with(NEW, _cylinder(x, y, z, 2.2, length), _cylinder(x, y, z + length, 4.2, 1.6))
    return [*out, *_arrows([(x, y, z + length + 3) for x, y in spots], 7)]


def _corners(dx: float, dy: float, y: float) -> list[tuple[float, float]]:
    return [(sx * dx / 2, y + sy * dy / 2) for sx in (-1, 1) for sy in (-1, 1)]


def _with(colour, *parts) -> list[Mesh]:  # noqa: ANN001
    return [scene.mesh(part, colour) for part in parts]


def _display() -> list:
    return list(scene.display(P))


def _buttons() -> list[Mesh]:
    out = []
    for part in scene.button(P):
        out += [scene.mesh(part, NEW).moved(scene.shift(x, y)) for x, y in P.button_centres()]
    return out


def _recolour(meshes: list[Mesh], colour) -> list[Mesh]:  # noqa: ANN001
    return [Mesh(m.triangles, colour) for m in meshes]


def _led(lift: float = 0.0):  # noqa: ANN202
    return _cylinder(P.led_x, P.led_y, P.led_skin + 0.1 + lift, P.led_d - 0.4, 11)


def _tray_full() -> list[Mesh]:
    return [_tray(), *_recolour([*_with(DONE, scene.pane(P), *_display(), _led()), *_buttons()], DONE),
            *_with(DONE, scene.gland(P, 1), scene.gland(P, -1))]  # fmt: skip


def _flipped(meshes: list[Mesh]) -> list[Mesh]:
    """Cover and its parts turned so that the inside looks up."""
    m = np.diag([1.0, -1.0, -1.0, 1.0])
    m[2, 3] = P.cover_z
    return [x.moved(m) for x in meshes]


def _cover_inside() -> list[Mesh]:
    return [Mesh(scene.cover_mesh(P).triangles, OLD)]


def _gasket():  # noqa: ANN202
    with BuildPart() as part:
        with Locations((0, 0, P.shelf_z)):
            Box(P.inner_w + 2, P.inner_h + 2, 1, align=_LOW)
            Box(P.inner_w - 2, P.inner_h - 2, 1, align=_LOW, mode=Mode.SUBTRACT)
    return part.part


def _screws() -> list:
    out = []
    for x, y in P.post_centres():
        with BuildPart() as part:
            with Locations((x, y, P.depth + 3)):
                Cylinder(1.5, 10, align=_LOW)
            with Locations((x, y, P.depth + 13)):
                Cylinder(3, 2, align=_LOW)
        out.append(part.part)
    return out


def _standing(meshes: list[Mesh]) -> list[Mesh]:
    return [m.moved(scene.stand_up(P)) for m in meshes]


def _feet() -> list[Mesh]:
    tip_y, tip_z = P.fin_tip()
    lean = np.radians(P.lean_deg)
    along = np.array([0, np.sin(lean), np.cos(lean)])
    out = []
    for x in (-P.fin_x, P.fin_x):
        start = np.array([x, -P.height / 2, P.depth])
        for distance in P.foot_runs():
            at = (scene.stand_up(P) @ np.append(start + along * distance, 1))[:3]
            out.append(scene.mesh(_cylinder(at[0], at[1], 0, P.foot_d, P.foot_h), NEW))
    return out


def _puck_parts(lift: float) -> list[Mesh]:
    body = scene.mesh(puck(P), OLD)
    disc = scene.mesh(_cylinder(0, 0, P.puck_h - P.disc_t + lift, P.disc_d, P.disc_t), NEW)
    bead = scene.mesh(_cylinder(0, 0, P.puck_h - P.disc_t + lift - 3, 3, 3), (0.11, 0.36, 0.56))
    wire = scene.cable([(0, 0, P.puck_h + lift - 4), (8, 0, 8), (P.puck_d / 2 + 14, 0, 7)], 1.4)
    return [body, disc, bead, wire]


def _usb() -> list[Mesh]:
    z = P.shelf_z - P.usb_notch / 2
    x = P.inner_w / 2
    post = (x - 7, P.usb_y - 12)
    tie = _cylinder(*post, P.panel_t + 9, 9, 2.2, 7)
    # From the Pico's plug past the tie post, up the wall and out through the notch.
    path = scene.smooth(
        [(16, P.usb_y - 4, 24), (30, P.usb_y - 6, 20), (post[0] + 1, post[1] + 5, 14), (x - 5, P.usb_y - 2, 22),
         (x - 4, P.usb_y, z - 3), (x + 6, P.usb_y, z), (x + 30, P.usb_y, z)], 60
    )  # fmt: skip
    return [scene.cable(path, 2.0, NEW), scene.mesh(tie, NEW)]


STEPS = (
    Step("01-coupon", (25, 40), lambda: [scene.mesh(coupon(P), NEW)]),
    Step("02-inserts", (25, 50), lambda: [_tray(), *_with(NEW, *_inserts(4)), *_arrows(_above_posts())]),
    Step("03-window", (25, 58), lambda: [_tray(), *_lifted(16, _with(NEW, scene.pane(P))),
                                            *_arrows([(0, P.oled_y, P.window_lip + P.pane_t + 19)])]),
    Step("04-display", (25, 58), lambda: [_tray(), *_with(DONE, scene.pane(P)), *_with(NEW, *_display()),
                                             *_small_screws(_corners(P.oled_hole_dx, P.oled_hole_dy, P.oled_y),
                                                            P.oled_board_z + P.oled_board_t + 5, 6.5)]),
    Step("05-light", (-25, 58), lambda: [_tray(), *_with(DONE, *_display()), *_with(NEW, _led(22)),
                                             *_arrows([(P.led_x, P.led_y, P.led_skin + 36)])]),
    Step("06-buttons", (-28, 24), lambda: _standing([_tray(), *_with(DONE, scene.pane(P)), *_buttons()])),
    Step("07-glands", (-28, 24), lambda: _standing([_tray(), *_with(DONE, scene.pane(P)), *_recolour(_buttons(), DONE),
                                                      *_with(NEW, scene.gland(P, 1), scene.gland(P, -1))])),
    Step("08-board", (25, 50), lambda: [
        *_flipped([*_cover_inside(), *_with(NEW, *scene.main_board(P))]),
        *_small_screws(_corners(P.board_hole_dx, P.board_hole_dy, -P.board_y), P.board_stand + P.board_t + 6, 9.5)]),
    Step("09-sounder", (25, 50), lambda: [
        *_flipped([*_cover_inside(), *_with(DONE, *scene.main_board(P)),
                   *_lifted(-9, _with(NEW, scene.sounder(P), scene.air_sensor(P)))]),
        *_arrows([(P.sound_x, -P.sound_y, 17), (P.vent_x, -P.sound_y, 15)])]),
    Step("10-usb", (-30, 50), lambda: [*_tray_full(), *_usb()]),
    Step("11-gasket", (25, 55), lambda: [*_tray_full(), *_with(NEW, _gasket())]),
    Step("12-cover", (30, 38), lambda: [_tray(), Mesh(scene.cover_mesh(P).triangles, DONE), *_with(NEW, *_screws())]),
    Step("13-feet", (150, -18), lambda: [*_standing([_tray(), Mesh(scene.cover_mesh(P).triangles, DONE)]), *_feet()]),
    Step("14-puck", (25, 40), lambda: _puck_parts(16)),
)  # fmt: skip


def picture(step: Step):  # noqa: ANN201 - a PIL image
    """The step's picture, few colours so that the file stays small."""
    image = render(step.build(), (900, 620), *step.view)
    return image.quantize(160, method=2, dither=0)
