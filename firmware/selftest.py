"""What a builder sees after soldering: one line a part, each with what was found or what to look at."""

import pins

from shared_schedule.thermistor import FAULT_WORDS
from shared_schedule.units import NO_CDEG
from shared_schedule.voice import degrees


def run(app):
    """Return (passed, lines as one text). Changes nothing that lasts."""
    found = app.board.scan()
    us = app.bench.us
    unit = " F" if us else " C"
    out = []
    passed = True
    ok = pins.ADDR_OLED in found
    passed = passed and ok
    out.append("display: " + ("ok" if ok else "no answer at 0x%02X; check SDA, SCL, reset" % pins.ADDR_OLED))
    for about, channel in zip(app.board.channels, app.sampler.channels):
        name = about.name
        if channel.cdeg != NO_CDEG:
            out.append("%s thermometer: %s%s, code %d" % (name, degrees(channel.cdeg, us), unit, channel.code >> 4))
        else:
            passed = False
            out.append("%s thermometer: %s, code %d" % (name, FAULT_WORDS[channel.fault], channel.code >> 4))
    out.append("air sensor: " + ("ok" if pins.ADDR_AIR in found else "not fitted"))
    out.append("clock chip: " + ("ok" if pins.ADDR_CLOCK in found else "not fitted"))
    out.append("clock: " + ("set" if app.clock.ok else "not set"))
    down = app.board.buttons()
    out.append("buttons: " + ("none down" if not down else "down: %d (stuck?)" % down))
    passed = passed and not down
    free = app.store.free()
    out.append("flash: %d KB free" % (free // 1024))
    out.append("memory: %d KB free" % (app.supervisor.measure() // 1024))
    app.sounder.play(3, app.ticks())
    return (1 if passed else 0), "\n".join(out)
