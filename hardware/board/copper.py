"""Copper as shapes: the ground plane, and the design-rule check that trusts no router.

Needs shapely. Frame: mm from the board's upper left corner, y downwards, seen from the component side.
"""

from __future__ import annotations

from itertools import combinations

from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box
from shapely.ops import unary_union

from hardware.board.placement import BOARD_MM, MOUNT_DRILL_MM, MOUNT_MM
from hardware.board.route import CLEAR, EDGE, LOW, PAD, PLANE, TOP, TRACK, VIA, Layout
from hardware.electronics.circuit import Circuit

PLANE_CLEAR = 0.35
SPOKE = 0.5
CORNER = 3.0


def outline() -> Polygon:
    """The board's edge, corners rounded."""
    return box(0, 0, *BOARD_MM).buffer(-CORNER).buffer(CORNER, quad_segs=16)


def shapes(layout: Layout, layer: int) -> dict[str, list[Polygon]]:
    """Pads, tracks and vias of one layer by net, without the plane."""
    out: dict[str, list[Polygon]] = {}
    for net, _, _, x, y in layout.pads:
        out.setdefault(net, []).append(Point(x, y).buffer(PAD / 2, quad_segs=16))
    for net, at, x0, y0, x1, y1 in layout.tracks:
        if at == layer:
            out.setdefault(net, []).append(LineString([(x0, y0), (x1, y1)]).buffer(TRACK / 2, quad_segs=8))
    for net, x, y in layout.vias:
        out.setdefault(net, []).append(Point(x, y).buffer(VIA / 2, quad_segs=12))
    return out


def plane(layout: Layout, layer: int) -> list[Polygon]:
    """Ground plane of a layer: four spokes to each ground pad so that it can be soldered, loose islands dropped."""
    foreign = [s for net, group in shapes(layout, layer).items() if net != PLANE for s in group]
    mounts = [Point(x, y).buffer(2.6) for x, y in MOUNT_MM]
    area = outline().buffer(-EDGE).difference(unary_union([s.buffer(PLANE_CLEAR) for s in foreign] + mounts))
    ground = [(x, y) for net, _, _, x, y in layout.pads if net == PLANE]
    spokes = []
    for x, y in ground:
        area = area.difference(Point(x, y).buffer(PAD / 2 + PLANE_CLEAR))
        bar = box(x - PAD, y - SPOKE / 2, x + PAD, y + SPOKE / 2)
        spokes += [bar, affinity.rotate(bar, 90)]
    blocked = unary_union([s.buffer(PLANE_CLEAR) for s in foreign])
    spokes = [piece for bar in spokes for piece in _pieces(bar.difference(blocked))]
    whole = unary_union([area.buffer(-0.12).buffer(0.12), *spokes])  # no slivers thinner than 0.24 mm
    pads = [Point(x, y) for x, y in ground]
    return [p for p in _pieces(whole.simplify(0.01)) if any(p.intersects(q) for q in pads) and p.area > 2]


def _pieces(shape) -> list[Polygon]:  # noqa: ANN001
    if shape.is_empty:
        return []
    return list(shape.geoms) if isinstance(shape, MultiPolygon) else [shape]


def check(c: Circuit, layout: Layout) -> list[str]:
    """Design rules from the shapes alone: clearance, edge, drills, and every net in one piece. Empty means good."""
    found = []
    per_layer = {}
    for layer in (TOP, LOW):
        nets = {net: unary_union(group) for net, group in shapes(layout, layer).items()}
        nets[PLANE] = unary_union([nets[PLANE], *plane(layout, layer)])
        per_layer[layer] = nets
        for (a, one), (b, two) in combinations(nets.items(), 2):
            if one.distance(two) < CLEAR - 1e-4:
                found.append(f"{a} and {b} are {one.distance(two):.2f} mm apart on layer {layer}")
        inside = outline().buffer(-0.3)
        found += [f"{net} runs off the board on layer {layer}" for net, s in nets.items() if not inside.contains(s)]
        for x, y in MOUNT_MM:
            screw = Point(x, y).buffer(MOUNT_DRILL_MM / 2 + 0.5)
            found += [f"{net} runs into a mounting hole" for net, s in nets.items() if s.intersects(screw)]
    for net, nodes in c.nets.items():
        pads = [Point(x, y) for n, _, _, x, y in layout.pads if n == net]
        pieces = [p for layer in (TOP, LOW) for p in _pieces(per_layer[layer].get(net, Polygon()))]
        # Pads and vias join the layers: grow groups until nothing changes.
        joins = pads + [Point(x, y) for n, x, y in layout.vias if n == net]
        reached = {0}
        while True:
            more = {
                k for k, p in enumerate(pieces)
                if any(p.intersects(j) and any(pieces[r].intersects(j) for r in reached) for j in joins)
            }  # fmt: skip
            if more <= reached:
                break
            reached |= more
        if pads and not all(any(pieces[r].intersects(p) for r in reached) for p in pads):
            found.append(f"net {net} is in more than one piece")
        on_board = [n for n in nodes if not c.parts[n[0]].off_board]
        if len(pads) != len(on_board):
            found.append(f"net {net} has {len(on_board)} pins but {len(pads)} pads")
    return found
