"""What is generated, from which sources, and how two generations are compared.

A group names its sources and returns {path below hardware/: bytes}. `manifest.json` records the sources' and products'
checksums, so that a test without any CAD tool can tell stale products from fresh ones.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from hardware.board.placement import REVISION
from hardware.firmware_pins import firmware_pins, pins_fingerprint

HERE = Path(__file__).resolve().parent
MANIFEST = HERE / "manifest.json"
SCREEN_SHOWN = "roll"  # of companion/tools/showcase.py
PINS = "firmware/pins.py (names and values)"


@dataclass(frozen=True)
class Group:
    """Products made together. `sources` are paths below hardware/; the firmware's pins always count too."""

    name: str
    sources: tuple[str, ...]
    build: Callable[[], dict[str, bytes]]


def _text(value: str) -> bytes:
    return value.encode("utf-8")


def _dateless(pdf: bytes) -> bytes:
    """The same PDF with a fixed date of the same length, so that offsets inside stay right."""
    return re.sub(rb"\(D:\d{14}", b"(D:20200101000000", pdf)


def _electronics() -> dict[str, bytes]:
    import cairosvg

    from hardware.electronics import bom, circuit, netlist, schematic, wiring

    c = circuit.build()
    drawn = schematic.to_svg(c)
    lines = bom.read()
    parts = "\n".join(
        ["# Parts", "",
         "Generated from `bom.csv` by `python hardware/make.py`; do not edit. Sources are in the CSV.", "",
         "## Perfboard with modules", "", bom.table(lines, "perfboard"), "",
         "## Printed circuit", "", bom.table(lines, "pcb"), ""]
    )  # fmt: skip
    return {
        "electronics/schematic.svg": _text(drawn),
        "electronics/schematic.pdf": _dateless(cairosvg.svg2pdf(bytestring=drawn.encode())),
        "electronics/wiring.svg": _text(wiring.picture(c)),
        "electronics/wiring.md": _text(wiring.table(c)),
        "electronics/netlist.json": _text(netlist.to_json(c)),
        "electronics/netlist.net": _text(netlist.to_kicad(c)),
        "parts.md": _text(parts),
    }


def _board() -> dict[str, bytes]:
    import zipfile

    from hardware.board import copper, gerber, placement, route
    from hardware.electronics import circuit

    c = circuit.build()
    problems = placement.check(c)
    layout = route.route(c)
    problems += copper.check(c, layout)
    if problems:
        raise ValueError("the board breaks its rules: " + "; ".join(problems))
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as z:
        for name, text in gerber.files(c, layout).items():
            z.writestr(zipfile.ZipInfo(name, (2020, 1, 1, 0, 0, 0)), text, zipfile.ZIP_DEFLATED)
    return {
        "board/gerbers.zip": archive.getvalue(),
        "board/top.svg": _text(gerber.board_svg(c, layout, route.TOP)),
        "board/bottom.svg": _text(gerber.board_svg(c, layout, route.LOW)),
        "board/perfboard.svg": _text(gerber.perfboard_svg(c)),
    }


def _budget() -> dict[str, bytes]:
    from hardware.budget import error_budget, plot

    fixed = float(firmware_pins()["R_FIXED_PROBE_OHM"])
    drawn = plot.to_svg(error_budget.simulate(fixed), error_budget.shares(fixed), fixed)
    return {"budget/error_budget.md": _text(error_budget.report()), "budget/error_budget.svg": _text(drawn)}


def _printed() -> dict[str, bytes]:
    import tempfile

    from build123d import export_step, export_stl

    from hardware.enclosure.params import PARAMS
    from hardware.enclosure.parts import PRINTED

    out = {}
    with tempfile.TemporaryDirectory() as scratch:
        for name, make in PRINTED.items():
            solid = make(PARAMS)
            stl, step = Path(scratch) / "a.stl", Path(scratch) / "a.step"
            export_stl(solid, str(stl), tolerance=0.05, angular_tolerance=0.3)
            export_step(solid, str(step))
            out[f"enclosure/{name}.stl"] = stl.read_bytes()
            # The exporter writes the hour into the header; a fixed one keeps the file the same.
            text = re.sub(r"'\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[^']*'", "'2020-01-01T00:00:00'", step.read_text())
            out[f"enclosure/{name}.step"] = _text(text)
    return out


def _png(image) -> bytes:  # noqa: ANN001
    buffer = io.BytesIO()
    image.save(buffer, "PNG", optimize=True)
    return buffer.getvalue()


def _screen() -> dict[str, bytes]:
    """The display as the firmware draws it in the middle of a fold, one dot a pixel: what glows in the pictures."""
    import gallery
    from PIL import Image

    found, _ = gallery.shots()
    memory = next(shot.memory for shot in found if shot.name == SCREEN_SHOWN)
    image = Image.new("1", (gallery.WIDTH, gallery.HEIGHT))
    for y in range(gallery.HEIGHT):
        for x in range(gallery.WIDTH):
            image.putpixel((x, y), memory[x + gallery.WIDTH * (y // 8)] >> (y % 8) & 1)
    return {"pictures/screen.png": _png(image)}


def _pictures() -> dict[str, bytes]:
    from hardware.assembly import steps
    from hardware.enclosure import scene
    from hardware.enclosure.render import render

    def shot(meshes: list, size: tuple[int, int], *view: float, **more: float) -> bytes:
        return _png(render(meshes, size, *view, **more))

    bench = scene.bench_scene()
    out = {
        "pictures/front.png": shot(bench, (1200, 800), -28, 24, floor=0),
        "pictures/back.png": shot(bench, (1200, 800), 155, 22, floor=0),
        "pictures/exploded.png": shot(scene.exploded_scene(), (1500, 700), 72, 10),
    }
    for step in steps.STEPS:
        out[f"assembly/{step.name}.png"] = _png(steps.picture(step))
    return out


_CIRCUIT = ("firmware_pins.py", "svg.py", "electronics/circuit.py")
_SHAPE = ("enclosure/params.py", "enclosure/parts.py")
GROUPS = (
    Group("electronics", (*_CIRCUIT, "electronics/netlist.py", "electronics/schematic.py", "electronics/wiring.py",
                          "electronics/bom.py", "bom.csv"), _electronics),
    Group("board", (*_CIRCUIT, "board/placement.py", "board/route.py", "board/copper.py", "board/gerber.py"), _board),
    Group("budget", ("budget/error_budget.py", "budget/plot.py"), _budget),
    Group("printed", _SHAPE, _printed),
    # Made from the firmware, which changes often: a test compares the picture with the running program instead.
    Group("screen", (), _screen),
    Group("pictures", (*_SHAPE, "enclosure/scene.py", "enclosure/render.py", "assembly/steps.py",
                       "pictures/screen.png"), _pictures),
)  # fmt: skip


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def sources_fingerprint(group: Group) -> str:
    """One checksum over a group's sources and the firmware's pins; line ends do not count."""
    whole = hashlib.sha256(pins_fingerprint().encode())
    for name in sorted(group.sources):
        whole.update(name.encode() + b"\0" + (HERE / name).read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return whole.hexdigest()


def read_manifest() -> dict:
    return json.loads(MANIFEST.read_text(encoding="utf-8"))


def stale() -> list[str]:
    """Sentences about products that are missing, changed by hand, or older than their sources. Needs no extra tool."""
    manifest = read_manifest()
    found = []
    for group in GROUPS:
        entry = manifest["groups"].get(group.name)
        if entry is None:
            found.append(f"group {group.name} was never generated")
            continue
        if entry["sources"] != sources_fingerprint(group):
            found.append(f"the sources of {group.name} changed: run python hardware/make.py {group.name}")
        for path, checksum in entry["products"].items():
            file = HERE / path
            if not file.exists():
                found.append(f"{path} is missing")
            elif sha256(_canonical(path, file.read_bytes())) != checksum:
                found.append(f"{path} was changed by hand")
    return found


def _canonical(path: str, data: bytes) -> bytes:
    return data.replace(b"\r\n", b"\n") if path.endswith((".svg", ".md", ".json", ".net", ".step")) else data


def write(group: Group) -> dict[str, bytes]:
    """Build a group, write its files and its part of the manifest."""
    products = group.build()
    for path, data in products.items():
        (HERE / path).parent.mkdir(parents=True, exist_ok=True)
        (HERE / path).write_bytes(data)
    manifest = read_manifest() if MANIFEST.exists() else {"revision": REVISION, "groups": {}}
    manifest["groups"][group.name] = {
        "sources": sources_fingerprint(group),
        "products": {path: sha256(_canonical(path, data)) for path, data in sorted(products.items())},
    }
    manifest["groups"] = {g.name: manifest["groups"][g.name] for g in GROUPS if g.name in manifest["groups"]}
    MANIFEST.write_text(json.dumps(manifest, indent=1) + "\n", encoding="utf-8")
    return products


# --- comparing ---------------------------------------------------------------------------------------------------


def differs(path: str, fresh: bytes, kept: bytes) -> str:
    """Empty when two generations mean the same; otherwise what differs. Other tool versions may round differently."""
    if fresh == kept:
        return ""
    kind = path.rsplit(".", 1)[1]
    if kind == "stl":
        return _stl_differs(fresh, kept)
    if kind == "png":
        return _png_differs(fresh, kept)
    if kind == "step":
        return _counts_differ(fresh, kept, (b"ADVANCED_FACE", b"MANIFOLD_SOLID_BREP"), 0.0)
    if kind == "pdf":
        return _counts_differ(fresh, kept, (b"/Type /Page\n",), 0.0)
    if kind == "svg":
        return _svg_differs(fresh.decode(), kept.decode())
    if kind == "zip":
        return _zip_differs(fresh, kept)
    return "the text differs"


def _counts_differ(fresh: bytes, kept: bytes, words: tuple[bytes, ...], share: float) -> str:
    for word in words:
        one, two = fresh.count(word), kept.count(word)
        if abs(one - two) > share * max(one, two):
            return f"{one} instead of {two} {word.decode().strip()}"
    return ""


def _stl_differs(fresh: bytes, kept: bytes) -> str:
    import tempfile

    from hardware.enclosure.mesh import read_stl, volume_mm3

    measured = []
    with tempfile.TemporaryDirectory() as scratch:
        for data in (fresh, kept):
            file = Path(scratch) / "a.stl"
            file.write_bytes(data)
            triangles = read_stl(file)
            points = triangles.reshape(-1, 3)
            measured.append([*(points.max(axis=0) - points.min(axis=0)), volume_mm3(triangles) / 1000])
    if any(abs(a - b) > 0.05 for a, b in zip(*measured, strict=True)):
        return f"size and volume {measured[0]} instead of {measured[1]}"
    return ""


def _png_differs(fresh: bytes, kept: bytes) -> str:
    import numpy as np
    from PIL import Image

    one, two = (np.asarray(Image.open(io.BytesIO(d)).convert("RGB"), dtype=float) for d in (fresh, kept))
    if one.shape != two.shape:
        return f"picture of {one.shape} instead of {two.shape}"
    apart = float(np.abs(one - two).mean())
    return f"pictures differ by {apart:.1f} of 255" if apart > 2.0 else ""


def _svg_differs(fresh: str, kept: str) -> str:
    words = re.compile(r">([^<]+)<")
    if words.findall(fresh) != words.findall(kept):
        return "the drawing has other words"
    fresh, kept = words.sub("><", fresh), words.sub("><", kept)
    number = re.compile(r"-?\d+\.?\d*(?:e-?\d+)?")
    if number.sub("#", fresh) != number.sub("#", kept):
        return "the drawing has other elements"
    for a, b in zip(number.findall(fresh), number.findall(kept), strict=True):
        if abs(float(a) - float(b)) > 0.5:
            return f"a number is {a} instead of {b}"
    return ""


def _zip_differs(fresh: bytes, kept: bytes) -> str:
    import zipfile

    texts = []
    for data in (fresh, kept):
        with zipfile.ZipFile(io.BytesIO(data)) as z:
            texts.append({name: z.read(name) for name in z.namelist()})
    if texts[0].keys() != texts[1].keys():
        return "other files inside"
    changed = [name for name in texts[0] if texts[0][name] != texts[1][name]]
    return f"{', '.join(changed)} differ" if changed else ""
