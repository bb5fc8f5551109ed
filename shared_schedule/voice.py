"""How spans, temperatures and inches are said, for both machines: integers in, short text out.

`us` is 0 for °C and metric lengths, 1 for °F and inches. The companion says the rest in `tourier.voice`.
"""

from shared_schedule.units import NO_CDEG, div_round


def span(s):
    """Return '1 h 15 min', '2 h', '45 min', or '90 s' for odd seconds under two minutes; whole seconds, any sign."""
    sign = "-" if s < 0 else ""
    s = abs(s)
    if s < 120 and s % 60:
        return "%s%d s" % (sign, s)
    hours, minutes = divmod((s + 30) // 60, 60)
    if not hours:
        return "%s%d min" % (sign, minutes)
    return "%s%d h %d min" % (sign, hours, minutes) if minutes else "%s%d h" % (sign, hours)


def countdown(s):
    """Return (digits, unit) of what is left: ('99', 's'), ('45', 'min'), ('1:45', 'h'); ('--', 'min') if s < 0."""
    if s < 0:
        return "--", "min"
    if s < 100:
        return "%d" % s, "s"
    minutes = (s + 30) // 60
    if minutes < 100:
        return "%d" % minutes, "min"
    if minutes < 600:
        return "%d:%02d" % (minutes // 60, minutes % 60), "h"
    return "%d" % ((minutes + 30) // 60), "h"


def degrees(cdeg, us=0, places=1):
    """Return '13.4' for 1340 (places=1) or '13' (places=0), '56.1' or '56' in °F; '--' for no reading. No unit."""
    if cdeg == NO_CDEG:
        return "--"
    tenths = div_round(cdeg * 9 + 16000, 50) if us else div_round(cdeg, 10)
    if not places:
        return "%d" % (div_round(cdeg * 9 + 16000, 500) if us else div_round(cdeg, 100))
    return "%s%d.%d" % ("-" if tenths < 0 else "", abs(tenths) // 10, abs(tenths) % 10)


def inches(um, parts=16):
    """Return '1 1/2' for 38100: inches to the nearest 1/parts (2, 4, 8 or 16), as a ruler has them; um >= 0."""
    count = div_round(um * parts, 25400)
    whole, rest = divmod(count, parts)
    if not rest:
        return "%d" % whole
    while rest % 2 == 0:
        rest //= 2
        parts //= 2
    return "%d %d/%d" % (whole, rest, parts) if whole else "%d/%d" % (rest, parts)
