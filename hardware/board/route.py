"""Route the carrier board: two layers, one track width, a ground plane below. Small on purpose: 20 short nets.

Tracks run on a quarter of the hole pitch (0.635 mm). Each net grows a tree from pin to pin by cheapest path; a net that
finds no way is put first and everything starts again. All sizes in mm.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

from hardware.board.placement import HOLES, MOUNT_MM, hole_mm
from hardware.electronics.circuit import Circuit

STEP = 0.635
TRACK, CLEAR = 0.35, 0.25
PAD, DRILL = 1.6, 1.0
VIA, VIA_DRILL = 0.8, 0.4
EDGE = 0.8
PLANE = "GND"
TOP, LOW = 0, 1

Cell = tuple[int, int, int]  # layer, column, row on the fine grid


@dataclass
class Layout:
    """Finished copper: pads, tracks and vias by net, in mm."""

    pads: list[tuple[str, str, int, float, float]] = field(default_factory=list)  # net, ref, pin, x, y
    tracks: list[tuple[str, int, float, float, float, float]] = field(
        default_factory=list
    )  # net, layer, x0, y0, x1, y1
    vias: list[tuple[str, float, float]] = field(default_factory=list)


def _position(cell: Cell) -> tuple[float, float]:
    x0, y0 = hole_mm((0, 0))
    return round(x0 + cell[1] * STEP, 4), round(y0 + cell[2] * STEP, 4)


class _Grid:
    """Where copper of other nets forbids a track or a via."""

    def __init__(self, pads: list[tuple[str, str, int, float, float]]) -> None:
        self.columns, self.rows = range(-3, 104), range(-3, 72)
        self.no_track: dict[Cell, set[str]] = {}
        self.no_via: dict[tuple[int, int], set[str]] = {}
        for net, _, _, x, y in pads:
            self._spread(net, x, y, (TOP, LOW), PAD)
        for x, y in MOUNT_MM:
            self._spread("mount", x, y, (TOP, LOW), 4.6)  # screw head

    def _spread(self, net: str, x: float, y: float, layers: tuple[int, ...], size: float) -> None:
        x0, y0 = hole_mm((0, 0))
        ci, cj = (x - x0) / STEP, (y - y0) / STEP
        reach = int((size / 2 + CLEAR + VIA) / STEP) + 2
        for i in range(round(ci) - reach, round(ci) + reach + 1):
            for j in range(round(cj) - reach, round(cj) + reach + 1):
                apart = ((i - ci) ** 2 + (j - cj) ** 2) ** 0.5 * STEP
                if apart < size / 2 + CLEAR + TRACK / 2 - 1e-6:
                    for layer in layers:
                        self.no_track.setdefault((layer, i, j), set()).add(net)
                if apart < size / 2 + CLEAR + VIA / 2 - 1e-6:
                    self.no_via.setdefault((i, j), set()).add(net)

    def free(self, net: str, cell: Cell) -> bool:
        return cell[1] in self.columns and cell[2] in self.rows and not (self.no_track.get(cell, set()) - {net})

    def via_free(self, net: str, cell: Cell) -> bool:
        return not (self.no_via.get(cell[1:], set()) - {net})

    def lay(self, net: str, path: list[Cell]) -> None:
        for cell in path:
            self._spread(net, *_position(cell), (cell[0],), TRACK)
        for one, two in zip(path, path[1:], strict=False):
            if one[0] != two[0]:
                self._spread(net, *_position(one), (TOP, LOW), VIA)


def _path(grid: _Grid, net: str, tree: set[Cell], goals: set[Cell], pads: set[tuple[int, int]]) -> list[Cell] | None:
    """Cheapest path from the tree to a goal. The lower layer costs more: the plane should stay whole."""
    heap = [(0.0, cell, None) for cell in sorted(tree)]
    best: dict[Cell, float] = {cell: 0.0 for cell in tree}
    came: dict[Cell, Cell | None] = {}
    while heap:
        cost, cell, before = heapq.heappop(heap)
        if cell in came:
            continue
        came[cell] = before
        if cell in goals:
            path = [cell]
            while (step := came[path[-1]]) is not None:
                path.append(step)
            return path[::-1]
        layer, i, j = cell
        moves: list[tuple[Cell, float]] = []
        for di, dj in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            straight = before is None or (before[1] + 2 * di, before[2] + 2 * dj) == (i + di, j + dj)
            moves.append(((layer, i + di, j + dj), (1.0 if layer == TOP else 1.35) + (0 if straight else 0.4)))
        other = (1 - layer, i, j)
        if (i, j) in pads:
            moves.append((other, 0.0))
        elif grid.via_free(net, cell):
            moves.append((other, 7.0))
        for target, price in moves:
            if target not in came and grid.free(net, target) and cost + price < best.get(target, 1e9):
                best[target] = cost + price
                heapq.heappush(heap, (cost + price, target, cell))
    return None


def route(c: Circuit) -> Layout:
    """Route every net but the plane. ValueError names the net when forty orders fail."""
    layout = Layout()
    where: dict[str, list[tuple[int, int]]] = {}
    for net, nodes in c.nets.items():
        for ref, pin in nodes:
            if ref in HOLES:
                column, row = HOLES[ref][pin - 1]
                layout.pads.append((net, ref, pin, *hole_mm((column, row))))
                where.setdefault(net, []).append((4 * column, 4 * row))
    for pin, (column, row) in enumerate(HOLES["U1"], 1):  # free Pico pins are pads too
        if c.net_of("U1", pin) is None:
            layout.pads.append((f"U1.{pin}", "U1", pin, *hole_mm((column, row))))

    def span(net: str) -> int:
        spots = where[net]
        return max(x for x, _ in spots) - min(x for x, _ in spots) + max(y for _, y in spots) - min(y for _, y in spots)

    order = sorted((n for n in where if n != PLANE and len(where[n]) > 1), key=lambda n: (span(n), n))
    for _ in range(40):
        grid = _Grid(layout.pads)
        paths: dict[str, list[list[Cell]]] = {}
        for net in order:
            spots = sorted(where[net])
            pads = set(spots)
            tree = {(layer, *spots[0]) for layer in (TOP, LOW)}
            left = set(spots[1:])
            paths[net] = []
            while left:
                found = _path(grid, net, tree, {(layer, *s) for s in left for layer in (TOP, LOW)}, pads)
                if found is None:
                    break
                paths[net].append(found)
                tree |= set(found) | {(layer, *found[-1][1:]) for layer in (TOP, LOW)}
                left.discard(found[-1][1:])
            if left:
                order.remove(net)
                order.insert(0, net)
                break
            for path in paths[net]:
                grid.lay(net, path)
        else:
            _fill(layout, paths, where)
            return layout
    raise ValueError(f"no way found for net {order[0]}: move a part in placement.py")


def _fill(layout: Layout, paths: dict[str, list[list[Cell]]], where: dict[str, list[tuple[int, int]]]) -> None:
    """Turn cell paths into straight tracks and vias."""
    for net, found in paths.items():
        pads = set(where[net])
        for path in found:
            start = path[0]
            for k in range(1, len(path)):
                one, two = path[k - 1], path[k]
                if one[0] != two[0] and one[1:] not in pads and (net, *_position(one)) not in layout.vias:
                    layout.vias.append((net, *_position(one)))
                last = k == len(path) - 1
                bends = not last and (path[k + 1][0] != two[0] or (path[k + 1][1] - two[1], path[k + 1][2] - two[2])
                                      != (two[1] - one[1], two[2] - one[2]))  # fmt: skip
                if one[0] != two[0]:
                    start = two
                elif last or bends:
                    layout.tracks.append((net, two[0], *_position(start), *_position(two)))
                    start = two
