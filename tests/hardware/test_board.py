"""The carrier board: placement, routing and the rule check that does not trust the router."""

from __future__ import annotations

import copy
import io
import zipfile

import pytest

from hardware.board import placement, route
from hardware.electronics.circuit import build
from hardware.enclosure.params import PARAMS
from hardware.firmware_pins import ROOT

BOARD = ROOT / "hardware" / "board"


@pytest.fixture(scope="module")
def circuit():
    return build()


@pytest.fixture(scope="module")
def layout(circuit):
    return route.route(circuit)


def test_every_part_stands_on_its_own_holes(circuit):
    assert placement.check(circuit) == []


@pytest.mark.parametrize(
    "change, word",
    [
        ({"R1": [(0, 0), (0, 0)]}, "share"),
        ({"R1": [(30, 0), (0, 0)]}, "off the board"),
        ({"R1": [(0, 0)]}, "2 pins but 1"),
        ({"R99": [(0, 0)]}, "not on the board"),
    ],
)
def test_placement_errors_are_named(circuit, change, word, monkeypatch):
    for ref, holes in change.items():
        monkeypatch.setitem(placement.HOLES, ref, holes)
    assert any(word in sentence for sentence in placement.check(circuit))


def test_board_matches_the_enclosure():
    assert placement.BOARD_MM == (PARAMS.board_w, PARAMS.board_h)
    xs, ys = sorted({x for x, _ in placement.MOUNT_MM}), sorted({y for _, y in placement.MOUNT_MM})
    assert xs[1] - xs[0] == PARAMS.board_hole_dx and ys[1] - ys[0] == PARAMS.board_hole_dy


def test_pico_rows_are_those_of_the_real_board():
    # published: Pico data sheet (from memory): two rows of 20 at 2.54 mm, 17.78 mm apart, pins 1 and 40 at the USB end
    holes = [placement.hole_mm(h) for h in placement.HOLES["U1"]]
    assert holes[0][1] - holes[39][1] == pytest.approx(17.78)
    assert holes[19][0] - holes[0][0] == pytest.approx(19 * 2.54)
    assert holes[0][0] == holes[39][0] < holes[19][0] == holes[20][0]


def test_every_track_ends_on_copper_of_its_net(circuit, layout):
    pads = {(round(x, 3), round(y, 3)): net for net, _, _, x, y in layout.pads}
    for net, _, x0, y0, x1, y1 in layout.tracks:
        for x, y in ((x0, y0), (x1, y1)):
            assert pads.get((round(x, 3), round(y, 3)), net) == net
        assert x0 == x1 or y0 == y1
    assert {net for net, *_ in layout.tracks} >= set(circuit.nets) - {route.PLANE}


def test_design_rules(circuit, layout):
    pytest.importorskip("shapely", reason="shapely comes with the hardware extra")
    from hardware.board import copper

    assert copper.check(circuit, layout) == []
    cut = copy.deepcopy(layout)
    gone = cut.tracks.pop(next(k for k, t in enumerate(cut.tracks) if t[0] == "SDA"))
    assert any("SDA is in more than one piece" in s for s in copper.check(circuit, cut)), gone
    crossed = copy.deepcopy(layout)
    crossed.tracks.append(("BUZZER_A", route.TOP, 5.0, 25.0, 60.0, 25.0))
    assert any("mm apart" in s for s in copper.check(circuit, crossed))
    off = copy.deepcopy(layout)
    off.tracks.append(("BUZZER_A", route.TOP, 60.0, 25.0, 71.0, 25.0))
    assert any("runs off" in s for s in copper.check(circuit, off))


def test_order_file_holds_every_layer(layout):
    with zipfile.ZipFile(io.BytesIO((BOARD / "gerbers.zip").read_bytes())) as z:
        names = z.namelist()
        texts = {name: z.read(name).decode() for name in names}
    assert sorted(n.rsplit(".", 1)[1] for n in names) == ["drl", "gbl", "gbs", "gm1", "gtl", "gto", "gts"]
    for name, text in texts.items():
        assert text.rstrip().endswith("M30" if name.endswith(".drl") else "M02*")
    drilled = sum(line.startswith("X") for line in texts["tourier-bench-timer.drl"].splitlines())
    assert drilled == len(layout.pads) + len(layout.vias) + len(placement.MOUNT_MM)
    top = texts["tourier-bench-timer-F_Cu.gtl"]
    assert top.count("D03*") == len(layout.pads) + len(layout.vias)


def test_a_board_house_reader_opens_the_files(tmp_path):
    # independent: gerbonara, a Gerber and Excellon reader
    gerbonara = pytest.importorskip("gerbonara", reason="gerbonara is not installed")
    with zipfile.ZipFile(BOARD / "gerbers.zip") as z:
        z.extractall(tmp_path)
    stack = gerbonara.LayerStack.open(tmp_path)
    (x0, y0), (x1, y1) = stack.board_bounds()
    assert (x1 - x0, y1 - y0) == pytest.approx(placement.BOARD_MM, abs=0.2)
