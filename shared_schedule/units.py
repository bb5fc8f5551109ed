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
