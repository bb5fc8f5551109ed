"""Write the board for a board house: RS-274X layers, an Excellon drill file, and pictures of both sides (SVG)."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from shapely.geometry import Polygon
from shapely.geometry.polygon import orient

from hardware.board.copper import outline, plane
from hardware.board.placement import BOARD_MM, COLUMNS, HOLES, MOUNT_DRILL_MM, MOUNT_MM, REVISION, ROWS, hole_mm
from hardware.board.route import DRILL, LOW, PAD, TOP, TRACK, VIA, VIA_DRILL, Layout
from hardware.electronics.circuit import PICO_HEADER, Circuit
from hardware.svg import tag

MASK_GROW = 0.1
INK = 0.15
NAME = "tourier-bench-timer"


def _xy(x: float, y: float) -> str:
    """Gerber coordinates, format 4.6 in mm, y upwards from the lower left corner."""
    return f"X{round(x * 1e6)}Y{round((BOARD_MM[1] - y) * 1e6)}"


def _file(function: str, body: Iterable[str], apertures: dict[int, float], polarity: str = "Positive") -> str:
    head = [
        "G04 Tourier bench timer carrier board*", f"%TF.FileFunction,{function}*%", f"%TF.FilePolarity,{polarity}*%",
        "%FSLAX46Y46*%", "%MOMM*%", "%LPD*%",
    ]  # fmt: skip
    head += [f"%ADD{code}C,{size:.4f}*%" for code, size in apertures.items()]
    return "\n".join([*head, *body, "M02*"]) + "\n"


def _region(shape: Polygon) -> list[str]:
    """A filled polygon; holes are cleared after it, so whatever stands in a hole must be drawn later."""
    out = []
    shape = orient(shape)
    for ring, polarity in ((shape.exterior, "D"), *((hole, "C") for hole in shape.interiors)):
        points = list(ring.coords)
        out += [f"%LP{polarity}*%", "G36*", _xy(*points[0]) + "D02*", "G01*"]
        out += [_xy(*p) + "D01*" for p in points[1:]]
        out.append("G37*")
    return [*out, "%LPD*%"]


def copper(layout: Layout, layer: int) -> str:
    body = [line for piece in plane(layout, layer) for line in _region(piece)]
    body += ["D10*"] + [_xy(x, y) + "D03*" for _, _, _, x, y in layout.pads]
    body += ["D11*"] + [_xy(x, y) + "D03*" for _, x, y in layout.vias]
    body += ["D12*", "G01*"]
    for _, at, x0, y0, x1, y1 in layout.tracks:
        if at == layer:
            body += [_xy(x0, y0) + "D02*", _xy(x1, y1) + "D01*"]
    side = "L1,Top" if layer == TOP else "L2,Bot"
    return _file(f"Copper,{side}", body, {10: PAD, 11: VIA, 12: TRACK})


def mask(layout: Layout, layer: int) -> str:
    body = ["D10*"] + [_xy(x, y) + "D03*" for _, _, _, x, y in layout.pads]
    body += ["D11*"] + [_xy(x, y) + "D03*" for x, y in MOUNT_MM]
    side = "Top" if layer == TOP else "Bot"
    return _file(f"Soldermask,{side}", body, {10: PAD + 2 * MASK_GROW, 11: MOUNT_DRILL_MM + 1.0}, "Negative")


def edge() -> str:
    points = list(outline().exterior.coords)
    body = ["D10*", "G01*", _xy(*points[0]) + "D02*"] + [_xy(*p) + "D01*" for p in points[1:]]
    return _file("Profile,NP", body, {10: 0.1})


def drill(layout: Layout) -> str:
    tools = [(1, VIA_DRILL, [(x, y) for _, x, y in layout.vias]), (2, DRILL, [(x, y) for _, _, _, x, y in layout.pads]),
             (3, MOUNT_DRILL_MM, list(MOUNT_MM))]  # fmt: skip
    tools = [t for t in tools if t[2]]
    out = ["M48", "; Tourier bench timer carrier board", "METRIC,TZ", "FMAT,2"]
    out += [f"T{n}C{size:.3f}" for n, size, _ in tools] + ["%"]
    for n, _, holes in tools:
        out += [f"T{n}"] + [f"X{x:.3f}Y{BOARD_MM[1] - y:.3f}" for x, y in holes]
    return "\n".join([*out, "M30"]) + "\n"


# --- legend ------------------------------------------------------------------------------------------------------


def legend_lines(c: Circuit) -> list[list[tuple[float, float]]]:
    """Body outlines as polylines in mm."""
    lines = []
    for ref, holes in HOLES.items():
        spots = [hole_mm(h) for h in holes]
        (x0, y0), (x1, y1) = (
            (min(x for x, _ in spots), min(y for _, y in spots)),
            (max(x for x, _ in spots), max(y for _, y in spots)),
        )
        if ref == "U1":
            a, b = (x0 - 1.37, y0 - 1.61), (x1 + 1.37, y1 + 1.61)
            lines.append([a, (b[0], a[1]), b, (a[0], b[1]), a])
            m = (y0 + y1) / 2
            lines.append([(a[0], m - 4), (a[0] - 1.3, m - 4), (a[0] - 1.3, m + 4), (a[0], m + 4)])
        elif ref[0] == "J":
            a, b = (x0 - 1.2, y0 - 1.2), (x1 + 1.2, y1 + 1.2)
            lines.append([a, (b[0], a[1]), b, (a[0], b[1]), a])
            lines.append([(x0 - 1.2, y0 - 0.6), (x0 - 0.6, y0 - 1.2)])  # bevel marks pin 1
        elif ref[0] == "R":
            m = (y0 + y1) / 2
            lines.append(
                [
                    (x0 - 0.95, m - 1.9),
                    (x0 + 0.95, m - 1.9),
                    (x0 + 0.95, m + 1.9),
                    (x0 - 0.95, m + 1.9),
                    (x0 - 0.95, m - 1.9),
                ]
            )
        else:
            m = (y0 + y1) / 2
            lines += [[(x0 - 0.9, m - 0.4), (x0 + 0.9, m - 0.4)], [(x0 - 0.9, m + 0.4), (x0 + 0.9, m + 0.4)]]
    return lines


def legend_texts(c: Circuit) -> list[tuple[float, float, float, str]]:
    """(x, y of the middle, height in mm, text)."""
    texts = []
    for ref, holes in HOLES.items():
        spots = [hole_mm(h) for h in holes]
        x, y = sum(s[0] for s in spots) / len(spots), sum(s[1] for s in spots) / len(spots)
        if ref == "U1":
            texts.append((x, y, 2.0, "< USB    U1  Pico or Pico 2"))
        elif ref == "J8":  # the corner screw's head is where its side label would be
            texts.append((x, y - 1.95, 1.1, ref))
        elif ref[0] == "J":
            texts.append((spots[0][0] - 2.5, y, 1.1, ref))
        elif ref[0] == "R":
            texts.append((x, y, 0.75 if len(ref) > 2 else 0.95, ref))
        else:
            texts.append((x + (1.75 if ref == "C1" else -1.75), y, 1.0, ref))
    texts.append((9.2, 24.0, 1.3, "TOURIER"))
    texts.append((9.2, 26.2, 0.9, f"bench timer {REVISION}"))
    texts.append((9.2, 28.0, 0.8, "SELV 5 V only"))
    return texts


def legend(c: Circuit) -> str:
    """Silkscreen of the component side; letters are filled outlines."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    body = ["D10*", "G01*"]
    for line in legend_lines(c):
        body += [_xy(*line[0]) + "D02*"] + [_xy(*p) + "D01*" for p in line[1:]]
    font = FontProperties(family="DejaVu Sans", weight="bold")
    for x, y, height, text in legend_texts(c):
        path = TextPath((0, 0), text, size=height / 0.73, prop=font)
        rings = [Polygon(r) for r in path.to_polygons() if len(r) > 3]
        low = min(r.bounds[0] for r in rings), min(r.bounds[1] for r in rings)
        high = max(r.bounds[2] for r in rings), max(r.bounds[3] for r in rings)
        dx, dy = x - (low[0] + high[0]) / 2, y + (low[1] + high[1]) / 2
        rings.sort(key=lambda r: -r.area)
        for k, ring in enumerate(rings):
            inside = sum(other.contains(ring) for other in rings[:k])
            points = [(px + dx, dy - py) for px, py in ring.exterior.coords]
            body += [f"%LP{'C' if inside % 2 else 'D'}*%", "G36*", _xy(*points[0]) + "D02*", "G01*"]
            body += [_xy(*p) + "D01*" for p in points[1:]]
            body += ["G37*", "%LPD*%"]
    return _file("Legend,Top", body, {10: INK})


def files(c: Circuit, layout: Layout) -> dict[str, str]:
    """Name -> text of everything a board house wants."""
    return {
        f"{NAME}-F_Cu.gtl": copper(layout, TOP), f"{NAME}-B_Cu.gbl": copper(layout, LOW),
        f"{NAME}-F_Mask.gts": mask(layout, TOP), f"{NAME}-B_Mask.gbs": mask(layout, LOW),
        f"{NAME}-F_Silkscreen.gto": legend(c), f"{NAME}-Edge_Cuts.gm1": edge(), f"{NAME}.drl": drill(layout),
    }  # fmt: skip


# --- pictures ----------------------------------------------------------------------------------------------------


def _svg(body: list[str], title: str) -> str:
    width, height = BOARD_MM[0] + 4, BOARD_MM[1] + 4
    inner = "\n".join(["", tag("title", escape(title)), *body, ""])
    return tag(
        "svg", inner, xmlns="http://www.w3.org/2000/svg", viewBox=f"-2 -2 {width:g} {height:g}",
        width=f"{width * 14:.0f}",
        height=f"{height * 14:.0f}", font_family="DejaVu Sans, Verdana, sans-serif",
    ) + "\n"  # fmt: skip


def _ring(points: Iterable[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.2f},{y:.2f}" for x, y in points) + "Z"


def _disc(x: float, y: float, d: float, fill: str, inner: str = "", **more: object) -> str:
    return tag("circle", inner, cx=float(x), cy=float(y), r=d / 2, fill=fill, **more)


def _word(x: float, y: float, size: float, fill: str, text: str, anchor: str = "middle", **more: object) -> str:
    return tag("text", escape(text), x=float(x), y=float(y), font_size=size, fill=fill, text_anchor=anchor, **more)


def _marks(c: Circuit, ink: str, ground: str = "") -> list[str]:
    """The printed legend; `ground` puts a rim of that colour round the words, which may stand over holes."""
    rim = {"stroke": ground, "stroke_width": 0.55, "paint_order": "stroke"} if ground else {}
    out = []
    for line in legend_lines(c):
        path = " ".join(f"{x:.2f},{y:.2f}" for x, y in line)
        out.append(tag("polyline", points=path, fill="none", stroke=ink, stroke_width=0.18))
    for x, y, height, text in legend_texts(c):
        out.append(_word(x, y + height * 0.38, height * 1.25, ink, text, font_weight="bold", **rim))
    return out


def board_svg(c: Circuit, layout: Layout, layer: int) -> str:
    """One side of the printed circuit, as it will look; the lower side is shown through the board, not mirrored."""
    out = [tag("path", d=_ring(outline().exterior.coords), fill="#1f5f3f")]
    for piece in plane(layout, layer):
        d = _ring(piece.exterior.coords) + "".join(_ring(hole.coords) for hole in piece.interiors)
        out.append(tag("path", d=d, fill="#2f7d55", fill_rule="evenodd"))
    line = {"stroke": "#7fd1a5", "stroke_width": TRACK, "stroke_linecap": "round"}
    for net, at, x0, y0, x1, y1 in layout.tracks:
        if at == layer:
            out.append(tag("line", tag("title", escape(net)), x1=x0, y1=y0, x2=x1, y2=y1, **line))
    for net, ref, pin, x, y in layout.pads:
        out.append(_disc(x, y, PAD, "#d9b44a", tag("title", escape(f"{ref}.{pin} {net}"))))
        out.append(_disc(x, y, DRILL, "#10281c"))
    for _, x, y in layout.vias:
        out += [_disc(x, y, VIA, "#d9b44a"), _disc(x, y, VIA_DRILL, "#10281c")]
    out += [_disc(x, y, MOUNT_DRILL_MM, "#ffffff") for x, y in MOUNT_MM]
    if layer == TOP:
        out += _marks(c, "#f4f7f5")
    return _svg(out, f"Carrier board, {'component' if layer == TOP else 'solder'} side")


def perfboard_svg(c: Circuit) -> str:
    """The same placement on a hole board, with the Pico's pin names beside their holes."""
    edge = {"stroke": "#a58c4b", "stroke_width": 0.3}
    out = [tag("path", d=_ring(outline().exterior.coords), fill="#efe3c2", **edge)]
    used = {h for holes in HOLES.values() for h in holes}
    for column in range(COLUMNS):
        for row in range(ROWS):
            x, y = hole_mm((column, row))
            out.append(_disc(x, y, 1.24, "#c98f1d" if (column, row) in used else "#d8c793"))
            out.append(_disc(x, y, 0.68, "#5b4a1c"))
    out += [_disc(x, y, MOUNT_DRILL_MM, "#ffffff", **edge) for x, y in MOUNT_MM]
    out += _marks(c, "#23303c", "#efe3c2")
    for pin, hole in enumerate(HOLES["U1"], 1):
        x, y = hole_mm(hole)
        if c.net_of("U1", pin):
            name = PICO_HEADER[pin].replace("ADC_VREF", "VREF")
            out.append(_word(x, y + (-1.3 if pin <= 20 else 1.9), 0.72, "#0b5d8f", name))
    out += [_word(hole_mm((column, 0))[0], -0.5, 1.2, "#5b6b7a", str(column)) for column in range(0, COLUMNS, 5)]
    out += [_word(-0.4, hole_mm((0, row))[1] + 0.4, 1.2, "#5b6b7a", str(row), "end") for row in range(0, ROWS, 2)]
    return _svg(out, "Where the parts stand on the perfboard, seen from the component side")
