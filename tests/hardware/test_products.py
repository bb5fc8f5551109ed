"""Products are fresh, documents point to things that exist and say what the sources say."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import gallery
import pytest

from hardware import products
from hardware.electronics import bom
from hardware.electronics.circuit import build
from hardware.enclosure.params import PARAMS
from hardware.firmware_pins import ROOT, firmware_pins

HARDWARE = ROOT / "hardware"
DOCS = sorted(HARDWARE.rglob("*.md"))


def test_products_are_fresh():
    assert products.stale() == [], "run python hardware/make.py and commit what it writes"


def test_the_screen_in_the_pictures_is_what_the_firmware_draws():
    image = pytest.importorskip("PIL.Image")
    kept = image.open(HARDWARE / "pictures/screen.png").convert("1")
    memory = next(shot.memory for shot in gallery.shots()[0] if shot.name == products.SCREEN_SHOWN)
    drawn = [
        memory[x + gallery.WIDTH * (y // 8)] >> (y % 8) & 1 for y in range(gallery.HEIGHT) for x in range(gallery.WIDTH)
    ]
    assert kept.size == (gallery.WIDTH, gallery.HEIGHT)
    shown = [kept.getpixel((x, y)) for y in range(gallery.HEIGHT) for x in range(gallery.WIDTH)]
    same = list(map(bool, shown)) == list(map(bool, drawn))
    assert same, "run python hardware/make.py screen pictures and look at the pictures"


@pytest.fixture
def copy_of_hardware(tmp_path: Path, monkeypatch):
    shutil.copytree(HARDWARE, tmp_path / "hardware", ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(products, "HERE", tmp_path / "hardware")
    monkeypatch.setattr(products, "MANIFEST", tmp_path / "hardware" / "manifest.json")
    return tmp_path / "hardware"


def test_a_changed_source_makes_its_products_stale(copy_of_hardware: Path):
    assert products.stale() == []
    file = copy_of_hardware / "enclosure/params.py"
    file.write_text(file.read_text().replace("width: float = 112.0", "width: float = 113.0"))
    found = products.stale()
    assert any("printed" in s for s in found) and any("pictures" in s for s in found)
    assert not any("budget" in s for s in found)


def test_a_hand_edited_or_missing_product_is_found(copy_of_hardware: Path):
    wiring = copy_of_hardware / "electronics/wiring.md"
    wiring.write_text(wiring.read_text().replace("GP4", "GP3"))
    (copy_of_hardware / "enclosure/puck.stl").unlink()
    found = products.stale()
    assert "electronics/wiring.md was changed by hand" in found
    assert "enclosure/puck.stl is missing" in found


def test_a_moved_pin_makes_everything_stale(monkeypatch):
    moved = {**firmware_pins(), "PIN_BUTTON_LEFT": 17}
    real = products.pins_fingerprint
    monkeypatch.setattr(products, "pins_fingerprint", lambda: real(moved))
    assert len([s for s in products.stale() if "sources of" in s]) == len(products.GROUPS)


def test_comparison_sees_what_matters():
    svg = '<svg><line x1="1.00"/><text>R1</text></svg>'
    assert products.differs("a.svg", svg.replace("1.00", "1.01").encode(), svg.encode()) == ""
    assert "number" in products.differs("a.svg", svg.replace("1.00", "9.00").encode(), svg.encode())
    assert "words" in products.differs("a.svg", svg.replace("R1", "R2").encode(), svg.encode())
    puck, tray = ((HARDWARE / f"enclosure/{n}.stl").read_bytes() for n in ("puck", "tray"))
    assert "volume" in products.differs("a.stl", puck, tray)
    front, back = ((HARDWARE / f"pictures/{n}.png").read_bytes() for n in ("front", "back"))
    pytest.importorskip("PIL")
    assert "differ" in products.differs("a.png", front, back)
    assert products.differs("a.md", b"one", b"two") == "the text differs"


def test_the_light_products_are_made_again_the_same():
    """What needs no CAD is generated in the test run itself, where the extra is installed."""
    for module in ("schemdraw", "cairosvg", "matplotlib", "shapely", "skidl"):
        pytest.importorskip(module, reason=f"{module} comes with the hardware extra")
    command = [sys.executable, str(HARDWARE / "make.py"), "--check", "electronics", "board", "budget"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stderr


def test_make_names_an_unknown_group():
    command = [sys.executable, str(HARDWARE / "make.py"), "roof"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 2
    assert "no group 'roof'" in done.stderr


# --- documents ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("doc", DOCS, ids=lambda d: str(d.relative_to(HARDWARE)))
def test_links_lead_somewhere(doc: Path):
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", doc.read_text(encoding="utf-8")):
        assert (doc.parent / target).exists(), f"{doc.name} links to {target}"
    for target in re.findall(r"`((?:enclosure|board|electronics|budget)/[\w./]+)`", doc.read_text(encoding="utf-8")):
        assert (HARDWARE / target).exists(), f"{doc.name} names {target}"


def test_manifest_of_the_design_points_to_files():
    okh = tomllib.loads((HARDWARE / "okh.toml").read_text(encoding="utf-8"))
    assert okh["license"] == "CERN-OHL-P-2.0"
    named = [okh[k] for k in ("readme", "image", "bom", "manufacturing-instructions", "user-manual")]
    for part in okh["part"]:
        named += [part["source"], part["image"], *part["export"]]
    for path in named:
        assert (HARDWARE / path).exists(), path
    assert products.read_manifest()["revision"] == okh["version"] == products.REVISION


def test_licences_are_whole():
    ohl = (HARDWARE / "LICENSE").read_text(encoding="utf-8")
    assert ohl.startswith("CERN Open Hardware Licence Version 2 - Permissive") and "7.4" in ohl and len(ohl) > 8000
    assert "Permission is hereby granted" in (ROOT / "companion/LICENSE").read_text(encoding="utf-8")


def test_assembly_uses_every_picture_and_every_part():
    text = (HARDWARE / "assembly.md").read_text(encoding="utf-8")
    pictures = sorted(p.name for p in (HARDWARE / "assembly").glob("*.png"))
    assert len(pictures) >= 14
    for name in pictures:
        assert f"assembly/{name}" in text
    steps = re.split(r"\n## ", text)[2:]
    assert [int(re.match(r"\d+", s)[0]) for s in steps] == list(range(1, len(steps) + 1))
    for step in steps:
        assert "**Check**" in step and "**Do**" in step, step.splitlines()[0]
    for plug in ("J1", "J2", "J3", "J4", "J5"):
        assert plug in text
    assert f"{PARAMS.pane_w:.1f} x {PARAMS.pane_h:.1f} mm" in text


def test_readme_cost_is_the_lists_sum():
    lines = bom.read()
    text = (HARDWARE / "README.md").read_text(encoding="utf-8")
    about, options = (int(n) for n in re.search(r"about (\d+) in local currency, about (\d+) with", text).groups())
    assert abs(bom.cost(lines, "perfboard") - about) <= 4
    assert abs(bom.cost(lines, "perfboard", optional=True) - options) <= 4


def test_bring_up_explains_every_line_of_the_self_test():
    source = ROOT / "firmware" / "selftest.py"
    if not source.exists():
        pytest.skip("firmware/selftest.py is not there")
    words: set[str] = set()
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "append":
            first = node.args[0]
            while isinstance(first, ast.BinOp):
                first = first.left
            if isinstance(first, ast.Constant) and (found := re.match(r"((?:%s )?[a-z][a-z ]*): ", str(first.value))):
                words.add(found[1])
    printed = {w.replace("%s", n) for w in words for n in (("bench", "probe") if "%s" in w else ("",))}
    assert len(printed) >= 8
    explained = set(re.findall(r"^\| `([a-z ]+):` \|", (HARDWARE / "bring_up.md").read_text(encoding="utf-8"), re.M))
    assert explained == printed


def test_boiling_table():
    # independent: iapws (IAPWS-IF97 saturation line); published: ICAO standard atmosphere
    iapws97 = pytest.importorskip("iapws.iapws97")
    text = (HARDWARE / "calibration.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d+) \| (\d+) \| ([\d.]+) \|$", text, re.M)
    assert len(rows) >= 8
    for metres, hpa, boils in rows:
        pressure_pa = 101325 * (1 - 2.25577e-5 * float(metres)) ** 5.25588
        assert float(hpa) == pytest.approx(pressure_pa / 100, abs=0.6)
        assert float(boils) == pytest.approx(iapws97._TSat_P(pressure_pa / 1e6) - 273.15, abs=0.02)


@pytest.mark.parametrize(
    "doc, words",
    [
        ("safety.md", ("mains", "oven", "certified", "food contact", "1935/2004", "local rules", "coin cell")),
        ("care.md", ("raw", "ready to eat", "allergen", "authority", "CR2032")),
        ("calibration.md", ("ice", "altitude", "103at", "3977")),
    ],
)
def test_cautions_are_there(doc, words):
    text = (HARDWARE / doc).read_text(encoding="utf-8")
    assert [w for w in words if w not in text] == []


def test_commands_in_the_documents_exist():
    parser = (ROOT / "companion/tourier/cli/parser.py").read_text(encoding="utf-8")
    found = set()
    for doc in DOCS:
        for line in re.findall(r"`tourier device ([^`]+)`", doc.read_text(encoding="utf-8")):
            verb, *rest = line.split()
            found.add(verb)
            assert f'"{verb}"' in parser, f"{doc.name}: tourier device {verb}"
            for option in (word for word in rest if word.startswith("--")):
                assert f'"{option}"' in parser, f"{doc.name}: {option}"
    assert {"install", "check", "ice-point", "boil-point"} <= found


def test_documents_speak_of_parts_that_exist():
    refs = set(build().parts) | {r for line in bom.read() for r in line.references}
    for doc in DOCS:
        for ref in re.findall(r"\b(?:SW|RT|DS|BZ|U|R|C|J|D|M)\d{1,2}\b(?! x)", doc.read_text(encoding="utf-8")):
            if ref in ("M2", "M3", "M12", "R25") or ref in refs:
                continue
            raise AssertionError(f"{doc.name} speaks of {ref}")
