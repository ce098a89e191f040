"""Which of the many ways of writing moments a column uses.

The way is decided on the whole column. Where day, month and year can be exchanged all rows of the
file decide (``pipeline.cells.orders``), else nobody: the person is asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain
from typing import Final

import polars as pl

from pipeline.base import Answer, DataError, joined, said
from pipeline.cells.orders import CLOCKS, DAY_FIRST, LONG_ORDERS, SHORT_ORDERS, Order, decided
from pipeline.cells.times import (
    EPOCHS,
    QUICK,
    SERIAL,
    SERIALS,
    as_numbers,
    tidied,
)

_ISO: Final = tuple("%Y-%m-%d" + clock for clock in CLOCKS)
_DOTTED: Final = tuple(f.replace("/", ".") for f in DAY_FIRST.formats())
_LONG: Final = r"^\d{1,2}/\d{1,2}/\d{4}"
_SHORT: Final = r"^\d{1,2}([/.])\d{1,2}[/.]\d{2}(?:\D|$)"
#: Shapes of tidied text and the formats that read them; those without one are decided on evidence.
_SHAPES: Final[tuple[tuple[str, tuple[str, ...]], ...]] = (
    (r"^\d{4}-\d{1,2}-\d{1,2}", _ISO),
    (r"^\d{1,2}\.\d{1,2}\.\d{4}", _DOTTED),
    (_LONG, ()),
    (_SHORT, ()),
)
_SAMPLE: Final = 5000


def time_formats(where: str, first: pl.Series, rest: Iterable[pl.Series] = ()) -> tuple[str, ...]:
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
    if word := number_word(sample):
        return (word,)
    if sample.dtype != pl.String:
        return _ISO
    quick = [(f, _read_count(sample, f)) for f in QUICK]
    best, count = max(quick, key=lambda found: found[1])
    leading = (best,) if count else ()
    tidy = tidied(sample)
    shapes = [(int(tidy.str.contains(shape).sum()), k) for k, (shape, _) in enumerate(_SHAPES)]
    most, which = max(shapes, key=lambda found: found[0])
    if not most:
        return _ISO
    formats = _SHAPES[which][1] or _by_order(where, _SHAPES[which][0], first, rest)
    return leading + tuple(f for f in formats if f not in leading)


def _read_count(sample: pl.Series, pattern: str) -> int:
    return len(sample) - sample.str.to_datetime(pattern, strict=False, time_unit="us").null_count()


def number_word(sample: pl.Series) -> str | None:
    """Which kind of number the times are, when all of them are such numbers."""
    numbers = as_numbers(sample).drop_nulls()
    if numbers.is_empty() or len(numbers) < 0.9 * len(sample):
        return None
    low, high = float(numbers.quantile(0.05) or 0.0), float(numbers.quantile(0.95) or 0.0)
    for word, (least, most, _) in EPOCHS.items():
        if least <= low and high <= most:
            return word
    return SERIAL if SERIALS[0] <= low and high <= SERIALS[1] else None


def _by_order(
    where: str, shape: str, first: pl.Series, rest: Iterable[pl.Series]
) -> tuple[str, ...]:
    """Formats of dates whose day, month and year may be exchanged."""
    short = shape == _SHORT
    orders: tuple[Order, ...] = SHORT_ORDERS if short else LONG_ORDERS
    if short and not _all_numbers(first):
        orders = tuple(o for o in orders if o != SHORT_ORDERS[1])  # the month is named
    order, left = decided(orders, (_slashed(part, shape) for part in chain((first,), rest)))
    if order is not None:
        dotted = tuple(f.replace("/", ".") for f in order.formats()) if short else ()
        return order.formats() + dotted
    if short and len(orders) == 2:
        return orders[0].formats()  # a named month: the day goes first unless the record says not
    # Dates with dots have the day first, but for a year in front.
    if short and _share(tidied(first), r"^\d{1,2}\.") > 0.5:
        left = [o for o in left if o != SHORT_ORDERS[1]]
        if len(left) == 1:
            return tuple(f.replace("/", ".") for f in left[0].formats())
    raise _asked(where, first, left if len(left) > 1 else list(orders))


def _slashed(part: pl.Series, shape: str) -> pl.Series:
    """Those tidied texts of some times that have the shape, with slashes."""
    text = tidied(part.drop_nulls())
    text = text.filter(text.str.contains(shape))
    return text.str.replace(r"^(\d{1,2})[/.](\d{1,2})[/.]", "$1/$2/")


def _all_numbers(times: pl.Series) -> bool:
    return not times.drop_nulls().head(_SAMPLE).str.contains(r"\d\W*\p{L}{3,}\W*\d").any()


def _share(text: pl.Series, pattern: str) -> float:
    return int(text.str.contains(pattern).sum()) / max(len(text.drop_nulls()), 1)


def _asked(where: str, first: pl.Series, left: Sequence[Order]) -> DataError:
    """Build the question about the order of day, month and year."""
    cells = first.drop_nulls()
    cells = cells.filter(cells.str.contains(r"\d"))
    sample = "".join(c if c.isprintable() else " " for c in str(cells[0])[:40])
    ways = joined(said(" or as "), [order.words for order in left])
    mark = next((c for c in sample.strip() if c in "-/."), "/")
    written = [f'"{order.date.replace("/", mark)} %H:%M"' for order in left]
    others = said(" (or {forms})", forms=", ".join(written[1:])) if len(written) > 1 else ""
    return DataError(
        said(
            'Dates such as "{sample}" can be read as {ways}; no other row of the file tells.',
            sample=sample,
            ways=ways,
        ),
        where,
        said(
            "Say which: time_format = {written}{others} in the [[exports.layout]] of this kind "
            "of file.",
            written=written[0],
            others=others,
        ),
        [
            Answer(
                {"time_format": _format_of(order, mark, cells)},
                said("{order}: {sample}", order=order.words, sample=sample),
            )
            for order in left
        ],
    )


def _format_of(order: Order, mark: str, cells: pl.Series) -> str:
    """The format of an order that reads most of some cells."""
    formats = [f.replace("/", mark) for f in order.formats()]
    text = cells.str.strip_chars()
    return max(formats, key=lambda f: _read_count(text, f))
