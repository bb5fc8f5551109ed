"""Moments as a person writes them: "Sunday 08:30", "2026-12-06 08:30", "22:30"; `now` is always given, never read."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from tourier.quantities import MAX_TEXT, clean

#: A ready time named by weekday is the next such moment at least this far off: two days of work fit before it.
LEAST_AHEAD = timedelta(hours=36)

_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_WEEKDAY = re.compile(r"([A-Za-z]+)\s+(?:at\s+)?(\d{1,2}):(\d{2})")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})")
_DATED = re.compile(r"(\d{4}-\d{2}-\d{2})[ T](\d{1,2}:\d{2})(:\d{2})?(Z|[+-]\d{2}:\d{2})?")


class WhenError(ValueError):
    """Text that is no moment; str() is one sentence."""


# Files beside the zones that are none: rules and leftovers that differ by machine, and copies that count leap seconds.
_NO_ZONES = re.compile(r"(?i)localtime|posixrules|factory|(posix|right)/.*")


def zone_of(name: object) -> ZoneInfo:
    """The time zone called `name` ("Europe/Paris"); raises WhenError for anything else."""
    # zoneinfo looks names up as files: only letters, digits and the few signs of real names get that far.
    if not isinstance(name, str) or not re.fullmatch(r"[A-Za-z][A-Za-z0-9_+\-/]{0,48}", name):
        raise WhenError(f'"{clean(str(name))}" is no time zone; write one such as "Europe/Paris"')
    try:
        if _NO_ZONES.fullmatch(name):
            raise KeyError(name)
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise WhenError(f'no time zone is called "{clean(name)}"; write one such as "Europe/Paris"') from None


def in_zone(naive: datetime, zone: ZoneInfo) -> datetime:
    """A wall-clock time in its zone; refuses one that the change to summer time skips. Of two, the first is taken."""
    aware = naive.replace(tzinfo=zone)
    back = aware.astimezone(UTC).astimezone(zone)
    if back.replace(tzinfo=None) != naive:
        raise WhenError(f"{naive:%Y-%m-%d %H:%M} does not exist in {zone.key}: the clocks go forward over it")
    return aware


def clock(value: object) -> time:
    """A time of day from "22:30" (or a TOML time)."""
    if isinstance(value, time):
        return value.replace(second=0, microsecond=0)
    match = _CLOCK.fullmatch(value.strip()) if isinstance(value, str) and len(value) <= MAX_TEXT else None
    if match is None or int(match.group(1)) > 23 or int(match.group(2)) > 59:
        raise WhenError(f'"{clean(str(value))}" is no time of day; write it such as "22:30"')
    return time(int(match.group(1)), int(match.group(2)))


def _weekday(text: str) -> tuple[int, time] | None:
    match = _WEEKDAY.fullmatch(text)
    if match is None:
        return None
    word = match.group(1).lower()
    days = [i for i, day in enumerate(_DAYS) if len(word) >= 2 and day.startswith(word)]
    if len(days) != 1:
        raise WhenError(f'"{clean(match.group(1))}" is no day of the week; write "Sunday 08:30" or "2026-12-06 08:30"')
    return days[0], clock(f"{match.group(2)}:{match.group(3)}")


def moment(value: object, zone: ZoneInfo, near: datetime, forward: bool, least: timedelta = LEAST_AHEAD) -> datetime:
    """An aware moment from "Sunday 08:30", "2026-12-06 08:30" (or a TOML date-time).

    A weekday means the first such moment at least `least` after `near` (forward) or the last one before `near`.
    An offset written with a date is kept; without, the zone decides.
    """
    try:
        return _moment(value, zone, near, forward, least)
    except OverflowError:  # the ends of the calendar, in another zone
        raise WhenError(f'"{clean(str(value))}" is too far off; write "Sunday 08:30" or "2026-12-06 08:30"') from None


def _moment(value: object, zone: ZoneInfo, near: datetime, forward: bool, least: timedelta) -> datetime:
    if isinstance(value, datetime):
        return value.astimezone(zone) if value.tzinfo else in_zone(value.replace(microsecond=0), zone)
    if isinstance(value, date) or not isinstance(value, str) or len(value) > MAX_TEXT:
        raise WhenError(f'"{clean(str(value))}" is no moment; write "Sunday 08:30" or "2026-12-06 08:30"')
    text = value.strip()
    named = _weekday(text)
    if named is not None:
        return _nearest(named, zone, near.astimezone(UTC), forward, least)  # `least` in real hours
    match = _DATED.fullmatch(text)
    if match is None:
        raise WhenError(f'"{clean(text)}" is no moment; write "Sunday 08:30" or "2026-12-06 08:30"')
    day, minute, _, offset = match.groups()
    try:
        naive = datetime.combine(date.fromisoformat(day), clock(minute))
    except ValueError as error:
        raise WhenError(f'"{clean(text)}" is no date that exists') from error
    if offset:
        try:
            return datetime.fromisoformat(naive.isoformat() + offset.replace("Z", "+00:00")).astimezone(zone)
        except ValueError:
            raise WhenError(f'"{clean(text)}" has an offset that does not exist; write one such as +01:00') from None
    return in_zone(naive, zone)


def _nearest(named: tuple[int, time], zone: ZoneInfo, near: datetime, forward: bool, least: timedelta) -> datetime:
    weekday, at = named
    start = (near + least).astimezone(zone) if forward else near.astimezone(zone)
    for step in range(9):
        day = start.date() + timedelta(days=step if forward else -step)
        if day.weekday() != weekday:
            continue
        found = in_zone(datetime.combine(day, at), zone)
        if (found >= near + least) if forward else (found < near):
            return found
    raise WhenError("no such moment is near")  # pragma: no cover - nine days hold every weekday
