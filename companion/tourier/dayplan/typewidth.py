"""How wide a line of print is: letters of DejaVu Sans, the widest of the fonts a card names, so that it fits in any.

Widths are advances in em, rounded up to 0.01, read from DejaVu Sans 2.37 and its bold (public domain and Bitstream Vera
licence; only figures are taken over).
"""

from __future__ import annotations

MM_PER_PT = 25.4 / 72

_PLAIN = {
    0.28: "'ijlî", 0.30: "IJ", 0.32: " \xa0,.·", 0.34: "/:;\\|", 0.36: "f", 0.37: "-", 0.40: "()[]t", 0.42: "!r",
    0.46: '"', 0.50: "*_`°–", 0.53: "sz", 0.55: "?cç", 0.58: "FLk", 0.60: "vxy", 0.62: "PTYaeoâéèêôäöåø",
    0.64: "$0123456789ESbdghnpqu{}ûüñß", 0.69: "ABKVXZ", 0.70: "CR", 0.76: "HNU", 0.79: "&DGOQ",
}  # fmt: skip
_BOLD = {
    0.31: "'", 0.35: " \xa0ijlî", 0.37: "/\\|", 0.38: ",.IJ·", 0.42: ":;-", 0.44: "f", 0.48: "!()[]t", 0.53: '"*_`r°–',
    0.60: "?zcsç", 0.66: "Lxvy", 0.69: "kaeâéèêäåEFToôöø", 0.72: "$0123456789bdghnpqu{}ûüßñ", 0.78: "ABCKPRSVXYZ",
    0.84: "#+<=>DGHNU^~×→",
}  # fmt: skip
_EM = tuple({c: em for em, letters in table.items() for c in letters} for table in (_PLAIN, _BOLD))
_OTHER = (1.0, 1.12)  # anything else: as wide as the widest


def text_em(text: str, bold: bool = False) -> float:
    """Return the width of one line of text in em of its own size."""
    table, other = _EM[bold], _OTHER[bold]
    return sum(table.get(c, other) for c in text)


def lines_of(words: list[float], room: float, space: float = 0.35) -> int:
    """Return how many lines words (or boxes) of these widths take in a column, broken only between them; one unit."""
    count, at = 1, 0.0
    for width in words:
        if at and at + space + width > room:
            count, at = count + 1, width
        else:
            at += width + (space if at else 0.0)
    return count


def text_lines(text: str, room_em: float, bold: bool = False) -> int:
    """Return how many lines a text takes in a column of a width in em."""
    return lines_of([text_em(word, bold) for word in text.split()], room_em)
