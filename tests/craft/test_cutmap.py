"""The cut map as SVG and as cells shows every piece, and lets no text through unescaped."""

import xml.etree.ElementTree as ET

import pytest
from tourier.craft import cutmap, cuts
from tourier.craft.cuts import Shape
from tourier.known import Known

SVG = "{http://www.w3.org/2000/svg}"
WANTS = [(Shape("croissant", "triangle", 0.09, 0.26), 12), (Shape("<b>&pain", "rectangle", 0.08, 0.14), 6)]


def layout():
    return cuts.smallest_sheet(WANTS, 0.8, 0.58, 0.001, 0.12)


def test_svg_is_xml_with_one_polygon_a_piece():
    text = cutmap.sheets_svg([("", layout(), 0.02)], title="<script>")
    root = ET.fromstring(text)
    assert len(root.findall(f"{SVG}polygon")) == 18
    assert root.find(f"{SVG}title").text == "<script>"
    assert "<script>" not in text
    assert "<b>" not in text


def test_svg_is_true_to_size():
    made = layout()
    root = ET.fromstring(cutmap.sheets_svg([("", made, 0.02)]))
    sheet = root.findall(f"{SVG}rect")[1]
    assert abs(float(sheet.get("width")) - made.length_m * 1000) < 0.01
    assert abs(float(sheet.get("height")) - made.width_m * 1000) < 0.01


def test_every_piece_is_drawn_where_it_is_cut_and_inside_the_paper():
    """Corners in the drawing, counted from its sheet's corner, are the layout's corners in mm, near edge below."""
    made, edge_mm = layout(), 20.0
    root = ET.fromstring(cutmap.sheets_svg([("", made, edge_mm / 1000)]))
    rolled, sheet = root.findall(f"{SVG}rect")[:2]
    left, top, high = (float(sheet.get(name)) for name in ("x", "y", "height"))
    assert float(rolled.get("x")) == left - edge_mm and float(rolled.get("y")) == top - edge_mm
    assert float(rolled.get("width")) == pytest.approx(made.length_m * 1000 + 2 * edge_mm, abs=0.011)
    drawn = [[tuple(map(float, xy.split(","))) for xy in each.get("points").split()]
             for each in root.findall(f"{SVG}polygon")]  # fmt: skip
    for piece, corners in zip(cuts.pieces(made), drawn, strict=True):
        for (x_m, y_m), (x, y) in zip(piece.corners, corners, strict=True):
            assert x - left == pytest.approx(x_m * 1000, abs=0.02)
            assert top + high - y == pytest.approx(y_m * 1000, abs=0.02)
    paper = [float(each) for each in root.get("viewBox").split()]
    far = float(rolled.get("x")) + float(rolled.get("width")), float(rolled.get("y")) + float(rolled.get("height"))
    assert far[0] < paper[2] <= far[0] + 60 and far[1] < paper[3] <= far[1] + 60


def test_cells_cover_the_pieces_in_proportion():
    made = layout()
    lines = cutmap.cells(made, 96)
    text = "".join(lines)
    assert all(len(line) == 96 for line in lines)
    for letter, (shape, count) in zip("AB", WANTS, strict=True):
        share = (text.count(letter) + text.count(letter.lower())) / len(text)
        assert abs(share - shape.area_m2 * count / made.area_m2) < 0.03
    assert set(text) <= set("AaBb.")
    assert cutmap.legend(made)[0] == "A  12 x croissant"


def test_cells_put_the_near_edge_at_the_bottom():
    made = cuts.smallest_sheet([(Shape("t", "triangle", 0.1, 0.2), 1)], 0.3, 0.3, 0.0)
    lines = cutmap.cells(made, 20)
    assert lines[-1].count("A") > lines[0].count("A")


def test_the_maps_of_all_patons_stand_in_one_drawing():
    """Three kinds of pâton, three sheets, every piece of the batch; marks in the cook's unit (1/16 in)."""
    from datetime import UTC, datetime

    from tourier.batch.examples import example_text
    from tourier.batch.read import read_batch_text
    from tourier.batch.workup import work_up
    from tourier.plantext import cut_map_svg

    work = work_up(read_batch_text(example_text("mixed-shapes"), "mixed", datetime(2026, 3, 9, 8, tzinfo=UTC)), Known())
    root = ET.fromstring(cut_map_svg(work))
    drawn = len(root.findall(f".//{SVG}polygon"))
    layouts = {id(sheet["layout"]): sheet["layout"] for sheet in work.cuts["sheets"]}
    assert work.patons > 1 and drawn == sum(sum(strip.count for strip in x.strips) for x in layouts.values())
    text = "".join(root.itertext())
    assert all(f"Pâton {n}" in text or "Pâtons" in text for n in range(1, work.patons + 1))


def test_a_sheet_wider_than_long_is_drawn_no_higher_than_a_square_one():
    """Sixteen pains au chocolat, strips across the bench: 26 cm long, 65 wide, which 64 columns would draw 80 high."""
    made = cuts.Layout(**{**vars(layout()), "length_m": 0.26, "width_m": 0.65, "strips": (), "counts": (0, 0)})
    lines = cutmap.cells(made, 64)
    assert 16 <= len(lines) <= 32 and len(lines[0]) >= 16
    # Still to scale: a cell is twice as high as wide.
    assert abs(len(lines) * 2 / len(lines[0]) - 0.65 / 0.26) < 0.15


def test_a_mark_on_half_a_millimetre_is_rounded_up_everywhere():
    assert [cutmap._mm_text(mm / 1000) for mm in (90.5, 181.5, 272.0, 545.5)] == ["9.1", "18.2", "27.2", "54.6"]
