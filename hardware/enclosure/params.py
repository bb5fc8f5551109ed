"""Every size of the enclosure in mm, and the arithmetic that shows the parts fit. No CAD library is needed here.

Frame: x and y lie in the front panel, z points from the front face into the box, which is also up in print. The
origin is the middle of the front face. Seen from the back (as printed), x is to the right, so the cook's right is -x.
Module sizes marked (m) are usual values from memory: measure yours, change the number, regenerate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Box:
    """An axis-aligned space a part takes: centre and size in mm."""

    name: str
    x: float
    y: float
    z: float
    dx: float
    dy: float
    dz: float
    round: bool = False  # a cylinder along z, as wide as the box

    def overlaps(self, other: Box, gap: float = 0.0) -> bool:
        """True when the two come closer than `gap` in every direction; two cylinders are judged as circles."""
        if self.round and other.round:
            apart = math.hypot(self.x - other.x, self.y - other.y)
            return apart < (self.dx + other.dx) / 2 + gap and abs(self.z - other.z) < (self.dz + other.dz) / 2 + gap
        return all(
            abs(getattr(self, a) - getattr(other, a)) < (getattr(self, "d" + a) + getattr(other, "d" + a)) / 2 + gap
            for a in "xyz"
        )


@dataclass(frozen=True)
class Params:
    # Shell
    width: float = 112.0
    height: float = 104.0
    panel_t: float = 3.0
    wall: float = 3.6
    depth: float = 42.0  # front face to the back of the cover
    corner_r: float = 8.0
    front_chamfer: float = 1.5
    cover_t: float = 3.0
    rabbet: float = 1.8  # ledge the cover lies on; as much wall stays outside it
    cover_gap: float = 0.3  # all round, for a 0.4 mm nozzle
    gasket: float = 0.5  # 1 mm foam, squeezed to half
    lean_deg: float = 38.0  # panel leans back from the vertical

    # Display module (m) and its window
    oled_w: float = 72.0
    oled_h: float = 43.0
    oled_y: float = 21.0
    oled_active_w: float = 55.01
    oled_active_h: float = 27.49
    oled_glass_t: float = 2.6  # front of the glass to the front of its board
    oled_board_t: float = 1.6
    oled_back: float = 9.0  # plug and wires behind the board
    oled_hole_dx: float = 66.5
    oled_hole_dy: float = 37.5
    window_margin: float = 1.2
    window_lip: float = 1.2  # panel left in front of the pane; its edge is bevelled at 45 degrees
    pane_overlap: float = 2.0
    pane_t: float = 2.0
    pane_gap: float = 0.2
    pillar_d: float = 5.0
    pilot_d: float = 1.8  # for 2.2 mm self-tapping screws

    # Buttons
    button_hole: float = 16.2
    button_head: float = 18.0
    button_nut: float = 21.0
    button_depth: float = 30.0
    button_pitch: float = 34.0
    button_y: float = -32.0

    # Light behind a thin skin: no hole to clean, and the panel itself diffuses it
    led_d: float = 10.4
    led_skin: float = 0.8
    led_ring_t: float = 1.6
    led_ring_h: float = 5.0
    led_x: float = -44.2
    led_y: float = 21.0

    # Cables
    gland_hole: float = 12.7  # PG7
    gland_y: float = -8.0
    gland_z: float = 22.0
    gland_nut: float = 19.0
    gland_inside: float = 10.0
    usb_notch: float = 5.0
    usb_y: float = 24.0

    # Fastening
    insert_d: float = 4.2  # for an M3 insert of 4.6 mm
    insert_depth: float = 7.0
    post_d: float = 9.0
    post_inset: float = 4.0  # post centre from the inner walls
    screw_d: float = 3.4
    screw_head_d: float = 6.4

    # Board on the cover
    board_w: float = 70.0
    board_h: float = 50.0
    board_t: float = 1.6
    board_y: float = 21.0
    board_hole_dx: float = 66.0
    board_hole_dy: float = 46.0
    board_stand: float = 5.0  # spacer tubes; 2.2 x 9.5 screws come from the board's side and end inside the cover
    board_stack: float = 13.5  # socket, Pico and its USB plug above the board

    # Cover: stand and openings, which face back and down
    fin_t: float = 8.0
    fin_x: float = 38.0
    fin_run: float = 72.0  # along the bench
    fin_fillet: float = 3.0
    foot_d: float = 8.0
    foot_h: float = 2.0
    sound_hole: float = 1.6
    sound_x: float = 9.0
    sound_y: float = -32.0
    vent_x: float = -12.0

    # Bench puck
    disc_d: float = 40.0
    disc_t: float = 2.0
    puck_d: float = 48.0
    puck_h: float = 14.0
    puck_top: float = 2.4
    puck_wall: float = 3.2
    puck_cable: float = 4.2

    # --- derived --------------------------------------------------------------------------------------------------
    @property
    def inner_w(self) -> float:
        return self.width - 2 * self.wall

    @property
    def inner_h(self) -> float:
        return self.height - 2 * self.wall

    @property
    def shelf_z(self) -> float:
        """Where the cover's gasket lies."""
        return self.depth - self.cover_t - self.gasket

    @property
    def cover_z(self) -> float:
        """Inner face of the cover."""
        return self.depth - self.cover_t

    @property
    def window_w(self) -> float:
        return self.oled_active_w + 2 * self.window_margin

    @property
    def window_h(self) -> float:
        return self.oled_active_h + 2 * self.window_margin

    @property
    def pane_w(self) -> float:
        return self.window_w + 2 * self.pane_overlap

    @property
    def pane_h(self) -> float:
        return self.window_h + 2 * self.pane_overlap

    @property
    def oled_board_z(self) -> float:
        """Front face of the display's board; the pane, 0.1 mm of air and the glass are in front of it."""
        return self.window_lip + self.pane_t + 0.1 + self.oled_glass_t

    @property
    def cover_w(self) -> float:
        return self.inner_w + 2 * (self.rabbet - self.cover_gap)

    @property
    def cover_h(self) -> float:
        return self.inner_h + 2 * (self.rabbet - self.cover_gap)

    def post_centres(self) -> list[tuple[float, float]]:
        x, y = self.inner_w / 2 - self.post_inset, self.inner_h / 2 - self.post_inset
        return [(sx * x, sy * y) for sx in (-1, 1) for sy in (-1, 1)]

    def button_centres(self) -> list[tuple[float, float]]:
        return [(k * self.button_pitch, self.button_y) for k in (-1, 0, 1)]

    def occupied(self) -> list[Box]:
        """The space every part takes inside the box, buttons and glands with their nuts."""
        boxes = [
            Box("display", 0, self.oled_y,
                self.oled_board_z + (self.oled_board_t + self.oled_back - self.oled_glass_t) / 2,
                self.oled_w, self.oled_h, self.oled_glass_t + self.oled_board_t + self.oled_back),
            Box("board", 0, self.board_y, self.cover_z - (self.board_stand + self.board_t + self.board_stack) / 2,
                self.board_w, self.board_h, self.board_stand + self.board_t + self.board_stack),
            Box("light", self.led_x, self.led_y, self.panel_t + 9, self.led_d + 2 * self.led_ring_t,
                self.led_d + 2 * self.led_ring_t, 18),
            Box("sounder", self.sound_x, self.sound_y, self.cover_z - 2.5, 24, 24, 5),
            Box("air sensor", self.vent_x, self.sound_y, self.cover_z - 2.2, 14, 20, 4.4),
        ]  # fmt: skip
        for k, (x, y) in enumerate(self.button_centres(), 1):
            z = self.panel_t + self.button_depth / 2
            boxes.append(Box(f"button {k}", x, y, z, self.button_nut, self.button_nut, self.button_depth, True))
        for k, side in enumerate((-1, 1), 1):
            x = side * (self.inner_w / 2 - self.gland_inside / 2)
            boxes.append(
                Box(f"gland {k}", x, self.gland_y, self.gland_z, self.gland_inside, self.gland_nut, self.gland_nut)
            )
        for k, (x, y) in enumerate(self.post_centres(), 1):
            boxes.append(Box(f"post {k}", x, y, self.depth / 2, self.post_d, self.post_d, self.shelf_z, True))
        return boxes

    def collisions(self, gap: float = 0.5) -> list[str]:
        """Pairs of parts that come closer than `gap` mm, and parts that stick out of the box."""
        boxes = self.occupied()
        found = [
            f"{a.name} and {b.name} are closer than {gap} mm"
            for i, a in enumerate(boxes)
            for b in boxes[i + 1 :]
            if a.overlaps(b, gap)
        ]
        for b in boxes:
            if b.name.startswith("post"):
                continue
            if abs(b.x) + b.dx / 2 > self.inner_w / 2 + 1e-6 or abs(b.y) + b.dy / 2 > self.inner_h / 2 + 1e-6:
                found.append(f"{b.name} sticks into a wall")
            if b.z + b.dz / 2 > self.cover_z + 1e-6:
                found.append(f"{b.name} reaches through the cover")
        return found

    # --- standing on the bench --------------------------------------------------------------------------------------
    def on_bench(self, y: float, z: float) -> tuple[float, float]:
        """(distance back, height) in mm of a point of the panel frame; origin at the tray's lower back edge."""
        lean = math.radians(self.lean_deg)
        up, back = y + self.height / 2, z - self.depth
        return up * math.sin(lean) + back * math.cos(lean), up * math.cos(lean) - back * math.sin(lean)

    def fin_tip(self) -> tuple[float, float]:
        """(y, z) of the fins' rear foot point, on the bench line through the tray's lower back edge."""
        lean = math.radians(self.lean_deg)
        return -self.height / 2 + self.fin_run * math.sin(lean), self.depth + self.fin_run * math.cos(lean)

    @property
    def fin_low_y(self) -> float:
        """Where the fins start on the cover: as near its lower edge as the rim allows."""
        return -self.cover_h / 2 + 0.5

    def foot_runs(self) -> tuple[float, float]:
        """Distances along the bench, from the tray's lower back edge, of the front and rear feet's middles, mm."""
        start = (self.fin_low_y + self.height / 2) / math.sin(math.radians(self.lean_deg))
        return start + self.foot_d / 2, self.fin_run - self.foot_d / 2 - 1.0

    def view_angle_deg(self, distance_m: float, eye_above_bench_m: float = 0.70) -> float:
        """Angle between the panel's normal and the cook's eye; 0.70 m is a standing eye over a 0.9 m bench (m)."""
        return math.degrees(math.atan2(eye_above_bench_m, distance_m)) - self.lean_deg


PARAMS = Params()
