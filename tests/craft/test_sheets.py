"""Layers exact for every sequence, sizes by volume, passes, spring-back."""

import itertools
import math

import pytest
from tourier.craft import sheets
from tourier.craft.sheets import SheetError


def slow_layers(folds):
    """Independent: build the stack letter by letter, fold it, merge touching dough faces."""
    stack = "DFD"
    for fold in folds:
        # Every second layer of the packet lies upside down.
        packet = "".join(stack if n % 2 == 0 else stack[::-1] for n in range(fold))
        while "DD" in packet:
            packet = packet.replace("DD", "D")
        stack = packet
    return stack.count("F"), stack.count("D")


@pytest.mark.parametrize("folds", [f for n in range(5) for f in itertools.product((2, 3, 4), repeat=n)])
def test_layers_by_folding_a_string(folds):
    last = sheets.layers(folds)[-1]
    assert (last.fat, last.dough) == slow_layers(folds)
    assert last.total == last.fat + last.dough
    assert last.naive == 3 * last.fat


@pytest.mark.parametrize(
    ("folds", "fat", "source"),
    [
        ((3, 3, 3), 27, "published: 3**n, EP 0445850 A1; 27 by three 3-folds, German Plunder"),
        ((3, 4, 4), 48, "published: Danish, 1 single and 2 double"),
        ((3, 3, 4), 36, "published: a school formula sheet states 36 layers of fat"),
        ((3,) * 6, 729, "published: six 3-folds, Leiths puff pastry"),
        ((3, 3, 4, 4), 144, "published: puff of 2 single and 2 double, 144"),
    ],
)
def test_layers_as_published(folds, fat, source):
    assert sheets.layers(folds)[-1].fat == fat


@pytest.mark.parametrize(
    ("fat_layers", "at_m", "fat_um", "dough_um"),
    [(9, 0.0035, 107.6, 253.2), (27, 0.0035, 35.9, 90.4), (36, 0.0035, 26.9, 68.4), (729, 0.0035, 1.3, 3.5)],
)
def test_layer_thickness(fat_layers, at_m, fat_um, dough_um):
    # independent: table worked from T phi / F at phi = 0.27668 (practice notes).
    fat, dough = sheets.layer_thickness(at_m, 0.27668, fat_layers)
    assert fat * 1e6 == pytest.approx(fat_um, abs=0.06)
    assert dough * 1e6 == pytest.approx(dough_um, abs=0.06)


def test_layer_thicknesses_fill_the_sheet():
    fat, dough = sheets.layer_thickness(0.004, 0.27, 48)
    assert 48 * fat + 49 * dough == pytest.approx(0.004, rel=1e-12)


@pytest.mark.parametrize(("ratio", "n"), [(1.33, 6), (1.5, 4), (2.0, 3)])
def test_passes_from_20_to_4_mm(ratio, n):
    # independent: ceil(ln(h0/h1)/ln r).
    assert sheets.passes(0.020, 0.004, ratio) == n


def test_no_pass_for_a_sheet_no_thinner():
    assert sheets.passes(0.004, 0.004) == 0
    assert sheets.passes(0.02, 0.01, 2.0) == 1
    with pytest.raises(ValueError, match="reduce"):
        sheets.passes(0.02, 0.01, 1.0)


def make(folds=(4, 3), bench=(1.2, 0.6), wish=None, volume=1e-3, final=(0.5, 0.5)):
    locked = (0.2, 0.2)
    return sheets.stages(volume, 0.27, locked, folds, 0.2, (*final, volume / final[0] / final[1]), bench, wish)


@pytest.mark.parametrize("folds", [(3, 3, 3), (4, 3), (2, 4, 3), (3,) * 6, (4, 4, 2)])
def test_every_stage_holds_the_volume(folds):
    for stage in make(folds):
        assert stage.volume_m3 == pytest.approx(1e-3, rel=1e-9)
        assert stage.roll_to_m <= 1.2 + 1e-9


def test_spine_and_quarter_turn():
    stages = make((3, 3))
    by_name = {s.step: s for s in stages}
    assert by_name["fold 1 rolled"].quarter == 0
    assert by_name["fold 2 rolled"].quarter == 1
    assert by_name["fold 2 rolled"].spine == sheets.SPINE_LEFT
    assert by_name["final sheet"].quarter == 1


def test_folded_packet_is_the_sheet_over_the_fold():
    by_name = {s.step: s for s in make((4, 3))}
    assert by_name["fold 1 folded"].length_m == pytest.approx(by_name["fold 1 rolled"].length_m / 4)
    assert by_name["fold 1 folded"].thickness_m == pytest.approx(by_name["fold 1 rolled"].thickness_m * 4)
    # Folding changes no layer's thickness, only touching dough faces merge.
    assert by_name["fold 1 folded"].fat_layer_m == pytest.approx(by_name["fold 1 rolled"].fat_layer_m)


def test_unwished_sheets_are_never_thinner_than_8_mm():
    for stage in make((3, 3), volume=6e-4):
        if stage.step.endswith("rolled"):
            assert stage.thickness_m >= sheets.MIN_BETWEEN_M - 1e-9


def test_refusals_name_the_limit():
    with pytest.raises(SheetError, match="longer than the 0.6 m of bench") as caught:
        make(bench=(0.6, 0.5), wish=0.6)
    assert caught.value.quantity == "bench length"
    with pytest.raises(SheetError, match="5-fold"):
        sheets.layers((5,))
    with pytest.raises(SheetError, match="volume"):
        sheets.stages(1e-3, 0.3, (0.2, 0.2), (3,), 0.2, (0.5, 0.5, 0.005), (1.2, 0.6))


def test_spring_back_is_allowed_for():
    for stage in make():
        if stage.roll_to_m:
            assert stage.roll_to_m == pytest.approx(stage.length_m * (1 + sheets.SPRING_BACK))
    assert math.isclose(sheets.SPRING_BACK, 0.05)
