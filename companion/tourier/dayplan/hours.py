"""The cook's hours: sleep and away spans as written, turned into absolute spans that survive a change of clocks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from tourier.batch.model import AwaySpan
from tourier.dayplan.model import AwayInterval, BadWish, from_at_s, to_at_s


def zone_of(name: str) -> ZoneInfo:
    """Return the time zone of an IANA name; raises BadWish for one that is not known."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError, TypeError):
        shown = "".join(char for char in str(name)[:40] if char.isprintable())
        raise BadWish("zone", f'"{shown}" is no time zone known here; write one like "Europe/Paris".') from None


def local_instant(day: date, clock: time, zone: ZoneInfo, *, late: bool) -> datetime:
    """Return the UTC instant of a wall-clock time.

    A time that comes twice (clocks go back) is the later one when `late`, else the earlier; a time that never comes
    (clocks go forward) is the instant of the change. So a sleep span is never cut short by the clocks.
    """
    wall = datetime.combine(day, clock.replace(tzinfo=None, fold=0), zone)
    first, second = wall.replace(fold=0), wall.replace(fold=1)
    if first.utcoffset() == second.utcoffset():
        return wall.astimezone(UTC)
    if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != wall.replace(tzinfo=None):
        # The two readings of a missing time lie on either side of the change: bisect to the second.
        low, high = sorted((to_at_s(first), to_at_s(second)))
        before = from_at_s(low).astimezone(zone).utcoffset()
        while high - low > 1:
            middle = (low + high) // 2
            if from_at_s(middle).astimezone(zone).utcoffset() == before:
                low = middle
            else:
                high = middle
        return from_at_s(high)
    return (second if late else first).astimezone(UTC)


def check_hours(away: Sequence[AwaySpan]) -> None:
    """Raise BadWish, naming the span, for hours that are inverted, half given or overlap another of the same sort."""
    daily: list[tuple[int, int, int]] = []
    dated: list[tuple[datetime, datetime, int]] = []
    for number, span in enumerate(away, 1):
        where = f"away[{number}] ({span.why})"
        if span.start is not None and span.end is not None and span.from_at is None and span.to_at is None:
            begin, end = (t.hour * 60 + t.minute for t in (span.start, span.end))
            if begin == end:
                raise BadWish(where, f"begins and ends at {span.start:%H:%M}; give two different times.")
            pieces = [(begin, end)] if begin < end else [(begin, 1440), (0, end)]
            for low, high in pieces:
                for other_low, other_high, other in daily:
                    if low < other_high and other_low < high:
                        raise BadWish(where, f"overlaps away[{other}] every day; join the two or move one.")
            daily += [(low, high, number) for low, high in pieces]
        elif span.from_at is not None and span.to_at is not None and span.start is None and span.end is None:
            if span.from_at.tzinfo is None or span.to_at.tzinfo is None:
                raise BadWish(where, "has a date without a time zone.")
            if span.to_at <= span.from_at:
                raise BadWish(where, f"ends at {span.to_at:%a %H:%M}, before it begins at {span.from_at:%a %H:%M}.")
            for other_from, other_to, other in dated:
                if span.from_at < other_to and other_from < span.to_at:
                    raise BadWish(where, f"overlaps away[{other}]; join the two or move one.")
            dated.append((span.from_at, span.to_at, number))
        else:
            raise BadWish(where, "needs either daily hours (start and end) or two dates (from and to), not both.")
    if sum(high - low for low, high, _ in daily) >= 1440:
        raise BadWish("away", "leaves no minute of the day to work in.")


def away_intervals(away: Sequence[AwaySpan], zone: ZoneInfo, from_s: int, to_s: int) -> tuple[AwayInterval, ...]:
    """Return the absolute away spans that touch from_s..to_s, in order; touching or overlapping ones are joined.

    A joined span is "away" only when all its parts are: sleep anywhere in it keeps the timer quiet.
    """
    check_hours(away)
    spans: list[AwayInterval] = []
    first_day = from_at_s(from_s).astimezone(zone).date() - timedelta(days=1)
    last_day = from_at_s(to_s).astimezone(zone).date()
    for span in away:
        if span.from_at is not None and span.to_at is not None:
            spans.append(AwayInterval(to_at_s(span.from_at), to_at_s(span.to_at), span.why))
            continue
        assert span.start is not None and span.end is not None
        day = first_day
        while day <= last_day:
            end_day = day if span.end > span.start else day + timedelta(days=1)
            begin = to_at_s(local_instant(day, span.start, zone, late=False))
            end = to_at_s(local_instant(end_day, span.end, zone, late=True))
            if end > begin:
                spans.append(AwayInterval(begin, end, span.why))
            day += timedelta(days=1)
    joined: list[AwayInterval] = []
    for span_s in sorted(spans, key=lambda s: (s.from_s, s.to_s, s.why)):
        if span_s.to_s <= from_s or span_s.from_s >= to_s:
            continue
        if joined and span_s.from_s <= joined[-1].to_s:
            last = joined[-1]
            why = last.why if last.why == span_s.why else "sleep"
            joined[-1] = AwayInterval(last.from_s, max(last.to_s, span_s.to_s), why)
        else:
            joined.append(span_s)
    return tuple(joined)


def offset_change(zone: ZoneInfo, from_s: int, to_s: int) -> tuple[int, int, int]:
    """Return (offset now, instant of the first change or 0, offset after), offsets in minutes, within from_s..to_s."""

    def offset_min(at_s: int) -> int:
        moved = from_at_s(at_s).astimezone(zone).utcoffset()
        assert moved is not None
        return round(moved.total_seconds() / 60)

    before = offset_min(from_s)
    step = 3600
    at_s = from_s
    while at_s < to_s:
        after_s = min(at_s + step, to_s)
        if offset_min(after_s) != before:
            low, high = at_s, after_s
            while high - low > 1:
                middle = (low + high) // 2
                if offset_min(middle) == before:
                    low = middle
                else:
                    high = middle
            return before, high, offset_min(high)
        at_s = after_s
    return before, 0, 0
