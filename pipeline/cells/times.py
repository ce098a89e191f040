"""Moments: which of the many ways of writing them a column uses, and what they are in UTC.

The way is decided on the whole column. Where day and month can be exchanged it is decided by a
day above twelve anywhere in the file, else by which reading makes the record run on without
months missing between its days, else not at all: the person is asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC as UTC_ZONE
from datetime import datetime, timedelta
from typing import Final, Literal

import polars as pl

from pipeline.base import DataError

#: Numbers that are moments: word in ``time_format``, least and greatest number, per second.
EPOCHS: Final = {
    "epoch_s": (3e8, 4.1e9, 1),
    "epoch_ms": (3e11, 4.1e12, 1_000),
    "epoch_us": (3e14, 4.1e15, 1_000_000),
    "epoch_ns": (3e17, 4.1e18, 1_000_000_000),
}
SERIAL: Final = "serial"
#: Days from 1899-12-30, the zero of spreadsheets, for 1954 to 2119.
_SERIALS: Final = (20_000.0, 80_000.0)
_SERIAL_ZERO_US: Final = -2_209_161_600_000_000
_SECOND_US: Final = 1_000_000
_FIRST_YEAR, _LAST_YEAR = 1970, 2100

_CLOCKS: Final = (" %H:%M:%S%.f", " %H:%M", " %I:%M:%S %p", " %I:%M %p", "")
#: Written as one string most exports use, read without any tidying.
_QUICK: Final = (
    "%Y-%m-%d %H:%M:%S%.f",
    "%Y-%m-%dT%H:%M:%S%.f",
    "%Y-%m-%d %H:%M:%S%.f%#z",
    "%Y-%m-%dT%H:%M:%S%.f%#z",
)
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
_DAY_S: Final = 86_400
UTC: Final = pl.Datetime("us", "UTC")
#: Clocks of plants and of this machine may differ by a zone, not by more.
_MOST_AHEAD: Final = timedelta(days=1)


def latest_moment() -> datetime:
    """Latest moment of which there can be a reading, by this machine's clock."""
    return datetime.now(UTC_ZONE) + _MOST_AHEAD


def plain_time(times: pl.Expr) -> pl.Expr:
    """Time text in one spelling: a blank between date and clock, offsets as ``+00:00``."""
    return (
        times.str.strip_chars()
        .str.replace(r"^(\d{4}-\d{2}-\d{2})[Tt]", "$1 ")
        .str.replace(r"\s*(?:[Zz]|UTC|GMT)$", "+00:00")
        .str.replace(r"(:\d{2}),(\d+)", "$1.$2")
        .str.replace(r"(:\d{2}(?:\.\d+)?)\s*([+-]\d{2}):?(\d{2})$", "$1$2:$3")
        .str.replace(r"(:\d{2}(?:\.\d+)?)\s*([+-]\d{2})$", "$1$2:00")
    )


def tidy_time(times: pl.Expr) -> pl.Expr:
    """Time text with one kind of mark for each order of day, month and year."""
    return (
        plain_time(times)
        .str.replace(r"^(\d{4})[./](\d{1,2})[./](\d{1,2})[Tt]?", "$1-$2-$3")
        .str.replace(r"^(\d{4})(\d{2})(\d{2})[T ]?(\d{2})(\d{2})(\d{2})", "$1-$2-$3 $4:$5:$6")
        .str.replace(r"^(\d{4})(\d{2})(\d{2})[T ]?(\d{2})(\d{2})", "$1-$2-$3 $4:$5")
        .str.replace(r"^(\d{1,2})[-/](\d{1,2})[-/](\d{2,4})[T,]?\s*", "$1/$2/$3 ")
        .str.replace(r"^(\d{1,2}\.\d{1,2}\.\d{2,4})[T,]?\s+", "$1 ")
        .str.replace(r"^([A-Za-z]{3,9})\.? (\d{1,2}),? (\d{4}),?", "$2 $1 $3")
        .str.replace(r"^(\d{1,2})[-/ .]+([A-Za-z]{3,9})[-/ .,]+(\d{2,4}),?", "$1 $2 $3")
        .str.replace(r"\s*([AaPp])\.?([Mm])\.?$", " $1$2")
        .str.strip_chars()
    )


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
    quick = [(f, _read_count(sample, f)) for f in _QUICK]
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
    return SERIAL if _SERIALS[0] <= low and high <= _SERIALS[1] else None


def as_numbers(times: pl.Series) -> pl.Series:
    """Times that are numbers, as such; a comma may be their decimal mark."""
    if times.dtype != pl.String:
        return times.cast(pl.Float64, strict=False) if times.dtype.is_numeric() else times.clear()
    text = times.str.strip_chars().str.replace(",", ".", literal=True)
    return text.cast(pl.Float64, strict=False)


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
    nothing = pl.Series([None], dtype=pl.Datetime("us")).new_from_index(0, len(clock))
    moments = first_readable(clock, formats, nothing).drop_nulls().unique().sort()
    steps = moments.diff().dt.total_seconds().drop_nulls()
    if moments.dt.date().n_unique() < 3 or steps.is_empty():
        return "open"
    usual, longest = float(steps.median() or 0), float(steps.max() or 0)  # type: ignore[arg-type]
    if longest >= 20 * _DAY_S and usual <= _DAY_S / 4:
        return "broken"
    return "on" if usual <= _DAY_S / 4 and longest <= 1.5 * _DAY_S else "open"


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


def moments(
    times: pl.Series, formats: Sequence[str], *, given: bool
) -> tuple[pl.Series, pl.Series]:
    """Local reading of each time, and the moment in UTC of those that state it themselves.

    Parameters
    ----------
    times : polars.Series
        Text, numbers or moments.
    formats : sequence of str
        As ``time_formats`` gives them.
    given : bool
        The formats come from the mill's description: text is not tidied for them.

    Returns
    -------
    naive, utc : polars.Series
        Datetime("us"); at most one of the two is there in each row.
    """
    nothing = pl.Series([None], dtype=pl.Datetime("us")).new_from_index(0, len(times))
    no_moment = nothing.cast(UTC)
    if isinstance(times.dtype, pl.Datetime) and times.dtype.time_zone is not None:
        return nothing, _sensible(times.cast(UTC))
    if isinstance(times.dtype, pl.Datetime | pl.Date):
        return _sensible(times.cast(pl.Datetime("us"))), no_moment
    if formats and formats[0] in EPOCHS:
        least, most, per_s = EPOCHS[formats[0]]
        numbers = as_numbers(times)
        near = numbers.is_between(least, most).fill_null(value=False)
        safe = numbers.zip_with(
            near, pl.Series([None], dtype=pl.Float64).new_from_index(0, len(near))
        )
        return nothing, (safe * (_SECOND_US / per_s)).round().cast(pl.Int64).cast(UTC)
    if formats and formats[0] == SERIAL:
        return _serial(times), no_moment
    if times.dtype != pl.String:
        return nothing, no_moment
    return _from_text(times, formats, given=given)


def _from_text(
    times: pl.Series, formats: Sequence[str], *, given: bool
) -> tuple[pl.Series, pl.Series]:
    """Read text: as it stands first, then whatever is left after tidying."""
    quick = formats[0] if formats and formats[0] in _QUICK else None
    naive = pl.Series([None], dtype=pl.Datetime("us")).new_from_index(0, len(times))
    offset = naive.cast(UTC)
    if quick:
        read = _sensible(times.str.to_datetime(quick, strict=False, time_unit="us"))
        naive, offset = (naive, read.cast(UTC)) if "%#z" in quick else (read, offset)
    left = naive.is_null() & offset.is_null() & times.is_not_null()
    if not left.any():
        return naive, offset
    tidy = plain_time if given else tidy_time
    text = times.filter(left).to_frame("t").select(tidy(pl.col("t"))).to_series()
    plain = [f for f in formats if "%z" not in f and f not in _QUICK[1:]]
    blank = pl.Series([None], dtype=pl.Datetime("us")).new_from_index(0, len(text))
    rest = first_readable(text, plain, blank)
    zoned = blank.cast(UTC)
    if rest.null_count() > text.null_count():
        with_zone = [f if "%z" in f else f + "%z" for f in formats if f not in _QUICK[1:]]
        zoned = first_readable(text, with_zone, zoned)
    where = left.arg_true()
    return naive.scatter(where, rest), offset.scatter(where, zoned)


def first_readable(text: pl.Series, formats: Sequence[str], found: pl.Series) -> pl.Series:
    """Read text by several formats in turn, stopping as soon as all of it is read."""
    for pattern in formats:
        if found.null_count() == text.null_count():
            break
        read = text.str.to_datetime(pattern, strict=False, time_unit="us").cast(found.dtype)
        found = found.zip_with(found.is_not_null(), _sensible(read))
    return found


def _sensible(read: pl.Series) -> pl.Series:
    """Moments of years that no plant kept records in are misreadings: null."""
    year = read.dt.year()
    near = year.is_between(_FIRST_YEAR, _LAST_YEAR).fill_null(value=True)
    if near.all():
        return read
    return read.zip_with(near, pl.Series([None], dtype=read.dtype).new_from_index(0, len(read)))


def _serial(times: pl.Series) -> pl.Series:
    """Local reading of days since 1899-12-30, to the millisecond or, where blurred, the second."""
    days = as_numbers(times)
    near = days.is_between(*_SERIALS).fill_null(value=False)
    days = days.zip_with(near, pl.Series([None], dtype=pl.Float64).new_from_index(0, len(near)))
    exact = days * (_DAY_S * 1000.0)
    digits = 12
    if times.dtype == pl.String:
        # A day written with few decimals is blurred by more than a millisecond.
        longest = times.str.extract(r"[.,](\d+)", 1).str.len_chars().max()
        digits = int(longest) if isinstance(longest, int) else 12
    unit_ms = 1.0 if digits >= 9 else 1000.0
    whole_ms = (exact / unit_ms).round() * unit_ms
    return (whole_ms.cast(pl.Int64) * 1000 + _SERIAL_ZERO_US).cast(pl.Datetime("us"))
