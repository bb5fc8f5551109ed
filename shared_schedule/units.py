"""Integer conventions that both machines keep.

Times are whole seconds since 2020-01-01T00:00Z (`_at_s`), spans whole seconds (`_s`), temperatures hundredths of a
degree Celsius (`_cdeg`), lengths micrometres (`_um`), masses grams (`_g`). A Pico's small integers end at 2**30; this
epoch keeps every instant until 2054 below that, so that time costs no memory on the device.

Rounding is half away from zero, on both interpreters, because their own `round` and `%` formats differ.
"""

EPOCH_UNIX_S = 1577836800  # 2020-01-01T00:00:00Z

# No reading: outside every temperature the product handles, and fits a signed 16-bit field.
NO_CDEG = -32768

CDEG_MIN = -5500  # -55 °C, the cold end of the thermistor tables
CDEG_MAX = 30000  # 300 °C, above any oven written in a plan


def div_round(numerator, denominator):
    """Return numerator / denominator rounded half away from zero; integers in, integer out, denominator > 0."""
    if numerator >= 0:
        return (2 * numerator + denominator) // (2 * denominator)
    return -((-2 * numerator + denominator) // (2 * denominator))


def cdeg_text(cdeg, places=1):
    """Return '13.4' for 1340 (places=1) or '13' (places=0); '--' for no reading. No unit, no float."""
    if cdeg == NO_CDEG:
        return "--"
    if places == 0:
        return "%d" % div_round(cdeg, 100)
    tenths = div_round(cdeg, 10)
    sign = "-" if tenths < 0 else ""
    tenths = abs(tenths)
    return "%s%d.%d" % (sign, tenths // 10, tenths % 10)


def cdeg_to_fahrenheit_tenths(cdeg):
    """Return tenths of °F for hundredths of °C, an absolute temperature (not a difference)."""
    return div_round(cdeg * 9, 50) + 320
