"""The most pieces of one shape on a given sheet, of the product's own strips: to be held against published yields."""

from __future__ import annotations

from tourier.craft.cuts import EPS, CutError, Layout, Shape, _place, _ways, strip_capacity, strip_width


def most_pieces(shape: Shape, length_m: float, width_m: float, blade_m: float = 0.001) -> Layout:
    """As many pieces of one shape as strips can give on a trimmed sheet of given size; CutError if none fits."""
    best = None
    for across in (False, True):
        run, side = (width_m, length_m) if across else (length_m, width_m)
        caps = [(turned, strip_capacity(shape, turned, run, blade_m)) for turned in _ways(shape)]
        numbers = _fill(shape, caps, side, blade_m)
        total = sum(n * cap for n, (_, cap) in zip(numbers, caps, strict=True))
        if total and (best is None or total > best[0]):
            pairs = (numbers + [0])[:2]
            best = (total, run, side, (pairs[0], pairs[1]), across)
    if best is None:
        raise CutError("not one {name} fits on {long} x {wide}", "sheet", name=shape.name, long=("length", length_m),
                       wide=("length", width_m))  # fmt: skip
    total, run, side, numbers, across = best
    return _place(((shape, total),), run, side, (numbers,), blade_m, across)


def _fill(shape: Shape, caps, side: float, blade_m: float) -> list[int]:
    """Numbers of strips of each way that give most pieces within a width."""
    width = [strip_width(shape, turned) for turned, _ in caps]
    room = side + blade_m + EPS
    if len(caps) == 1:
        return [int(room / (width[0] + blade_m)) if caps[0][1] else 0]
    best, numbers = -1, [0, 0]
    for first in range(int(room / (width[0] + blade_m)) + 1):
        second = int((room - first * (width[0] + blade_m)) / (width[1] + blade_m))
        total = first * caps[0][1] + second * caps[1][1]
        if total > best:
            best, numbers = total, [first if caps[0][1] else 0, second if caps[1][1] else 0]
    return numbers
