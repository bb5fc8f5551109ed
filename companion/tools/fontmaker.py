"""Draw the bench timer's own letters and write them as firmware/fonts.py.

The large ones are strokes on a grid 9 units tall, drawn with a round pen, so that one design serves both sizes; the
small ones are columns of dots. Run `python companion/tools/fontmaker.py > firmware/fonts.py`.
"""

from __future__ import annotations

import math

_O = [(1.5, 0), (4.5, 0), (6, 1.7), (6, 7.3), (4.5, 9), (1.5, 9), (0, 7.3), (0, 1.7), (1.5, 0)]
_P = [(0, 9), (0, 0), (4.5, 0), (6, 1.5), (6, 3.6), (4.5, 5), (0, 5)]
_SIX = [(5.6, 1.2), (4.5, 0), (1.6, 0), (0, 1.8), (0, 7.4), (1.5, 9), (4.5, 9), (6, 7.5), (6, 5.4), (4.6, 4),
        (1.6, 4), (0, 5.4)]  # fmt: skip

# Strokes of each letter; y grows downwards.
STROKES: dict[str, list[list[tuple[float, float]]]] = {
    "A": [[(0, 9), (0, 2.6), (2, 0), (4, 0), (6, 2.6), (6, 9)], [(0, 5.6), (6, 5.6)]],
    "B": [[(0, 0), (4, 0), (5.5, 1.2), (5.5, 3.1), (4.3, 4.3), (0, 4.3)],
          [(4.3, 4.3), (6, 5.5), (6, 7.7), (4.6, 9), (0, 9), (0, 0)]],
    "C": [[(6, 2), (4.5, 0), (1.5, 0), (0, 1.7), (0, 7.3), (1.5, 9), (4.5, 9), (6, 7)]],
    "D": [[(0, 0), (4, 0), (6, 2), (6, 7), (4, 9), (0, 9), (0, 0)]],
    "E": [[(5.6, 0), (0, 0), (0, 9), (5.6, 9)], [(0, 4.4), (4.6, 4.4)]],
    "F": [[(5.6, 0), (0, 0), (0, 9)], [(0, 4.4), (4.6, 4.4)]],
    "G": [[(6, 2), (4.5, 0), (1.5, 0), (0, 1.7), (0, 7.3), (1.5, 9), (4.5, 9), (6, 7.3), (6, 5), (3.4, 5)]],
    "H": [[(0, 0), (0, 9)], [(6, 0), (6, 9)], [(0, 4.4), (6, 4.4)]],
    "I": [[(0, 0), (0, 9)]],
    "J": [[(5, 0), (5, 7.3), (3.6, 9), (1.4, 9), (0, 7.4)]],
    "K": [[(0, 0), (0, 9)], [(6, 0), (0.3, 5)], [(2.2, 3.6), (6, 9)]],
    "L": [[(0, 0), (0, 9), (5.2, 9)]],
    "M": [[(0, 9), (0, 0), (4, 5.6), (8, 0), (8, 9)]],
    "N": [[(0, 9), (0, 0), (6, 9), (6, 0)]],
    "O": [_O],
    "P": [_P],
    "Q": [_O, [(3.6, 6.4), (6.2, 9.3)]],
    "R": [_P, [(3, 5), (6, 9)]],
    "S": [[(6, 1.8), (4.6, 0), (1.4, 0), (0, 1.5), (0, 3), (1.3, 4.2), (4.7, 4.8), (6, 6), (6, 7.5), (4.6, 9),
           (1.4, 9), (0, 7.2)]],
    "T": [[(0, 0), (6, 0)], [(3, 0), (3, 9)]],
    "U": [[(0, 0), (0, 7.3), (1.5, 9), (4.5, 9), (6, 7.3), (6, 0)]],
    "V": [[(0, 0), (3, 9), (6, 0)]],
    "W": [[(0, 0), (1.8, 9), (4, 2.6), (6.2, 9), (8, 0)]],
    "X": [[(0, 0), (6, 9)], [(6, 0), (0, 9)]],
    "Y": [[(0, 0), (3, 4.6), (6, 0)], [(3, 4.6), (3, 9)]],
    "Z": [[(0, 0), (6, 0), (0, 9), (6, 9)]],
    "0": [_O],
    "1": [[(1, 2.2), (3.3, 0), (3.3, 9)]],
    "2": [[(0, 1.9), (1.5, 0), (4.5, 0), (6, 1.7), (6, 3.4), (0, 9), (6, 9)]],
    "3": [[(0, 1.5), (1.4, 0), (4.6, 0), (6, 1.5), (6, 3), (4.6, 4.4), (2.4, 4.4)],
          [(4.6, 4.4), (6, 5.8), (6, 7.5), (4.6, 9), (1.4, 9), (0, 7.5)]],
    "4": [[(4.6, 9), (4.6, 0), (0, 6.3), (6.1, 6.3)]],
    "5": [[(5.7, 0), (0.4, 0), (0.1, 4.3), (1.6, 3.5), (4.4, 3.5), (6, 5.1), (6, 7.4), (4.5, 9), (1.5, 9), (0, 7.5)]],
    "6": [_SIX],
    "7": [[(0, 0), (6, 0), (2.2, 9)]],
    "8": [[(1.5, 4.3), (0.2, 3), (0.2, 1.3), (1.5, 0), (4.5, 0), (5.8, 1.3), (5.8, 3), (4.5, 4.3), (1.5, 4.3),
           (0, 5.8), (0, 7.5), (1.5, 9), (4.5, 9), (6, 7.5), (6, 5.8), (4.5, 4.3)]],
    "9": [[(6 - x, 9 - y) for x, y in _SIX]],
    "-": [[(0.8, 4.6), (5.2, 4.6)]],
    "+": [[(0.4, 4.6), (5.6, 4.6)], [(3, 2), (3, 7.2)]],
    ".": [[(0, 8.9), (0, 9)]],
    ":": [[(0, 2.8), (0, 2.9)], [(0, 7), (0, 7.1)]],
    "?": [[(0, 1.8), (1.5, 0), (4.5, 0), (6, 1.6), (6, 3), (3, 5), (3, 6)], [(3, 8.9), (3, 9)]],
    "!": [[(0, 0), (0, 6)], [(0, 8.9), (0, 9)]],
    "/": [[(5, 0), (0, 9)]],
}  # fmt: skip

DIGITS = "0123456789"


def raster(char: str, height: int, pen: float, per_unit: float, fixed: bool = False) -> tuple[int, list[list[int]]]:
    """Return (width, rows of 0/1) of a letter `height` dots tall; `per_unit` dots a unit across."""
    strokes = STROKES[char]
    low = min(x for stroke in strokes for x, _y in stroke)
    high = 6.0 if fixed else max(x for stroke in strokes for x, _y in stroke)
    if fixed:
        low = 0.0
    up = (height - pen) / 9.0
    width = max(1, round((high - low) * per_unit + pen))
    over = 4
    rows = []
    for y in range(height):
        row = []
        for x in range(width):
            hits = 0
            for j in range(over):
                for i in range(over):
                    px, py = x + (i + 0.5) / over, y + (j + 0.5) / over
                    hits += _inked(strokes, px, py, low, per_unit, up, pen)
            row.append(1 if hits * 2 >= over * over else 0)
        rows.append(row)
    return width, rows


def _inked(strokes, px, py, low, per_unit, up, pen) -> int:
    for stroke in strokes:
        points = [((x - low) * per_unit + pen / 2, y * up + pen / 2) for x, y in stroke]
        for (x0, y0), (x1, y1) in zip(points, points[1:], strict=False):
            dx, dy = x1 - x0, y1 - y0
            length2 = dx * dx + dy * dy
            t = 0.0 if length2 == 0 else max(0.0, min(1.0, ((px - x0) * dx + (py - y0) * dy) / length2))
            if math.hypot(px - x0 - t * dx, py - y0 - t * dy) <= pen / 2:
                return 1
    return 0


def packed(rows: list[list[int]]) -> bytes:
    """MONO_HLSB: rows of octets, leftmost dot in bit 7."""
    out = bytearray()
    for row in rows:
        for start in range(0, len(row), 8):
            octet = 0
            for bit, dot in enumerate(row[start : start + 8]):
                octet |= dot << (7 - bit)
            out.append(octet)
    return bytes(out)


# Five columns a letter, top dot in bit 0, from space on; "~" is followed by the degree sign, an up and a
# down arrow and the middle dot.
_SMALL = """
0000000000 00005f0000 0007000700 147f147f14 242a7f2a12 2313086462 3649552250 0005030000 001c224100 0041221c00
14083e0814 08083e0808 0050300000 0808080808 0060600000 2010080402 3e5149453e 00427f4000 4261514946 2141454b31
1814127f10 2745454539 3c4a494930 0171090503 3649494936 064949291e 0036360000 0056360000 0814224100 1414141414
0041221408 0201510906 324979413e 7e1111117e 7f49494936 3e41414122 7f4141221c 7f49494941 7f09090901 3e4149497a
7f0808087f 00417f4100 2040413f01 7f08142241 7f40404040 7f020c027f 7f0408107f 3e4141413e 7f09090906 3e4151215e
7f09192946 4649494931 01017f0101 3f4040403f 1f2040201f 3f4038403f 6314081463 0708700807 6151494543 007f414100
0204081020 0041417f00 0402010204 4040404040 0001020400 2054545478 7f48444438 3844444420 384444487f 3854545418
087e090102 18a4a4a47c 7f08040478 00447d4000 0080847d00 7f10284400 00417f4000 7c04180478 7c08040478 3844444438
fc24242418 18242424fc 7c08040408 4854545420 043f444020 3c4040207c 1c2040201c 3c4030403c 4428102844 1ca0a0a07c
4464544c44 0008364100 00007f0000 0041360800 1008081008 0006090906 04027f0204 10207f2010
0000181800
"""


def small() -> tuple[bytes, bytes]:
    """Return (columns of all letters, one after the other; width of each)."""
    columns, widths = bytearray(), bytearray()
    for index, text in enumerate(_SMALL.split()):
        raw = bytes.fromhex(text)
        if index == 0:
            raw = bytes(3)
        else:
            raw = raw.strip(b"\x00") or raw
            if chr(32 + index).isdigit() and len(raw) < 5:
                raw = b"\x00" + raw + b"\x00"  # figures are all five wide, so that a countdown stands still
        columns += raw
        widths.append(len(raw))
    return bytes(columns), bytes(widths)


def _literal(data: bytes, indent: str = "    ") -> str:
    lines = []
    for start in range(0, len(data), 24):
        lines.append(indent + 'b"' + "".join(f"\\x{octet:02x}" for octet in data[start : start + 24]) + '"')
    return "\n".join(lines)


def module_text() -> str:
    """The whole of firmware/fonts.py."""
    parts = [
        '"""Letters of the glance screens. Written by companion/tools/fontmaker.py; change that, not this.\n\n'
        "WORD is 19 dots tall (8.2 mm on a 2.42 inch display), BIG 24 (10.3 mm): letters, their dots in one piece\n"
        "(two octets a row, leftmost in bit 7), their widths. SMALL is 7 dots tall: columns, each letter's width.\n"
        '"""\n'
    ]
    sets = (
        ("WORD", 19, 3.3, 1.32, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-+?!/.:"),
        ("BIG", 24, 4.2, 1.62, DIGITS + "-.:+"),
    )
    for name, height, pen, per_unit, chars in sets:
        dots, wide = bytearray(), bytearray()
        for char in chars:
            width, rows = raster(char, height, pen, per_unit, fixed=name == "BIG" and char in DIGITS + "-+")
            dots += packed([row + [0] * (16 - len(row)) for row in rows])
            wide.append(width)
        parts.append(f'{name}_HEIGHT = {height}\n{name}_LETTERS = "{chars}"')
        parts.append(f"{name} = (\n{_literal(dots)}\n)\n{name}_WIDTHS = (\n{_literal(wide)}\n)\n")
    columns, widths = small()
    parts.append(f"SMALL_HEIGHT = 8\nSMALL = (\n{_literal(columns)}\n)\nSMALL_WIDTHS = (\n{_literal(widths)}\n)")
    return "\n".join(parts) + "\n"


def main() -> None:
    import sys

    sys.stdout.write(module_text())


if __name__ == "__main__":
    main()
