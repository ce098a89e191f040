"""UTC instants in the mill's own clock, for tables and for charts.

A chart needs one unbroken axis, but a wall clock repeats an hour when summer time ends and
skips one when it starts. So charts keep the clock that held at their left edge, and say so
when the clocks changed inside them.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from pipeline.base import Day, Said, counted, figure, said

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_ONE_DAY = timedelta(days=1)
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_words(moment: date, known_year: int | None = None) -> str:
    """Write a local date, for example ``Mon 6 Oct 2025``; the year is left out where known."""
    text = f"{_DAYS[moment.weekday()]} {moment.day} {_MONTHS[moment.month - 1]}"
    with_year = moment.year != known_year
    text = f"{text} {moment.year:04d}" if with_year else text
    return Said(text, Day(date(moment.year, moment.month, moment.day), with_year))


def _offset_words(local: datetime) -> str:
    minutes = round((local.utcoffset() or timedelta()).total_seconds() / 60)
    hours, rest = divmod(abs(minutes), 60)
    sign = "-" if minutes < 0 else "+"
    return f"UTC{sign}{hours}" + (f":{rest:02d}" if rest else "")


def clock_words(moment: datetime, zone: ZoneInfo) -> str:
    """Write the wall-clock time of a UTC moment, with its offset only in a repeated hour."""
    local = moment.astimezone(zone)
    other = local.replace(fold=1 - local.fold)
    repeated = other.utcoffset() != local.utcoffset()
    return f"{local:%H:%M}" + (f" ({_offset_words(local)})" if repeated else "")


def moment_words(moment: datetime, zone: ZoneInfo, known_year: int | None = None) -> str:
    """Write day and time of a UTC moment in plant-local time."""
    day = day_words(moment.astimezone(zone), known_year)
    return said("{day} {clock}", day=day, clock=clock_words(moment, zone))


def span_words(
    start: datetime, end: datetime | None, zone: ZoneInfo, known_year: int | None = None
) -> str:
    """Write an interval in plant-local time; the day is not repeated when it is the same."""
    first = moment_words(start, zone, known_year)
    if end is None:
        return said("{first}, still going on", first=first)
    if start.astimezone(zone).date() == end.astimezone(zone).date():
        return said("{first} to {last}", first=first, last=clock_words(end, zone))
    last = moment_words(end, zone, known_year)
    return said("{first} to {last}", first=first, last=last)


def day_span(first: date, last: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Start (included) and end (excluded) of local days `first` to `last`, in UTC."""
    start, end = (datetime.combine(day, time(), tzinfo=zone) for day in (first, last + _ONE_DAY))
    return start.astimezone(UTC), end.astimezone(UTC)


def zone_words(moment: datetime, zone: ZoneInfo) -> str:
    """Name the plant's clock: zone and offset, for example ``America/Chicago (UTC-6)``."""
    return f"{zone.key} ({_offset_words(moment.astimezone(zone))})"


def silence_words(end: datetime, moment: datetime, zone: ZoneInfo) -> str:
    """Say since when nothing came, such as ``Nothing since Sat 29 Nov 23:58: 5 days.``."""
    year = moment.astimezone(zone).year
    behind = moment - end
    days = int(behind / _ONE_DAY)
    hours = figure(behind.total_seconds() / 3600, ".0f")
    long = counted(days, "{n} day", "{n} days") if days >= 2 else said("{hours} h", hours=hours)
    return said("Nothing since {when}: {long}.", when=moment_words(end, zone, year), long=long)


def duration_words(span: timedelta) -> str:
    """Write a duration in the unit that suits it: minutes, hours or days."""
    minutes = span.total_seconds() / 60
    if minutes < 90:
        return said("{minutes} min", minutes=figure(minutes, ".0f"))
    if minutes < 2 * 24 * 60:
        return said("{hours} h", hours=figure(minutes / 60, ".1f"))
    return said("{days} days", days=figure(minutes / 1440, ".1f"))


def chart_offset(start: datetime, zone: ZoneInfo) -> timedelta:
    """Offset from UTC that a chart beginning at `start` keeps over its whole width."""
    return start.astimezone(zone).utcoffset() or timedelta()


def clocks_change(start: datetime, end: datetime, zone: ZoneInfo) -> bool:
    """Tell whether the wall clock changed its offset between two UTC moments."""
    return start.astimezone(zone).utcoffset() != end.astimezone(zone).utcoffset()


def as_utc(moment: datetime) -> datetime:
    """Give the moment in UTC; a moment without a zone is taken as UTC already."""
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
