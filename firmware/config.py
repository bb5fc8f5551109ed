"""Settings and calibration: names, defaults, limits, and the sealed record each is kept in.

A value is a whole number; on the wire it is decimal text, or the word from `_WORDS` where there is one.
"""

import struct

import pins

RELEASE = "0.1.0"  # the wheel's too (pyproject.toml)
VERSION = tuple(int(part) for part in RELEASE.split("."))
FIRMWARE = "tourier " + RELEASE

_WORDS = {"curve_bench": ("103at", "3977"), "curve_probe": ("103at", "3977")}

# (name, default, low, high). Only ever appended to: a shorter record of an older version stays readable.
SETTINGS = (
    ("curve_bench", _WORDS["curve_bench"].index(pins.CURVE_BENCH), 0, 1),
    ("curve_probe", _WORDS["curve_probe"].index(pins.CURVE_PROBE), 0, 1),
    ("ohm_bench", pins.R_FIXED_BENCH_OHM, 1000, 100000),
    ("ohm_probe", pins.R_FIXED_PROBE_OHM, 1000, 100000),
    ("contrast", 140, 1, 255),
    ("sound", 1, 0, 1),
    ("watchdog", 1, 0, 1),
    ("smps_pwm", 0, 0, 1),
)

CALIBRATION = (
    ("offset_bench", 0, -300, 300),  # cdeg, added to the reading
    ("offset_probe", 0, -300, 300),
    ("ice_at_s", 0, 0, 0x3FFFFFFF),
    ("boil_error", 0, -1000, 1000),  # what the probe read in boiling water minus what it should have read
)

PATH_SETTINGS = "/set"
PATH_CALIBRATION = "/cal"


class Values:
    """A table's values as attributes by name."""

    def __init__(self, table):
        self.table = table
        self.values = {}
        for row in table:
            self.values[row[0]] = row[1]

    def __getitem__(self, name):
        return self.values[name]

    def set(self, name, value):
        """Take a value within its limits; ValueError names them otherwise, KeyError an unknown name."""
        for row in self.table:
            if row[0] == name:
                if not row[2] <= value <= row[3]:
                    raise ValueError("%s is %d; allowed are %d to %d" % (name, value, row[2], row[3]))
                self.values[name] = value
                return
        raise KeyError(name)

    def text(self, name):
        """The value as it goes over the wire."""
        value = self.values[name]
        return _WORDS[name][value] if name in _WORDS else "%d" % value

    def set_text(self, name, text):
        """Take a value from the wire."""
        if name in _WORDS:
            if text not in _WORDS[name]:
                raise ValueError("%s is %r; known are %s" % (name, text[:20], ", ".join(_WORDS[name])))
            self.set(name, _WORDS[name].index(text))
            return
        try:
            value = int(text)
        except ValueError:
            raise ValueError("%s must be a whole number" % name)
        self.set(name, value)

    def pack(self):
        """The record's payload."""
        out = b""
        for row in self.table:
            out += struct.pack("<i", self.values[row[0]])
        return out

    def unpack(self, payload):
        """Take what a payload holds; values outside their limits stay at the default. False when any was."""
        sound = True
        for at in range(min(len(self.table), len(payload) // 4)):
            value = struct.unpack("<i", payload[4 * at : 4 * at + 4])[0]
            try:
                self.set(self.table[at][0], value)
            except ValueError:
                sound = False
        return sound


def load(store, path, table, what):
    """Return the Values on flash, or the defaults."""
    values = Values(table)
    payload = store.load(path, what)
    if payload is not None and not values.unpack(payload):
        store.losses.append((what, len(payload)))
    return values
