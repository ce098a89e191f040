"""Moments: their text in one spelling, and what they are in UTC or as the clock showed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC as UTC_ZONE
from datetime import datetime, timedelta
from typing import Final

import polars as pl

from pipeline.cells.months import with_numbered_months

#: Numbers that are moments: word in ``time_format``, least and greatest number, per second.
EPOCHS: Final = {
    "epoch_s": (3e8, 4.1e9, 1),
    "epoch_ms": (3e11, 4.1e12, 1_000),
    "epoch_us": (3e14, 4.1e15, 1_000_000),
    "epoch_ns": (3e17, 4.1e18, 1_000_000_000),
}
SERIAL: Final = "serial"
#: Days from 1899-12-30, the zero of spreadsheets, for 1954 to 2119.
SERIALS: Final = (20_000.0, 80_000.0)
_SERIAL_ZERO_US: Final = -2_209_161_600_000_000
_SECOND_US: Final = 1_000_000
_FIRST_YEAR, _LAST_YEAR = 1970, 2100

#: Written as one string most exports use, read without any tidying.
QUICK: Final = (
    "%Y-%m-%d %H:%M:%S%.f",
    "%Y-%m-%dT%H:%M:%S%.f",
    "%Y-%m-%d %H:%M:%S%.f%#z",
    "%Y-%m-%dT%H:%M:%S%.f%#z",
)
DAY_S: Final = 86_400
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
        .str.replace(r"\s*([AaPp])\.?\s?([Mm])\.?$", " $1$2")
        .str.replace(r"\s*Uhr$", "")
        .str.strip_chars()
    )


def tidied(times: pl.Series) -> pl.Series:
    """Time text as `tidy_time` makes it, after months by name have become numbers."""
    numbered = with_numbered_months(times)
    return numbered.to_frame("t").select(tidy_time(pl.col("t"))).to_series()


def as_numbers(times: pl.Series) -> pl.Series:
    """Times that are numbers, as such; a comma may be their decimal mark."""
    if times.dtype != pl.String:
        return times.cast(pl.Float64, strict=False) if times.dtype.is_numeric() else times.clear()
    text = times.str.strip_chars().str.replace(",", ".", literal=True)
    return text.cast(pl.Float64, strict=False)


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
    nothing = no_moments(len(times))
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
    quick = formats[0] if formats and formats[0] in QUICK else None
    naive = no_moments(len(times))
    offset = naive.cast(UTC)
    if quick:
        read = _sensible(times.str.to_datetime(quick, strict=False, time_unit="us"))
        naive, offset = (naive, read.cast(UTC)) if "%#z" in quick else (read, offset)
    left = naive.is_null() & offset.is_null() & times.is_not_null()
    if not left.any():
        return naive, offset
    rest_of = times.filter(left)
    text = rest_of.to_frame("t").select(plain_time(pl.col("t"))).to_series()
    text = text if given else tidied(rest_of)
    plain = [f for f in formats if "%z" not in f and f not in QUICK[1:]]
    blank = no_moments(len(text))
    rest = first_readable(text, plain, blank)
    zoned = blank.cast(UTC)
    if rest.null_count() > text.null_count():
        with_zone = [f if "%z" in f else f + "%z" for f in formats if f not in QUICK[1:]]
        zoned = first_readable(text, with_zone, zoned)
    where = left.arg_true()
    return naive.scatter(where, rest), offset.scatter(where, zoned)


def no_moments(count: int) -> pl.Series:
    """Local moments, none of them known."""
    return pl.Series([None], dtype=pl.Datetime("us")).new_from_index(0, count)


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
    near = days.is_between(*SERIALS).fill_null(value=False)
    days = days.zip_with(near, pl.Series([None], dtype=pl.Float64).new_from_index(0, len(near)))
    exact = days * (DAY_S * 1000.0)
    digits = 12
    if times.dtype == pl.String:
        # A day written with few decimals is blurred by more than a millisecond.
        longest = times.str.extract(r"[.,](\d+)", 1).str.len_chars().max()
        digits = int(longest) if isinstance(longest, int) else 12
    unit_ms = 1.0 if digits >= 9 else 1000.0
    whole_ms = (exact / unit_ms).round() * unit_ms
    return (whole_ms.cast(pl.Int64) * 1000 + _SERIAL_ZERO_US).cast(pl.Datetime("us"))
