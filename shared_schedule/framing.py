"""Frames on a byte stream: RFC 1662 octet stuffing with a 32-bit FCS, and Ctrl-C kept out of the data.

Job: bytes to payloads and back. It must not know what a payload means, and it reads no port and no clock.

On the line a frame is   0x7E  stuffed(payload + FCS-32, low octet first)  0x7E   (RFC 1662 sections 3.1, 4.2, C.3).
Empty frames (two flags in a row) are fill and mean nothing, so a sender may pad with flags. The address, control
and protocol fields of PPP are not sent: both ends are ours and four octets a frame would buy nothing.

Sent escaped are 0x7D, 0x7E and 0x03: MicroPython takes an 0x03 on its console as "interrupt the program" and throws
away what it has read, so 0x03 must never be data. The receiver takes any escaped octet, as the RFC asks.

Everything heavy is bytes.replace, split, count and binascii.crc32, which are C on both interpreters.
"""

import binascii
import struct

FLAG = b"~"  # 0x7E
ESCAPE = b"}"  # 0x7D
_XOR = 0x20
FCS_OCTETS = 4
# The FCS over payload and its own (complemented, low octet first) FCS is this for every good frame: RFC 1662
# appendix C gives the register as 0xDEBB20E3; crc32 complements once more, which makes it 0x2144DF1C.
GOOD_FCS = 0x2144DF1C

# Octets a MicroPython prompt only echoes: no control character, nothing that opens a bracket or a string and so
# would leave the prompt waiting for more, no backslash (line continuation), no flag or escape.
_QUIET = b" !$%&*+,-./0123456789;<=>?@ABCDEFGHIJKLMNOPQRSTUVWXYZ^_abcdefghijklmnopqrstuvwxyz|"
_QUIET_ESCAPED = _QUIET + b"\"#'"  # after an escape no three quotes can meet, so no long string is opened


def stuff(body):
    """Escape 0x7D first (else its own escapes would be escaped again), then 0x7E and 0x03."""
    return body.replace(b"}", b"}]").replace(b"~", b"}^").replace(b"\x03", b"}#")


def unstuff(body):
    """Undo stuffing; None when an escape is cut off (RFC 1662 4.3: that is how a sender aborts a frame).

    The three octets our own sender escapes go by replace; any other escape takes the slower general way.
    """
    # A bare 0x03 can only have been put in on the way: RFC 1662 4.2 has the receiver drop such octets.
    body = body.replace(b"\x03", b"")
    escapes = body.count(ESCAPE)
    if not escapes:
        return body
    usual = body.replace(b"}#", b"\x03").replace(b"}^", b"~").replace(b"}]", b"}")
    if len(usual) == len(body) - escapes:  # each escape was one of the three
        return usual
    parts = body.split(ESCAPE)
    out = [parts[0]]
    for part in parts[1:]:
        if not part:
            return None
        out.append(bytes((part[0] ^ _XOR,)))
        out.append(part[1:])
    return b"".join(out)


def encode(payload, opening=True):
    """Return the octets of one frame. opening=False leaves out the first flag, for a frame that follows another."""
    payload = bytes(payload)
    body = stuff(payload + struct.pack("<I", binascii.crc32(payload)))
    return (FLAG if opening else b"") + body + FLAG


def decode(segment):
    """Return the payload of what stood between two flags, or None when it is no good frame."""
    body = unstuff(segment)
    if body is None or len(body) <= FCS_OCTETS or binascii.crc32(body) != GOOD_FCS:
        return None
    return body[:-FCS_OCTETS]


def encode_quiet(payload):
    """Return the frame with every control octet escaped, or None when an octet of it would disturb a prompt.

    For the first frame to an unknown listener: all its octets are printable, so that a bare MicroPython prompt
    only echoes them. The caller varies a filler field until this succeeds (about 1 try in 40 does).
    """
    body = bytes(payload) + struct.pack("<I", binascii.crc32(bytes(payload)))
    out = bytearray(FLAG)
    for octet in body:
        if octet in _QUIET:
            out.append(octet)
        elif (octet < 0x20 or octet == 0x7F) and (octet ^ _XOR) in _QUIET_ESCAPED:
            out.append(0x7D)
            out.append(octet ^ _XOR)
        else:
            return None
    out += FLAG
    return bytes(out)


class Deframer:
    """Takes octets in any portions, gives payloads; keeps at most `cap` octets of an unfinished frame.

    `cap` is the longest payload wanted; twice that (all escaped) plus FCS is what is held at worst. What is not a
    good frame is counted and, when it reads as text (a prompt, a traceback, a print), handed over as noise.

    Attributes: frames, damaged (segments with a bad FCS), overruns (segments over the cap), noise_octets.
    """

    def __init__(self, cap):
        self._cap = cap
        self._held_max = 2 * (cap + FCS_OCTETS)
        self._held = bytearray()
        self._skipping = False
        self._noise = b""
        self.frames = 0
        self.damaged = 0
        self.overruns = 0
        self.noise_octets = 0

    def feed(self, data):
        """Take octets (bytes, bytearray or memoryview); return the list of payloads completed by them."""
        found = []
        parts = bytes(data).split(FLAG)
        last = len(parts) - 1
        for i, part in enumerate(parts):
            if part and not self._skipping:
                if len(self._held) + len(part) > self._held_max:
                    self._skip(part)
                elif i < last and not self._held:
                    self._close(part, found)  # whole segment in one portion: no copy into the buffer
                    continue
                else:
                    self._held += part
            if i < last:
                if self._held:
                    segment = bytes(self._held)
                    self._held = bytearray()
                    self._close(segment, found)
                self._skipping = False
        return found

    def _skip(self, part):
        self.overruns += 1
        self._keep_noise(bytes(self._held) + part)
        self._held = bytearray()
        self._skipping = True

    def _close(self, segment, found):
        payload = decode(segment)
        if payload is not None and len(payload) <= self._cap:
            self.frames += 1
            found.append(payload)
            return
        if payload is not None:
            self.overruns += 1
            return
        self.damaged += 1
        self._keep_noise(segment)

    def _keep_noise(self, octets):
        self.noise_octets += len(octets)
        self._noise = (self._noise + octets)[-256:]  # enough for the last lines of a traceback

    def take_noise(self):
        """Return, and forget, the last octets (at most 256) that belonged to no good frame. Not sanitised."""
        noise = self._noise
        self._noise = b""
        return noise

    def tail(self, count=8):
        """Return the last octets held of an unfinished segment: a prompt waiting for input ends in `>>> `."""
        return bytes(self._held[-count:])

    def reset(self):
        """Forget the unfinished segment, as after a pulled cable. Counters stay."""
        self._held = bytearray()
        self._skipping = False
        self._noise = b""
