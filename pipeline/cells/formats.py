"""Which of the many ways of writing moments a column uses.

The way is decided on the whole column. Where day and month can be exchanged it is decided by a
day above twelve anywhere in the file, else by which reading makes the record run on without
months missing between its days, else not at all: the person is asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final, Literal

import polars as pl

from pipeline.base import DataError
from pipeline.cells.times import (
    DAY_S,
    EPOCHS,
    QUICK,
    SERIAL,
    SERIALS,
    as_numbers,
    first_readable,
    no_moments,
    tidy_time,
)

_CLOCKS: Final = (" %H:%M:%S%.f", " %H:%M", " %I:%M:%S %p", " %I:%M %p", "")
_ISO: Final = tuple("%Y-%m-%d" + clock for clock in _CLOCKS)
_DAY_FIRST: Final = tuple(f"%d/%m/{y}{c}" for y in ("%Y", "%y") for c in _CLOCKS)
_MONTH_FIRST: Final = tuple(f"%m/%d/{y}{c}" for y in ("%Y", "%y") for c in _CLOCKS)
_NAMED: Final = tuple(f"%d %b {y}{c}" for y in ("%Y", "%y") for c in _CLOCKS)
#: Shapes of tidied text and the formats that read them; slashes are decided on evidence.
_SHAPES: Final[tuple[tuple[str, tuple[str, ...]], ...]] = (
    (r"^\d{4}-\d{1,2}-\d{1,2}", _ISO),
    (r"^\d{1,2}\.\d{1,2}\.\d{2,4}", tuple(f.replace("/", ".") for f in _DAY_FIRST)),
    (r"^\d{1,2}/\d{1,2}/\d{2,4}", ()),
    (r"^\d{1,2} [A-Za-z]{3,9} \d{2,4}", _NAMED),
)
_SAMPLE: Final = 5000


def time_formats(
    where: str, first: pl.Series, rest: Iterable[pl.Series] = ()
) -> tuple[str, ...]:  # fmt: skip
    """Formats, or one word of ``EPOCHS`` or ``serial``, that read a column of times.

    Parameters
    ----------
    where : str
        For messages.
    first : polars.Series
        The first times.
    rest : iterable of polars.Series
        The times after these; looked at only where the first leave day and month open.

    Raises
    ------
    DataError
        Day and month can be exchanged throughout the file.
    """
    if first.dtype.is_temporal():
        return ()
    sample = first.drop_nulls().head(_SAMPLE)
    if word := _number_word(sample):
        return (word,)
    if sample.dtype != pl.String:
        return _ISO
    quick = [(f, _read_count(sample, f)) for f in QUICK]
    best, count = max(quick, key=lambda found: found[1])
    leading = (best,) if count else ()
    tidy = sample.to_frame("t").select(tidy_time(pl.col("t")))["t"]
    shapes = [(int(tidy.str.contains(shape).sum()), k) for k, (shape, _) in enumerate(_SHAPES)]
    most, which = max(shapes, key=lambda found: found[0])
    if not most:
        return _ISO
    formats = _SHAPES[which][1] or _slashed(where, first, rest)
    return leading + tuple(f for f in formats if f not in leading)


def _read_count(sample: pl.Series, pattern: str) -> int:
    return len(sample) - sample.str.to_datetime(pattern, strict=False, time_unit="us").null_count()


def _number_word(sample: pl.Series) -> str | None:
    """Which kind of number the times are, when all of them are such numbers."""
    numbers = as_numbers(sample).drop_nulls()
    if numbers.is_empty() or len(numbers) < 0.9 * len(sample):
        return None
    low, high = float(numbers.quantile(0.05) or 0.0), float(numbers.quantile(0.95) or 0.0)
    for word, (least, most, _) in EPOCHS.items():
        if least <= low and high <= most:
            return word
    return SERIAL if SERIALS[0] <= low and high <= SERIALS[1] else None


class _Order:
    """Evidence on the order of day and month, gathered over a file."""

    def __init__(self) -> None:
        self.day_first = self.month_first = 0
        self._seen: list[pl.Series] = []

    def look(self, times: pl.Series) -> None:
        """Take in some more times."""
        text = times.drop_nulls().unique().to_frame("t").select(tidy_time(pl.col("t")))["t"]
        parts = text.str.extract_groups(r"^(\d{1,2})/(\d{1,2})/").struct.unnest()
        a, b = (parts[name].cast(pl.Int32, strict=False) for name in parts.columns)
        self.day_first += int((a > 12).sum())
        self.month_first += int((b > 12).sum())
        if not (self.day_first or self.month_first):
            self._seen.append(text)

    def decided(self) -> Literal["day", "month"] | None:
        """Which comes first, when one of the two is told by more than a stray row."""
        if self.day_first or self.month_first:
            lead, other = (
                max(self.day_first, self.month_first),
                min(self.day_first, self.month_first),
            )
            if lead <= 4 * other:
                return None
            return "day" if self.day_first > self.month_first else "month"
        if not self._seen:
            return None
        text = pl.concat(self._seen).unique()
        runs = {"day": _runs_on(text, _DAY_FIRST), "month": _runs_on(text, _MONTH_FIRST)}
        on = [way for way, verdict in runs.items() if verdict == "on"]
        broken = [way for way, verdict in runs.items() if verdict == "broken"]
        if len(on) == 1 and len(broken) == 1:
            return "day" if on[0] == "day" else "month"
        return None


def _runs_on(text: pl.Series, formats: Sequence[str]) -> Literal["on", "broken", "open"]:
    """Whether a record, read so, runs on over three days or more, or has months missing."""
    clock = text.str.replace(r"[+-]\d{2}:\d{2}$", "")
    nothing = no_moments(len(clock))
    moments = first_readable(clock, formats, nothing).drop_nulls().unique().sort()
    steps = moments.diff().dt.total_seconds().drop_nulls()
    if moments.dt.date().n_unique() < 3 or steps.is_empty():
        return "open"
    usual, longest = float(steps.median() or 0), float(steps.max() or 0)  # type: ignore[arg-type]
    if longest >= 20 * DAY_S and usual <= DAY_S / 4:
        return "broken"
    return "on" if usual <= DAY_S / 4 and longest <= 1.5 * DAY_S else "open"


def _slashed(where: str, first: pl.Series, rest: Iterable[pl.Series]) -> tuple[str, ...]:
    """Formats of dates whose day and month may be exchanged."""
    order = _Order()
    order.look(first)
    if not order.decided() or min(order.day_first, order.month_first):
        for times in rest:
            order.look(times)
    match order.decided():
        case "day":
            return _DAY_FIRST
        case "month":
            return _MONTH_FIRST
    sample = "".join(c if c.isprintable() else " " for c in str(first.drop_nulls()[0])[:40])
    both = order.day_first and order.month_first
    raise DataError(
        "Some dates of the export have the day first, others the month."
        if both
        else f'Dates such as "{sample}" can be read as day/month or as month/day.',
        where,
        'Say which: time_format = "%d/%m/%Y %H:%M" (or "%m/%d/%Y %H:%M") in the '
        "[[exports.layout]] of this kind of file.",
    )
