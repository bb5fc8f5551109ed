"""Stand-ins for the bought parts, and the scenes that the pictures and assembly drawings show."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from build123d import Align, Axis, Box, BuildPart, Cylinder, Locations, Mode, Part, RegularPolygon, chamfer, extrude

from hardware.enclosure.params import PARAMS, Params
from hardware.enclosure.parts import cover, puck, tray
from hardware.enclosure.render import Colour, Mesh

_LOW = (Align.CENTER, Align.CENTER, Align.MIN)
SHELL: Colour = (0.93, 0.92, 0.88)
BACK: Colour = (0.80, 0.84, 0.88)
DARK: Colour = (0.20, 0.22, 0.25)
STEEL: Colour = (0.80, 0.82, 0.84)
GREEN: Colour = (0.36, 0.58, 0.43)
BLUE: Colour = (0.33, 0.47, 0.68)
CABLE: Colour = (0.33, 0.33, 0.36)
LIT: Colour = (0.78, 0.93, 1.0)
SCREEN = Path(__file__).resolve().parent.parent / "pictures" / "screen.png"


def mesh(part: Part, colour: Colour, glow: bool = False) -> Mesh:
    """Triangles of a solid."""
    points, faces = part.tessellate(0.08, 0.25)
    table = np.array([[v.X, v.Y, v.Z] for v in points])
    return Mesh(table[np.array(faces)], colour, glow)


def shift(x: float = 0, y: float = 0, z: float = 0) -> np.ndarray:
    m = np.eye(4)
    m[:3, 3] = (x, y, z)
    return m


def stand_up(p: Params = PARAMS) -> np.ndarray:
    """From the panel frame to the bench: x to the cook's right, y away from the cook, z up."""
    lean = math.radians(p.lean_deg)
    m = np.eye(4)
    m[:3, :3] = [[-1, 0, 0], [0, math.sin(lean), math.cos(lean)], [0, math.cos(lean), -math.sin(lean)]]
    low = m[:3, :3] @ np.array([0, -p.height / 2, p.depth])
    m[:3, 3] = -low + np.array([0, 0, p.foot_h])
    return m


def pane(p: Params = PARAMS) -> Part:
    with BuildPart() as part, Locations((0, p.oled_y, p.window_lip)):
        Box(p.pane_w, p.pane_h, p.pane_t, align=_LOW)
    return part.part


def display(p: Params = PARAMS) -> tuple[Part, Part]:
    """(board, glass) of the display module."""
    with BuildPart() as board:
        with Locations((0, p.oled_y, p.oled_board_z)):
            Box(p.oled_w, p.oled_h, p.oled_board_t, align=_LOW)
        with Locations((0, p.oled_y + p.oled_h / 2 - 3, p.oled_board_z + p.oled_board_t)):
            Box(14, 2.5, 8, align=_LOW)
    with BuildPart() as glass, Locations((0, p.oled_y, p.oled_board_z - p.oled_glass_t)):
        Box(p.oled_w - 10, p.oled_h - 7, p.oled_glass_t, align=_LOW)
    return board.part, glass.part


def lit_pixels(p: Params = PARAMS) -> Mesh:
    """A screen as the firmware drew it (`pictures/screen.png`, one dot a pixel), just in front of the pane."""
    from PIL import Image

    image = Image.open(SCREEN).convert("1")
    step = p.oled_active_w / 128
    squares = []
    z = p.window_lip - 0.15
    for y, x in zip(*np.nonzero(np.array(image)), strict=True):
        # Seen from the front, x runs the other way in the panel frame.
        px, py = p.oled_active_w / 2 - x * step, p.oled_y + p.oled_active_h / 2 - y * step
        a, b = np.array([px, py, z]), np.array([px - step * 0.9, py - step * 0.9, z])
        c, d = np.array([a[0], b[1], z]), np.array([b[0], a[1], z])
        squares += [(a, c, b), (a, b, d), (a, b, c), (a, d, b)]
    return Mesh(np.array(squares), LIT, glow=True)


def button(p: Params = PARAMS) -> tuple[Part, Part]:
    """(head, body and nut) at the origin, head towards -z."""
    with BuildPart() as head:
        with Locations((0, 0, -2.2)):
            Cylinder(p.button_head / 2 + 1.2, 2.2, align=_LOW)
        with Locations((0, 0, -4.6)):
            Cylinder(p.button_head / 2 - 1.5, 3.0, align=_LOW)
        chamfer(head.faces().sort_by(Axis.Z)[0].edges(), 0.8)
    with BuildPart() as body:
        Cylinder(p.button_hole / 2 - 0.2, p.button_depth, align=_LOW)
        with Locations((0, 0, p.panel_t)):
            Cylinder(p.button_nut / 2, 4, align=_LOW)
    return head.part, body.part


def gland(p: Params = PARAMS, side: int = 1) -> Part:
    """Cable gland in a side wall, hexagons outside and inside."""
    with BuildPart() as part:
        Cylinder(p.gland_hole / 2 - 0.2, 30, mode=Mode.ADD)
        from build123d import BuildSketch, Plane

        with BuildSketch(Plane.XY.offset(p.wall / 2)):
            RegularPolygon(p.gland_nut / 2, 6)
        extrude(amount=5)
        with Locations((0, 0, p.wall / 2 + 5)):
            Cylinder(7.5, 8, align=_LOW)
        with BuildSketch(Plane.XY.offset(-p.wall / 2 - 4.5)):
            RegularPolygon(p.gland_nut / 2, 6)
        extrude(amount=4.5)
    turned = part.part.rotate(Axis.Y, 90 * side)
    return turned.translate((side * (p.width / 2 - p.wall / 2), p.gland_y, p.gland_z))


def main_board(p: Params = PARAMS) -> tuple[Part, Part]:
    """(perfboard with plugs, Pico on its sockets) on the cover's inner face."""
    z = p.cover_z - p.board_stand - p.board_t
    with BuildPart() as board:
        with Locations((0, p.board_y, z)):
            Box(p.board_w, p.board_h, p.board_t, align=_LOW)
        for x in (-p.board_hole_dx / 2, p.board_hole_dx / 2):
            for y in (-p.board_hole_dy / 2, p.board_hole_dy / 2):
                with Locations((x, p.board_y + y, z)):
                    Cylinder(2.0, p.board_stand + p.board_t, align=_LOW)
    with BuildPart() as pico:
        for y in (-8.89, 8.89):
            with Locations((-8.5, p.board_y + y, z - 8.5)):
                Box(51, 2.5, 8.5, align=_LOW)
        with Locations((-8.5, p.board_y, z - 10)):
            Box(51, 21, 1.2, align=_LOW)
        with Locations((15, p.board_y, z - 12.6)):
            Box(6, 8, 2.8, align=_LOW)
    return board.part, pico.part


def cylinder(x: float, y: float, z: float, d: float, h: float, bore: float = 0.0) -> Part:
    """An upright cylinder that stands on z, with a bore where asked."""
    with BuildPart() as part, Locations((x, y, z)):
        Cylinder(d / 2, h, align=_LOW)
        if bore:
            Cylinder(bore / 2, h, align=_LOW, mode=Mode.SUBTRACT)
    return part.part


def sounder(p: Params = PARAMS) -> Part:
    return cylinder(p.sound_x, p.sound_y, p.cover_z - 4.5, 22, 4.5)


def air_sensor(p: Params = PARAMS) -> Part:
    with BuildPart() as part, Locations((p.vent_x, p.sound_y, p.cover_z - 2.5)):
        Box(13, 18, 2.5, align=_LOW)
    return part.part


def cable(points: list[tuple[float, float, float]], radius: float, colour: Colour = CABLE, sides: int = 10) -> Mesh:
    """A tube along points (mm)."""
    path = np.array(points, dtype=float)
    rings = []
    for i, at in enumerate(path):
        along = path[min(i + 1, len(path) - 1)] - path[max(i - 1, 0)]
        along /= np.linalg.norm(along)
        side = np.cross(along, [0.3, 0.2, 0.93])
        side /= np.linalg.norm(side)
        up = np.cross(side, along)
        turn = np.linspace(0, 2 * np.pi, sides, endpoint=False)[:, None]
        rings.append(at + radius * (np.cos(turn) * side + np.sin(turn) * up))
    triangles = []
    for one, two in zip(rings[:-1], rings[1:], strict=True):
        for k in range(sides):
            n = (k + 1) % sides
            triangles += [(one[k], one[n], two[n]), (one[k], two[n], two[k])]
    for at, ring, order in ((path[0], rings[0], 1), (path[-1], rings[-1], -1)):
        for k in range(sides):
            triangles.append((at, ring[(k + 1) % sides], ring[k])[::order])
    return Mesh(np.array(triangles), colour)


def smooth(points: list[tuple[float, float, float]], count: int = 40) -> list[tuple[float, float, float]]:
    """A smooth path through points (Catmull-Rom)."""
    p = np.array([points[0], *points, points[-1]], dtype=float)
    out = []
    for i in range(1, len(p) - 2):
        for t in np.linspace(0, 1, count // (len(p) - 3), endpoint=False):
            a, b, c, d = p[i - 1 : i + 3]
            out.append(
                0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3)
            )
    return [tuple(q) for q in [*out, p[-2]]]


def front_group(p: Params = PARAMS, lit: bool = True) -> list[Mesh]:
    """What sits in the tray, in the panel frame."""
    board, glass = display(p)
    head, body = button(p)
    out = [mesh(tray(p), SHELL), mesh(board, BLUE), mesh(glass, (0.10, 0.11, 0.13)), mesh(pane(p), (0.13, 0.15, 0.18))]
    for x, y in p.button_centres():
        out += [mesh(head, DARK).moved(shift(x, y)), mesh(body, (0.45, 0.47, 0.5)).moved(shift(x, y))]
    out += [mesh(gland(p, s), DARK) for s in (-1, 1)]
    if lit:
        out.append(lit_pixels(p))
    with BuildPart() as spot, Locations((p.led_x, p.led_y, -0.06)):
        Cylinder(p.led_d / 2, 0.05, align=_LOW)
    out.append(mesh(spot.part, (1.0, 0.78, 0.32), glow=True))
    return out


def cover_mesh(p: Params = PARAMS) -> Mesh:
    return mesh(cover(p), BACK).moved(shift(z=p.cover_z))


def back_group(p: Params = PARAMS) -> list[Mesh]:
    """Cover with the board on it, in the panel frame."""
    board, pico = main_board(p)
    return [cover_mesh(p), mesh(board, (0.72, 0.62, 0.36)), mesh(pico, GREEN)]


def puck_group(p: Params = PARAMS) -> list[Mesh]:
    """The bench puck as it lies on the bench (disc down), at the origin."""
    flip = np.diag([1.0, -1.0, -1.0, 1.0])
    flip[2, 3] = p.puck_h
    return [mesh(puck(p), SHELL).moved(flip)]


def bench_scene(p: Params = PARAMS) -> list[Mesh]:
    """The finished timer standing, with puck and needle."""
    pose = stand_up(p)
    out = [m.moved(pose) for m in [*front_group(p), cover_mesh(p)]]
    right = (pose @ np.array([-p.width / 2 - 14, p.gland_y, p.gland_z, 1]))[:3]
    left = (pose @ np.array([p.width / 2 + 14, p.gland_y, p.gland_z, 1]))[:3]
    usb = (pose @ np.array([p.width / 2, p.usb_y, p.shelf_z - p.usb_notch / 2, 1]))[:3]
    out.append(cable(smooth([tuple(usb), (usb[0] - 12, usb[1] + 2, usb[2] - 6), (usb[0] - 24, usb[1] + 30, 12),
                             (usb[0] - 20, usb[1] + 75, 2.2)]), 1.9))  # fmt: skip
    out += [m.moved(shift(-120, -38)) for m in puck_group(p)]
    out.append(cable(smooth([tuple(left), (left[0] - 14, left[1], left[2] - 8), (left[0] - 26, left[1] + 10, 3),
                             (-118, 10, 3),
                             (-96, -20, 5), (-97, -38, 7)]), 1.7))  # fmt: skip
    needle_tip = (150.0, -95.0, 2.2)
    handle = (118.0, -40.0, 5.0)
    out.append(cable(smooth([tuple(right), (right[0] + 14, right[1], right[2] - 8), (right[0] + 30, right[1] + 6, 3),
                             (118, 18, 3), (112, -18, 4), handle]), 1.7))  # fmt: skip
    mid = tuple(np.array(handle) + 0.42 * (np.array(needle_tip) - np.array(handle)))
    out.append(cable([handle, mid], 4.2, DARK, 16))
    out.append(
        cable([mid, tuple(np.array(mid) + 0.85 * (np.array(needle_tip) - np.array(mid))), needle_tip], 1.6, STEEL, 16)
    )
    return out


def exploded_scene(p: Params = PARAMS) -> list[Mesh]:
    """Everything pulled apart along the panel's normal."""
    pose = stand_up(p)
    board, glass = display(p)
    head, body = button(p)
    rows = [(0.0, [mesh(tray(p), SHELL)]), (62.0, [mesh(pane(p), (0.62, 0.75, 0.82))])]
    rows.append((88.0, [mesh(board, BLUE), mesh(glass, (0.12, 0.13, 0.15))]))
    rows.append(
        (
            -50.0,
            [
                m.moved(shift(x, y))
                for x, y in p.button_centres()
                for m in (mesh(head, DARK), mesh(body, (0.5, 0.52, 0.55)))
            ],
        )
    )
    plank, pico = main_board(p)
    lamp = cylinder(p.led_x, p.led_y, p.led_skin, p.led_d - 0.4, 11)
    rows.append((62.0, [mesh(lamp, (0.95, 0.93, 0.85))]))
    rows.append((104.0, [mesh(plank, (0.72, 0.62, 0.36)), mesh(pico, GREEN)]))
    rows.append((126.0, [mesh(part, DARK) for part in (sounder(p), air_sensor(p))]))
    rows.append((150.0, [cover_mesh(p)]))
    return [m.moved(shift(z=z)).moved(pose) for z, group in rows for m in group]
