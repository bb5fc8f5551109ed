"""What can go wrong between the desk and the bench timer. Every str() is one sentence that says what to do.

Text that came from the device or from a port's name passes through `plain` before it is part of such a sentence.
"""

from __future__ import annotations


def plain(text: object, cap: int = 120) -> str:
    """Return text fit for a terminal: control and other unprintable characters become spaces, at most `cap` long."""
    cleaned = "".join(c if c.isprintable() else " " for c in str(text)[: 4 * cap])
    cleaned = " ".join(cleaned.split())
    return cleaned if len(cleaned) <= cap else cleaned[: cap - 3] + "..."


class LinkError(Exception):
    """Root of all of them. `partial`: octets of a log that did arrive, unbroken from its start (else empty)."""

    partial: bytes = b""


class PortMissing(LinkError):
    """No such port."""

    def __init__(self, url: str) -> None:
        super().__init__(
            f"There is no port {plain(url)}: check the cable, or leave --port away to have the timer searched for."
        )


class NoTimerFound(LinkError):
    """Discovery came to nothing. `seen`: (port, why it was not taken)."""

    def __init__(self, seen: list[tuple[str, str]]) -> None:
        if not seen:
            text = "No bench timer is plugged in: connect it with a USB cable that carries data, or name its --port."
        else:
            listed = "; ".join(f"{plain(port)}: {plain(why, 200)}" for port, why in seen[:4])
            text = f"No bench timer answered on the ports that could be one ({listed})."
        super().__init__(text)
        self.seen = seen


class PortBusy(LinkError):
    """Someone else has it open."""

    def __init__(self, url: str) -> None:
        super().__init__(
            f"The port {plain(url)} is in use: close the other program (a second tourier, mpremote, a serial monitor) "
            "and try again."
        )


class PortDenied(LinkError):
    """The operating system says no."""

    def __init__(self, url: str, group: str = "") -> None:
        how = (
            f"add yourself to the group {plain(group)} (sudo usermod -aG {plain(group)} $USER), then log out and in"
            if group
            else "ask whoever looks after this computer for access to it"
        )
        super().__init__(f"You may not open the port {plain(url)}: {how}.")


class PortVanished(LinkError):
    """It was there a moment ago."""

    def __init__(self, url: str) -> None:
        super().__init__(
            f"The port {plain(url)} went away in the middle: check the cable and repeat the command, "
            "which goes on where it stopped."
        )


class PortProblem(LinkError):
    """Anything else the port layer reports."""

    def __init__(self, url: str, why: object) -> None:
        super().__init__(f"The port {plain(url)} cannot be used ({plain(why, 200)}): check its name and settings.")


class NotOurDevice(LinkError):
    """Something answers, or nothing does, but not the application."""

    def __init__(self, url: str, prompt: bool, said: bytes = b"") -> None:
        # The last line that is no prompt: after a crash it names the exception.
        lines = [line for line in said.decode("utf-8", "replace").splitlines() if line.strip("> \t")]
        last = f" (it said: {plain(lines[-1], 80)})" if lines and any(c.isalpha() for c in lines[-1]) else ""
        if prompt:
            text = (
                f"On {plain(url)} a MicroPython prompt answers{last}, not the bench timer's program, so the day stands "
                f"still: start it again (tourier device start --port {plain(url)}), or install the program first."
            )
        else:
            text = f"Nothing on {plain(url)} answers like a bench timer{last}: check that this is the right port."
        super().__init__(text)
        self.prompt = prompt
        self.port = url


class VersionMismatch(LinkError):
    """The device speaks another major version of the protocol."""

    def __init__(self, device: tuple[int, int], host: tuple[int, int], firmware: str) -> None:
        older = "timer's program" if device[0] < host[0] else "companion"
        super().__init__(
            f"The timer (firmware {plain(firmware, 24)}) speaks link protocol {device[0]}.{device[1]}, this companion "
            f"{host[0]}.{host[1]}: update the {older}."
        )


class Refused(LinkError):
    """The device understood and said no."""

    def __init__(self, code: int, name: str, text: str) -> None:
        why = f": {plain(text)}" if text else ""
        super().__init__(f"The timer refused ({plain(name)}{why}).")
        self.code = code
        self.text = plain(text)


class LinkTimeout(LinkError):
    """No answer, after all repeats."""

    def __init__(self, what: str) -> None:
        super().__init__(f"The timer stopped answering while {plain(what)}: check cable and power, then repeat.")


class Restarted(LinkError):
    """The device started anew in the middle of something."""

    def __init__(self, what: str) -> None:
        super().__init__(f"The timer restarted while {plain(what)}: look at its screen, then repeat the command.")


class BadAnswer(LinkError):
    """The device answered something that cannot be."""

    def __init__(self, what: str) -> None:
        super().__init__(
            f"The timer answered something that cannot be ({plain(what)}): restart it, and update its program if this "
            "happens again."
        )


class LogMismatch(LinkError):
    """The octets came, but they do not have the checksum the device gives."""

    def __init__(self) -> None:
        super().__init__(
            "The log that arrived does not match the timer's checksum: repeat the command; nothing was thrown away."
        )
