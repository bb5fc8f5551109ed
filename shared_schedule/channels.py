"""Sensors as data: one entry for each, the same from the converter to the report. Two are usual, four the most.

Number of the converter's input, kind, place (of `plan`), pâton it belongs to (0 = none), number of its curve in
`thermistor.CURVE_NAMES`, name. The first two are always bench and probe.
"""

from collections import namedtuple

OTHER = 0
BENCH = 1
DOUGH = 2
AIR = 3

Channel = namedtuple("Channel", ("number", "kind", "place", "paton", "curve", "name"))

USUAL = (Channel(0, BENCH, 1, 0, 0, "bench"), Channel(1, DOUGH, 0, 0, 0, "probe"))
