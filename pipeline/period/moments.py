"""Moments as people say them, in plant time: ``yesterday 02:00``, ``Tue 14:30``, ``2026-11-24``.

A clock that is set forward skips an hour and one that is set back repeats one: a moment that never
was, or was twice, is not guessed at.
"""

from __future__ import annotations

import re
import unicodedata
from datetime import UTC, date, datetime, time, timedelta, timezone
from typing import Final
from zoneinfo import ZoneInfo

from pipeline.base import ConfigError, Window
from pipeline.words import clean, clock_words, day_words, joined, moment_words, said

_HOW: Final = said(
    "Say it in plant time: 2026-11-24T02:00, 2026-11-24, 'yesterday 02:00', 'today', 'Tue 14:30'; "
    "an offset may follow, as in 2026-11-01T01:30-05:00."
)
#: What people say of a day in the languages of the reports, without accents.
_TODAY: Final = {"today", "hoy", "hoje", "aujourd'hui"}
_YESTERDAY: Final = {"yesterday", "ayer", "ontem", "hier"}
_NOW: Final = {"now", "ahora", "agora", "maintenant"}
#: Weekdays from Monday on, each in English, Spanish, Portuguese and French, without accents. Three
#: letters of one will do: no two languages mean different days by the same ones.
_WEEKDAYS: Final = (
    ("monday", "lunes", "segunda", "segunda-feira", "lundi"),
    ("tuesday", "martes", "terca", "terca-feira", "mardi"),
    ("wednesday", "miercoles", "quarta", "quarta-feira", "mercredi"),
    ("thursday", "jueves", "quinta", "quinta-feira", "jeudi"),
    ("friday", "viernes", "sexta", "sexta-feira", "vendredi"),
    ("saturday", "sabado", "samedi"),
    ("sunday", "domingo", "dimanche"),
)
_CLOCK: Final = r"(?P<hour>\d{1,2})(?::(?P<minute>\d{2})(?::00)?)?"
_OFFSET: Final = r"(?P<offset>Z|[+-]\d{2}:?\d{2})?"
_SAID: Final = re.compile(
    rf"(?P<day>\d{{4}}-\d{{2}}-\d{{2}}|[a-z][a-z'-]*\.?)(?:[T\s]+{_CLOCK}\s*{_OFFSET})?",
    re.IGNORECASE,
)
_CLOCK_ALONE: Final = re.compile(r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::00)?")
#: Longest period [days]: three seasons' worth; more is a slip of the pen.
_LONGEST: Final = timedelta(days=1100)
#: Years that readings of a mill may be of.
_YEARS: Final = range(1970, 2200)


def period_of(first: str, last: str, zone: ZoneInfo, now: datetime, option: str = "") -> Window:
    """Period between two moments as people say them.

    Parameters
    ----------
    first, last : str
        A day alone is its first minute in `first` and the end of the day in `last`. A clock time
        alone in `last` is the first such moment after `first`.
    zone : ZoneInfo
        The plant's.
    now : datetime
        What ``today`` is counted from.
    option : str
        Where it was spoken, for errors; the options themselves without.

    Returns
    -------
    Window
        Whole minutes, UTC, end excluded.

    Raises
    ------
    ConfigError
        A moment cannot be read, never was, was twice, or the period is none.
    """
    start = moment_of(first, zone, now, where=option or "--from")
    if _CLOCK_ALONE.fullmatch(last.strip()):
        end = _next_clock(last.strip(), start, zone, option or "--to")
    else:
        end = moment_of(last, zone, now, where=option or "--to", end_of_day=True)
    where = option or "--from, --to"
    if end <= start:
        raise ConfigError(
            said("The period ends before it begins."),
            joined(": ", (where, _both(start, end, zone))),
            said("Give an end that lies after the start."),
        )
    if end - start > _LONGEST:
        raise ConfigError(
            said("The period is longer than {days} days.", days=_LONGEST.days),
            joined(": ", (where, _both(start, end, zone))),
            said("Give a shorter one."),
        )
    return Window(start, end)


def _both(start: datetime, end: datetime, zone: ZoneInfo) -> str:
    first, last = moment_words(start, zone), moment_words(end, zone)
    return said("{first} to {last}", first=first, last=last)


def beside_of(spoken: str, zone: ZoneInfo, now: datetime) -> Window | None:
    """Period to compare with: None for ``usual``, else ``FROM..TO``.

    Raises
    ------
    ConfigError
        It is neither.
    """
    if spoken.strip().lower() == "usual":
        return None
    first, dots, last = spoken.partition("..")
    if not dots or not first.strip() or not last.strip():
        raise ConfigError(
            said("What to compare with cannot be read."),
            f"--beside: {clean(spoken, 80)!r}",
            said("Say usual, or a period: --beside 2026-11-20T02:00..2026-11-20T06:00."),
        )
    return period_of(first, last, zone, now, "--beside")


def moment_of(
    spoken: str, zone: ZoneInfo, now: datetime, *, where: str = "time", end_of_day: bool = False
) -> datetime:
    """Moment as people say it, in UTC.

    Parameters
    ----------
    spoken : str
    zone : ZoneInfo
        The plant's.
    now : datetime
        What ``today`` is counted from.
    where : str
        Where it was spoken, for errors.
    end_of_day : bool
        A day alone means its end.

    Raises
    ------
    ConfigError
        It cannot be read, never was, or was twice.
    """
    text = _plain(spoken)
    if text.lower() in _NOW:
        return now.astimezone(UTC).replace(second=0, microsecond=0)
    match = _SAID.fullmatch(text)
    day = _day(match["day"], zone, now) if match else None
    if match is None or day is None:
        raise ConfigError(said("This time cannot be read."), _at(where, spoken), _HOW)
    if match["hour"] is None:
        day += timedelta(days=1) if end_of_day else timedelta(0)
        return datetime.combine(day, time(), zone).astimezone(UTC)
    return _instant(day, _clock(match, where, spoken), match["offset"], zone, _at(where, spoken))


def _at(where: str, spoken: str) -> str:
    return joined(": ", (where, repr(clean(spoken, 80))))


def _day(word: str, zone: ZoneInfo, now: datetime) -> date | None:
    today = now.astimezone(zone).date()
    word = word.lower().removesuffix(".")
    if word in _TODAY | _YESTERDAY:
        return today - timedelta(days=int(word in _YESTERDAY))
    for number, names in enumerate(_WEEKDAYS):
        if word in names or word in {name[:3] for name in names}:
            back = (today.weekday() - number) % 7
            return today - timedelta(days=back or 7)
    try:
        day = date.fromisoformat(word)
    except ValueError:
        return None
    return day if day.year in _YEARS else None


def _plain(spoken: str) -> str:
    """What was said without accents, and with the apostrophe of keyboards."""
    parts = unicodedata.normalize("NFKD", spoken.strip().replace("\u2019", "'"))
    return joined("", (c for c in parts if not unicodedata.combining(c)))


def _clock(match: re.Match[str], where: str, spoken: str) -> tuple[int, int]:
    """Hours and minutes; 24:00 is the end of the day."""
    hour, minute = int(match["hour"]), int(match["minute"] or 0)
    if hour > 24 or minute > 59 or (hour == 24 and minute):
        raise ConfigError(said("There is no such time of day."), _at(where, spoken), _HOW)
    return hour, minute


def _next_clock(spoken: str, start: datetime, zone: ZoneInfo, where: str) -> datetime:
    match = _CLOCK_ALONE.fullmatch(spoken)
    if match is None:
        raise ConfigError(said("This time cannot be read."), _at(where, spoken), _HOW)
    clock = _clock(match, where, spoken)
    local = start.astimezone(zone)
    later = clock > (local.hour, local.minute)
    day = local.date() + timedelta(days=0 if later else 1)
    return _instant(day, clock, None, zone, _at(where, spoken))


def _instant(
    day: date, clock: tuple[int, int], offset: str | None, zone: ZoneInfo, where: str
) -> datetime:
    """Moment of a day and a clock time, which must have been, and once."""
    if clock[0] == 24:
        day, clock = day + timedelta(days=1), (0, 0)
    naive = datetime.combine(day, time(*clock))
    if offset:
        return naive.replace(tzinfo=_fixed(offset, where)).astimezone(UTC)
    first, second = (naive.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first.astimezone(UTC)
    when = said("{clock} on {day}", clock=f"{naive:%H:%M}", day=day_words(day))
    if first.astimezone(UTC) > second.astimezone(UTC):
        after, before = (clock_words(m.astimezone(UTC), zone) for m in (first, second))
        raise ConfigError(
            said("{when} never was: the clocks were set forward.", when=when),
            where,
            said(
                "Say {before} if the clocks were set late, {after} if in time.",
                before=before,
                after=after,
            ),
        )
    one, two = (moment.isoformat(timespec="minutes") for moment in (first, second))
    raise ConfigError(
        said("{when} was twice: the clocks were set back.", when=when),
        where,
        said("Say which: {one} is the first, {two} the second.", one=one, two=two),
    )


def _fixed(offset: str, where: str) -> timezone:
    if offset in ("Z", "z"):
        return timezone(timedelta(0))
    hours, minutes = int(offset[1:3]), int(offset[-2:])
    if hours > 14 or minutes > 59:
        raise ConfigError(said("There is no such offset from UTC."), where, _HOW)
    return timezone((-1 if offset[0] == "-" else 1) * timedelta(hours=hours, minutes=minutes))
