"""What both ends of the link keep to: the retry table, and two small helpers."""

# Retry table. Times in ms. Each says what it waits for.
REPLY_MS = 600  # a sector erase stops the device up to 400 ms, a bulk frame ahead takes 125 ms at 115200, a screen 25
REPLY_TRIES = 8  # at bit errors 1e-3 and 5 % loss an exchange fails with 0.4: 8 tries leave 7 in 10 000
HELLO_MS = 300  # nothing can be queued ahead of its answer, and an unknown listener should be asked again soon
HELLO_TRIES = 12  # 3.6 s: a board that was just reset is back on USB after 1 to 2 s
BULK_SILENCE_MS = 700  # longest pause inside a window: erase 400 ms + a whole frame 125 ms + a busy loop pass
BULK_TRIES = 12  # silent or fruitless rounds in a row before the transfer counts as broken off
SLOW_MS = 15000  # self-test and the like, which the device does before it answers
PULL_MS = 250  # device: plan part asked for and not come; at 115200 the first octets take 5 ms
PULL_TRIES = 40  # device: 10 s, then it waits for the host to offer again
PULL_AHEAD = 4096  # device: most octets of plan asked for at once
TELEMETRY_MS = 1000  # the display's own pace
LISTENER_MS = 15000  # telemetry stops when the host was not heard for this long
PING_MS = 5000  # host: how often while it only watches; two of three pings may be lost
CHUNK_MIN = 32  # at bit errors 1e-3 a frame of 32+15 octets still passes with 0.68
SEQ_HALF = 0x8000
REPLIES_MAX = 4  # replies waiting for the port; a host that does not read gets no more than these
_TICKS = 1 << 30  # MicroPython's ticks_ms wraps here


def ms_since(earlier, now):
    """Milliseconds from `earlier` to `now` on a counter that wraps at 2**30 (right up to 6.2 days apart)."""
    return (now - earlier + (_TICKS >> 1)) % _TICKS - (_TICKS >> 1)


def clip(text, octets):
    """Return text cut so that its UTF-8 form has at most `octets` octets, at a character's boundary."""
    data = text.encode()
    if len(data) <= octets:
        return text
    while octets and data[octets] & 0xC0 == 0x80:
        octets -= 1
    return str(data[:octets], "utf-8")
