"""The butter block and its fit in the dough sheet.

All three lock-ins cover the block with two layers of dough, so the dough sheet is twice the block's area:

* two-flap: block in the middle, both ends brought over it: dough 2 L x W (8 x 8 in on 8 x 16 in);
* half: block on one half, the other folded over: dough 2 L x W as well;
* envelope: block turned on its corner on a square, four corners to the middle: dough side = sqrt(2) x block side
  (a 7.5 in block in a 10.5 in square, as a public recipe has it: sqrt(2) gives 10.6).

Lengths in m, volumes in m3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tourier.craft.misfit import Misfit

LOCK_INS = ("two-flap", "envelope", "half")

#: Thickness aimed at: dough and fat sheets start at about 1 cm (Macias Rodriguez & Marangoni 2018, Physics Today 71(1)
#: 70); 8 to 12 mm is common practice. Small blocks are made at the thin end, or they get too small to fold.
THIN_M, USUAL_M = 0.008, 0.010
SMALL_M3 = 400e-6
#: Thickest dough sheet that still folds over a block: common practice, no source.
THICK_DOUGH_M = 0.050


class BlockError(Misfit):
    """A block that cannot be made; `quantity` names what limits."""


@dataclass(frozen=True)
class Block:
    """A butter block and the dough sheet that closes over it; lengths in m."""

    length_m: float
    width_m: float
    thickness_m: float
    dough_length_m: float
    dough_width_m: float
    dough_thickness_m: float
    lock_in: str


def fit(
    butter_m3: float,
    dough_m3: float,
    lock_in: str = "two-flap",
    thickness_m: float | None = None,
    length_m: float | None = None,
    width_m: float | None = None,
) -> Block:
    """Size of the block from its volume and whatever the cook has fixed, and the dough sheet for it.

    With length and width fixed the thickness follows; with one of them and a thickness, the other; with nothing, a
    square at the usual thickness. Raises BlockError outside 3 to 30 mm of butter or 3 to 50 mm of dough.
    """
    if lock_in not in LOCK_INS:
        raise BlockError(f"no lock-in is called {lock_in}", "lock-in")
    if length_m and width_m:
        thickness = butter_m3 / (length_m * width_m)
    else:
        thickness = thickness_m or (THIN_M if butter_m3 < SMALL_M3 else USUAL_M)
        area = butter_m3 / thickness
        length_m = length_m or (area / width_m if width_m else math.sqrt(area))
        width_m = width_m or area / length_m
    if not 0.003 <= thickness <= 0.030:
        raise BlockError(
            "the butter block would be {thick} thick on {length} x {width}; {least} to {most} can be made, so change "
            "the block's size",
            "butter block thickness",
            thick=("thickness", thickness), length=("length", length_m), width=("length", width_m),
            least=("thickness", 0.003), most=("thickness", 0.030),
        )
    if lock_in == "envelope" and abs(length_m / width_m - 1.0) > 0.1:
        raise BlockError("an envelope needs a square block; give one side only, or another lock-in", "butter block")
    dough_thickness = dough_m3 / (2.0 * length_m * width_m)
    if dough_thickness < 0.003:
        raise BlockError(
            "the dough sheet would be {thick} thick over the block; below {least} it tears",
            "dough sheet thickness",
            thick=("thickness", dough_thickness), least=("thickness", 0.003),
        )
    if dough_thickness > THICK_DOUGH_M:
        raise BlockError(
            "the dough sheet would be {thick} thick over a block of {length} x {width}; above {most} it does not fold "
            "over it: make the block thinner, or roll in more butter",
            "dough sheet thickness",
            thick=("thickness", dough_thickness), length=("length", length_m), width=("length", width_m),
            most=("thickness", THICK_DOUGH_M),
        )
    if lock_in == "envelope":
        side = math.sqrt(2.0 * length_m * width_m)
        sheet = (side, side)
    else:
        sheet = (2.0 * length_m, width_m)
    return Block(length_m, width_m, thickness, sheet[0], sheet[1], dough_thickness, lock_in)
