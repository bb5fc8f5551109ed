"""Where every part stands on the 70 x 50 mm board, in holes of the 2.54 mm grid; the same for both variants.

Seen from the component side, USB to the left. Column 0, row 0 is the upper left hole. The perfboard picture and the
printed circuit both come from this table, so a maker can read one while soldering the other.
"""

from __future__ import annotations

from hardware.electronics.circuit import PICO_HEADER, Circuit

REVISION = "A"  # stamped on the board and in the manifest; raise it when a built board would differ
PITCH_MM = 2.54
COLUMNS, ROWS = 26, 18
BOARD_MM = (70.0, 50.0)
ORIGIN_MM = ((BOARD_MM[0] - (COLUMNS - 1) * PITCH_MM) / 2, (BOARD_MM[1] - (ROWS - 1) * PITCH_MM) / 2)
MOUNT_MM = ((2.0, 2.0), (68.0, 2.0), (2.0, 48.0), (68.0, 48.0))
MOUNT_DRILL_MM = 2.3

_FIRST_PICO_COLUMN = 6  # leaves 19 mm for the USB plug over the board's free left end
_TOP_ROW, _LOW_ROW = 5, 12  # the Pico's two rows are seven holes apart


def _line(column: int, row: int, count: int) -> list[tuple[int, int]]:
    return [(column + k, row) for k in range(count)]


def _pico() -> list[tuple[int, int]]:
    low = _line(_FIRST_PICO_COLUMN, _LOW_ROW, 20)
    top = _line(_FIRST_PICO_COLUMN, _TOP_ROW, 20)[::-1]
    return low + top


# Reference -> holes of pins 1, 2, ...
HOLES: dict[str, list[tuple[int, int]]] = {
    "U1": _pico(),
    # Thermometers, upper edge, beside the ADC pins.
    "J2": _line(11, 0, 2), "R2": [(10, 4), (10, 1)], "R4": [(12, 1), (12, 4)], "C2": [(14, 3), (14, 1)],
    "J1": _line(17, 0, 2), "R1": [(19, 4), (19, 1)], "R3": [(17, 1), (17, 4)], "C1": [(15, 3), (15, 1)],
    "J4": _line(20, 0, 4),
    # Lower edge: bus, sound, light.
    "J8": _line(1, 17, 4), "J7": _line(6, 17, 4), "J3": _line(11, 17, 5),
    "R6": [(7, 13), (7, 16)], "R5": [(10, 13), (10, 16)], "C3": [(4, 15), (4, 13)],
    "R7": [(17, 13), (17, 16)], "J6": _line(17, 17, 2),
    "R8": [(19, 13), (19, 16)], "R9": [(21, 13), (21, 16)], "R10": [(23, 13), (23, 16)], "J5": _line(20, 17, 4),
}  # fmt: skip


def hole_mm(hole: tuple[int, int]) -> tuple[float, float]:
    """Position in mm from the board's upper left corner, y downwards."""
    return (ORIGIN_MM[0] + hole[0] * PITCH_MM, ORIGIN_MM[1] + hole[1] * PITCH_MM)


def check(c: Circuit) -> list[str]:
    """What is wrong with the table: parts missing, pins too many, two pins in one hole, holes off the board."""
    found = []
    on_board = {ref for ref, part in c.parts.items() if not part.off_board}
    for ref in sorted(on_board ^ set(HOLES)):
        found.append(f"{ref} is {'not placed' if ref in on_board else 'placed but not on the board'}")
    taken: dict[tuple[int, int], str] = {}
    for ref, holes in HOLES.items():
        if ref in c.parts and len(holes) != len(c.parts[ref].pins):
            found.append(f"{ref} has {len(c.parts[ref].pins)} pins but {len(holes)} holes")
        for hole in holes:
            if hole in taken:
                found.append(f"{ref} and {taken[hole]} share column {hole[0]} row {hole[1]}")
            taken[hole] = ref
            if not (0 <= hole[0] < COLUMNS and 0 <= hole[1] < ROWS):
                found.append(f"{ref} lies off the board")
    if len(HOLES["U1"]) != len(PICO_HEADER):
        found.append("the Pico needs 40 holes")
    return found
