"""Which of day, month and year comes first where all of them are numbers.

All rows of the file have a say. A reading of the dates holds when it reads nearly all rows and no
other one does, or when the record runs on under it and has gaps of months or years under every
other. A stray row (a filler, a slip of the hand) decides nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import polars as pl

from pipeline.base import said
from pipeline.cells.times import DAY_S, first_readable, latest_moment, no_moments

CLOCKS: Final = (" %H:%M:%S%.f", " %H:%M", " %I:%M:%S %p", " %I:%M %p", "")
#: Share of rows that may be strays, and strays that may not decide.
_STRAY_SHARE: Final = 0.05
_STRAY_LEAST: Final = 3
#: Distinct moments kept as evidence: beyond these the file has told enough.
_MOST_KEPT: Final = 500_000
_YEAR_S: Final = 300 * DAY_S


@dataclass(frozen=True, slots=True)
class Order:
    """An order of day, month and year.

    Attributes
    ----------
    words : str
        For a person.
    date : str
        strptime format of the date, with slashes.
    year_first : bool
    """

    words: str
    date: str
    year_first: bool = False

    def formats(self) -> tuple[str, ...]:
        """Formats with every way of writing the clock."""
        return tuple(self.date + clock for clock in CLOCKS)


DAY_FIRST: Final = Order(said("day/month"), "%d/%m/%Y")
MONTH_FIRST: Final = Order(said("month/day"), "%m/%d/%Y")
SHORT_ORDERS: Final = (
    Order(said("day/month/year"), "%d/%m/%y"),
    Order(said("month/day/year"), "%m/%d/%y"),
    Order(said("year/month/day"), "%y/%m/%d", year_first=True),
)
LONG_ORDERS: Final = (DAY_FIRST, MONTH_FIRST)


def decided(
    orders: Sequence[Order], parts: Iterable[pl.Series]
) -> tuple[Order | None, list[Order]]:
    """Order that the rows prove, if they do, and those that remain possible.

    Parameters
    ----------
    orders : sequence of Order
    parts : iterable of polars.Series
        Tidied text of the moments of the whole file, dates with slashes.
    """
    seen: list[pl.DataFrame] = []
    kept = 0
    for part in parts:
        counts = part.drop_nulls().value_counts(name="rows")
        seen.append(counts.rename({counts.columns[0]: "text"}))
        kept += counts.height
        if kept > _MOST_KEPT:
            break
    if not seen:
        return None, list(orders)
    met = pl.concat(seen).group_by("text").agg(pl.col("rows").sum())
    read = {order.words: _read(met["text"], order) for order in orders}
    table = met.with_columns(pl.Series(name, column) for name, column in read.items())
    table = table.filter(pl.any_horizontal(pl.col(name).is_not_null() for name in read))
    return _judged(table, orders)


def _read(text: pl.Series, order: Order) -> pl.Series:
    """Moments of text read in an order; null where it cannot be."""
    clock = text.str.replace(r"\s*[+-]\d{2}:\d{2}$", "")
    found = first_readable(clock, order.formats(), no_moments(len(clock)))
    latest = latest_moment().replace(tzinfo=None)
    return pl.DataFrame({"t": found}).select(pl.when(pl.col("t") <= latest).then("t"))["t"]


def _judged(table: pl.DataFrame, orders: Sequence[Order]) -> tuple[Order | None, list[Order]]:
    rows = int(table["rows"].sum()) if table.height else 0
    if not rows:
        return None, list(orders)
    count = {
        o.words: int(table.filter(pl.col(o.words).is_not_null())["rows"].sum()) for o in orders
    }
    able = [o for o in orders if count[o.words] >= (1 - _STRAY_SHARE) * rows]
    # Nearly all rows, and the rest are strays: an order that fails on more than strays is out.
    lost = [rows - count[o.words] for o in orders if o not in able]
    if len(able) == 1 and all(n >= _STRAY_LEAST or 2 * n >= rows for n in lost):
        return able[0], able
    left = able or list(orders)
    if len(able) == 1:  # the others fail on a stray or two only
        left = list(orders)
    left = _without_jumps_of_years(table, left)
    if len(left) == 1 and len(able) != 1:
        return left[0], left
    verdicts = {o.words: _runs_on(table[o.words]) for o in left}
    on = [o for o in left if verdicts[o.words] == "on"]
    broken = [o for o in left if verdicts[o.words] == "broken"]
    if len(on) == 1 and len(on) + len(broken) == len(left):
        return on[0], on
    joined = [o for o in left if _joins(table, o, left)]
    return (joined[0] if len(joined) == 1 else None), left


def _without_jumps_of_years(table: pl.DataFrame, orders: list[Order]) -> list[Order]:
    """Orders under which a dense record does not jump by years between neighbours."""
    if len({o.year_first for o in orders}) < 2:
        return orders
    dense = []
    for order in orders:
        steps = _steps(table[order.words])
        usual = float(steps.median() or 0) if len(steps) else 0.0  # type: ignore[arg-type]
        longest = float(steps.max() or 0) if len(steps) else 0.0  # type: ignore[arg-type]
        dense.append(usual <= DAY_S and longest >= _YEAR_S)
    left = [order for order, jumps in zip(orders, dense, strict=True) if not jumps]
    return left or orders


def _steps(moments: pl.Series) -> pl.Series:
    return moments.drop_nulls().unique().sort().diff().dt.total_seconds().drop_nulls()


def _runs_on(moments: pl.Series) -> str:
    """Whether a record, read so, runs on over three days or more, or has months missing."""
    steps = _steps(moments)
    if moments.drop_nulls().dt.date().n_unique() < 3 or steps.is_empty():
        return "open"
    usual, longest = float(steps.median() or 0), float(steps.max() or 0)  # type: ignore[arg-type]
    if longest >= 20 * DAY_S and usual <= DAY_S / 4:
        return "broken"
    return "on" if usual <= DAY_S / 4 and longest <= 1.5 * DAY_S else "open"


def _joins(table: pl.DataFrame, order: Order, orders: Sequence[Order]) -> bool:
    """Whether rows that only this order reads follow closely on rows that others read too."""
    others = [o.words for o in orders if o is not order]
    mine = pl.col(order.words).is_not_null()
    alone = table.filter(mine & pl.all_horizontal(pl.col(o).is_null() for o in others))
    shared = table.filter(mine & pl.any_horizontal(pl.col(o).is_not_null() for o in others))
    if alone.is_empty() or shared.is_empty():
        return False
    steps = _steps(table[order.words])
    usual_s = float(steps.median() or 0) if len(steps) else 0.0  # type: ignore[arg-type]
    near = timedelta(seconds=1.5 * max(DAY_S, usual_s))
    close = alone.select(t=pl.col(order.words)).sort("t").join_asof(
        shared.select(t=pl.col(order.words), other=pl.col(order.words)).sort("t"),
        on="t",
        strategy="nearest",
    )  # fmt: skip
    return bool(((close["t"] - close["other"]).abs() <= near).all())
