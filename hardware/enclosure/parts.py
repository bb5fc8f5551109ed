"""The printed parts as build123d solids, each standing as it is printed: bed at z = 0, nothing needs support.

Tray: front face down. Cover: inner face down, stand upwards. Puck: top down. Coupon: flat; print it first.
"""

from __future__ import annotations

import math

from build123d import (
    Align,
    Axis,
    Box,
    BuildPart,
    BuildSketch,
    Circle,
    Cone,
    Cylinder,
    GridLocations,
    Locations,
    Mode,
    Part,
    Plane,
    PolarLocations,
    Polygon,
    RectangleRounded,
    chamfer,
    extrude,
    insert,
    loft,
)

from hardware.enclosure.params import PARAMS, Params

_LOW = (Align.CENTER, Align.CENTER, Align.MIN)


def _drop(d: float, wall: float) -> Part:
    """A sideways hole with a 45-degree roof, so that it prints without support; axis along x, roof towards +z."""
    with BuildPart() as cut:
        with BuildSketch(Plane.YZ.offset(-wall)):
            Circle(d / 2)
            s = d / 2 * math.sqrt(0.5)
            peak = d / 2 * math.sqrt(2)
            top = d / 2 * 1.08  # the roof's point is cut flat: a short bridge, and the gland's washer still covers it
            Polygon((-s, s), (s, s), (peak - top, top), (top - peak, top), align=None)
        extrude(amount=2 * wall)
    return cut.part


def tray(p: Params = PARAMS) -> Part:
    """Front panel and four walls."""
    with BuildPart() as part:
        with BuildSketch():
            RectangleRounded(p.width, p.height, p.corner_r)
        extrude(amount=p.depth)
        chamfer(part.faces().sort_by(Axis.Z)[0].outer_wire().edges(), p.front_chamfer)
        with BuildSketch(Plane.XY.offset(p.panel_t)):
            RectangleRounded(p.inner_w, p.inner_h, p.corner_r - p.wall)
        extrude(amount=p.depth, mode=Mode.SUBTRACT)
        with BuildSketch(Plane.XY.offset(p.shelf_z)):
            RectangleRounded(p.inner_w + 2 * p.rabbet, p.inner_h + 2 * p.rabbet, p.corner_r - p.wall + p.rabbet)
        extrude(amount=p.depth, mode=Mode.SUBTRACT)

        # Corner posts, grown into the walls.
        for x, y in p.post_centres():
            with Locations((x, y, p.panel_t - 0.5)):
                Cylinder(p.post_d / 2, p.shelf_z - p.panel_t + 0.5, align=_LOW)
            with Locations(
                (x + math.copysign(p.post_inset / 2, x), y + math.copysign(p.post_inset / 2, y), p.panel_t - 0.5)
            ):
                Box(p.post_inset + 1, p.post_inset + 1, p.shelf_z - p.panel_t + 0.5, align=_LOW)
            with Locations((x, y, p.shelf_z - p.insert_depth)):
                Cylinder(p.insert_d / 2, p.insert_depth + 1, align=_LOW, mode=Mode.SUBTRACT)

        # Display: pillars, the pane's pocket, and an opening that widens at 45 degrees to the front.
        with Locations((0, p.oled_y, 0)), GridLocations(p.oled_hole_dx, p.oled_hole_dy, 2, 2):
            with Locations((0, 0, p.panel_t - 0.5)):
                Cylinder(p.pillar_d / 2, p.oled_board_z - p.panel_t + 0.5, align=_LOW)
            with Locations((0, 0, 1.0)):
                Cylinder(p.pilot_d / 2, p.oled_board_z, align=_LOW, mode=Mode.SUBTRACT)
        with Locations((0, p.oled_y, p.window_lip)):
            Box(p.pane_w + 2 * p.pane_gap, p.pane_h + 2 * p.pane_gap, p.panel_t, align=_LOW, mode=Mode.SUBTRACT)
        with BuildSketch(Plane.XY.offset(-0.01)), Locations((0, p.oled_y)):
            RectangleRounded(p.window_w + 2 * p.window_lip, p.window_h + 2 * p.window_lip, 2.0)
        with BuildSketch(Plane.XY.offset(p.window_lip + 0.01)), Locations((0, p.oled_y)):
            RectangleRounded(p.window_w, p.window_h, 0.8)
        loft(mode=Mode.SUBTRACT)

        for x, y in p.button_centres():
            with Locations((x, y, 0)):
                Cylinder(p.button_hole / 2, p.panel_t * 3, mode=Mode.SUBTRACT)

        # Light: a ring that holds the dome against a thin skin.
        with Locations((p.led_x, p.led_y, p.panel_t - 0.5)):
            Cylinder(p.led_d / 2 + p.led_ring_t, p.led_ring_h + 0.5, align=_LOW)
        with Locations((p.led_x, p.led_y, p.led_skin)):
            Cylinder(p.led_d / 2, p.depth, align=_LOW, mode=Mode.SUBTRACT)

        for side in (-1, 1):
            with Locations((side * (p.width / 2 - p.wall / 2), p.gland_y, p.gland_z)):
                part_cut = _drop(p.gland_hole, p.wall)
                insert(part_cut, mode=Mode.SUBTRACT)

        # USB cable: a slot from the rim, round at its end; the cover closes it over a ring of silicone.
        with Locations((p.width / 2, p.usb_y, p.shelf_z - p.usb_notch / 2)):
            Cylinder(p.usb_notch / 2, 4 * p.wall, rotation=(0, 90, 0), mode=Mode.SUBTRACT)
            Box(4 * p.wall, p.usb_notch, p.usb_notch / 2 + 0.01, align=_LOW, mode=Mode.SUBTRACT)
        # Tie post beside it: a cable tie through the eye takes the pull.
        with Locations((p.inner_w / 2 - 7, p.usb_y - 12, p.panel_t - 0.5)):
            Box(6, 4, 14.5, align=_LOW)
        with Locations((p.inner_w / 2 - 7, p.usb_y - 12, p.panel_t + 9)):
            Box(3.2, 10, 2.2, align=_LOW, mode=Mode.SUBTRACT)
    return part.part


def cover(p: Params = PARAMS) -> Part:
    """Back plate with the stand; z = 0 is its inner face."""
    tip_y, tip_z = p.fin_tip()
    tip = (tip_y, tip_z - p.cover_z)
    lean = math.radians(p.lean_deg)
    low_y = p.fin_low_y
    low_z = p.cover_t + (low_y + p.height / 2) / math.tan(lean)
    with BuildPart() as part:
        with BuildSketch():
            RectangleRounded(p.cover_w, p.cover_h, p.corner_r - p.wall + p.rabbet - p.cover_gap)
        extrude(amount=p.cover_t)
        # Fins: from the plate down to the bench line. The rear edge rises at 45 degrees or steeper, so no support.
        heel = (tip[0] + 12 * math.cos(lean), tip[1] - 12 * math.sin(lean))
        for x in (-p.fin_x, p.fin_x):
            with BuildSketch(Plane.YZ.offset(x - p.fin_t / 2)):
                Polygon(
                    (low_y, p.cover_t - 1),
                    (low_y, low_z),
                    tip,
                    heel,
                    (34.0, p.cover_t),
                    (34.0, p.cover_t - 1),
                    align=None,
                )
            extrude(amount=p.fin_t)
        # A wedge along each fin's root instead of a sharp corner: flour brushes out.
        f = p.fin_fillet
        for x in (-p.fin_x, p.fin_x):
            with BuildSketch(Plane.XZ.offset(-34.0)):
                Polygon(
                    (x - p.fin_t / 2 - f, p.cover_t), (x + p.fin_t / 2 + f, p.cover_t),
                    (x + p.fin_t / 2, p.cover_t + f), (x - p.fin_t / 2, p.cover_t + f), align=None,
                )  # fmt: skip
            extrude(amount=34.0 - low_y)
        for x, y in p.post_centres():
            with Locations((x, y, 0)):
                Cylinder(p.screw_d / 2, 200, mode=Mode.SUBTRACT)
            with Locations((x, y, p.cover_t)):
                Cylinder(p.screw_head_d / 2, 100, align=_LOW, mode=Mode.SUBTRACT)
                sink = (p.screw_head_d - p.screw_d) / 2
                with Locations((0, 0, -sink)):
                    Cone(p.screw_d / 2, p.screw_head_d / 2, sink, align=_LOW, mode=Mode.SUBTRACT)
        with Locations((0, p.board_y, 0)), GridLocations(p.board_hole_dx, p.board_hole_dy, 2, 2):
            Cylinder(p.pilot_d / 2, 2 * p.cover_t, mode=Mode.SUBTRACT)
        # Sound and air holes: they face back and down when the timer stands.
        with Locations((p.sound_x, p.sound_y, 0)):
            Cylinder(p.sound_hole / 2, 20, mode=Mode.SUBTRACT)
            with PolarLocations(5.0, 6):
                Cylinder(p.sound_hole / 2, 20, mode=Mode.SUBTRACT)
        with Locations((p.vent_x, p.sound_y, 0)), GridLocations(4, 4, 2, 4):
            Cylinder(p.sound_hole / 2, 20, mode=Mode.SUBTRACT)
    return part.part


def puck(p: Params = PARAMS) -> Part:
    """Holder of the bench plate; printed top down, disc side up."""
    with BuildPart() as part:
        Cylinder(p.puck_d / 2, p.puck_h, align=_LOW)
        chamfer(part.faces().sort_by(Axis.Z)[0].edges(), 2.0)
        with Locations((0, 0, p.puck_h - p.disc_t)):
            Cylinder(p.disc_d / 2 + 0.2, p.disc_t + 1, align=_LOW, mode=Mode.SUBTRACT)
        with Locations((0, 0, p.puck_top)):
            Cylinder(p.disc_d / 2 - 2.0, p.puck_h, align=_LOW, mode=Mode.SUBTRACT)
        with Locations((p.puck_d / 2 - p.puck_wall, 0, p.puck_h / 2)):
            insert(_drop(p.puck_cable, 2 * p.puck_wall), mode=Mode.SUBTRACT)
    return part.part


def coupon(p: Params = PARAMS) -> Part:
    """Print this first: button hole, insert hole, gland hole, screw pilot and the light's skin on one small plate."""
    with BuildPart() as part:
        with BuildSketch():
            RectangleRounded(70, 30, 4)
        extrude(amount=p.panel_t)
        with Locations((-22, 0, 0)):
            Cylinder(p.button_hole / 2, 20, mode=Mode.SUBTRACT)
        with Locations((-2, 0, 0)):
            Cylinder(p.gland_hole / 2, 20, mode=Mode.SUBTRACT)
        with Locations((14, 7, p.panel_t - 0.5)):
            Cylinder(p.post_d / 2, p.insert_depth + 1.5, align=_LOW)
        with Locations((14, 7, p.panel_t + 1)):
            Cylinder(p.insert_d / 2, 20, align=_LOW, mode=Mode.SUBTRACT)
        with Locations((14, -8, p.panel_t - 0.5)):
            Cylinder(p.pillar_d / 2, p.oled_board_z - p.panel_t + 0.5, align=_LOW)
        with Locations((14, -8, 1.0)):
            Cylinder(p.pilot_d / 2, 20, align=_LOW, mode=Mode.SUBTRACT)
        with Locations((26, 0, p.led_skin)):
            Cylinder(p.led_d / 2, 20, align=_LOW, mode=Mode.SUBTRACT)
    return part.part


PRINTED = {"tray": tray, "cover": cover, "puck": puck, "coupon": coupon}
