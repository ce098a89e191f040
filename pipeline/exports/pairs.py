"""Pairs of columns side by side: each tag with the times of its own readings.

    time,MJ.FI101,time,LT.AI212
    2025-03-13 00:30,270.0,2025-03-13 00:37,7.4
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import polars as pl

from pipeline.base import DataError
from pipeline.cells import folded
from pipeline.exports.kinds import Kind, is_counted, sounds_like_time
from pipeline.files import EXTRA, plain_name, shown
from pipeline.mill import ExportLayout

if TYPE_CHECKING:
    from pipeline.exports.layout import Plan
    from pipeline.exports.refused import Tally
    from pipeline.exports.table import TableReader


def pairs_in(
    where: str, first: pl.DataFrame, kinds: dict[str, Kind], given: ExportLayout
) -> tuple[tuple[str, str], ...]:
    """Columns of times, each with that of its values; empty where the table is no such.

    Raises
    ------
    DataError
        Times and values alternate, and the headings do not tell pairs from remarks; or pairs
        were described and there are none.
    """
    columns = [n for n, kind in kinds.items() if kind != "empty" or not _is_blank(n)]
    is_time = [_is_moment(first, n, kinds[n]) for n in columns]
    pairs = tuple(
        (columns[k], columns[k + 1])
        for k in range(0, len(columns) - 1, 2)
        if is_time[k] and not is_time[k + 1]
    )
    whole = len(columns) >= 2 and 2 * len(pairs) == len(columns)
    if given.shape == "pairs":
        if whole:
            return pairs
        raise DataError(
            "The columns are no pairs of times and values.",
            where,
            'Take shape = "pairs" out of the [[exports.layout]] of this kind of file.',
        )
    if not whole or len(pairs) < 2 or given.time_column or given.date_column:
        return ()
    if all(_belong(time, value, pairs[0][0]) for time, value in pairs):
        return pairs
    times = " or ".join(f'"{shown(t, 40)}"' for t, _ in pairs[:2])
    raise DataError(
        f"Columns of times and of values take turns: a value can be of the time before it, or all "
        f"of them of {times}.",
        where,
        'Say which: shape = "pairs" (or shape = "wide" and time_column) in the [[exports.layout]] '
        "of this kind of file.",
    )


def _is_blank(name: str) -> bool:
    return not name or name.startswith("_duplicated_")


def _is_moment(first: pl.DataFrame, name: str, kind: Kind) -> bool:
    if kind in ("moment", "date"):
        return True
    return kind == "number" and sounds_like_time(name) and is_counted(first[name])


def _belong(time: str, value: str, first_time: str) -> bool:
    """Whether headings say that times are those of the column beside them."""
    return (
        _is_blank(time)
        or _bare(time) == _bare(first_time)
        or folded(value) in folded(time)
    )


def _bare(name: str) -> str:
    return plain_name(name.partition("_duplicated_")[0])


class PairsReader:
    """Reads each pair as a table of its own; the rows of all of them count."""

    def __init__(
        self, plan: Plan, tally: Tally, reader: Callable[[Plan], TableReader]
    ) -> None:
        self.plan, self._tally = plan, tally
        self._parts = [
            (pair, reader(replace(plan, shape="wide", time=pair[0], tags=(pair[1],), pairs=())))
            for pair in plan.pairs
        ]

    @property
    def holds(self) -> bool:
        """Some rows wait for those after them."""
        return any(reader.holds for _, reader in self._parts)

    def read(self, raw: pl.DataFrame | None) -> Iterator[pl.DataFrame]:
        """Readings of a batch, pair by pair; with None, of rows that waited for another."""
        for number, (pair, reader) in enumerate(self._parts, start=1):
            yield from reader.read(None if raw is None else _own_rows(raw, pair))
            if raw is not None and number < len(self._parts):
                self._tally.pass_over(-raw.height)


def _own_rows(raw: pl.DataFrame, pair: Sequence[str]) -> pl.DataFrame:
    """Rows of a pair up to the last that holds something of it."""
    # Rows that end early are those of the shorter pairs: what is missing is empty.
    marks = [EXTRA] if EXTRA in raw.columns else []
    rows = raw.select(*pair, *marks)
    last = rows.select(pl.any_horizontal(pl.col(pair).is_not_null()).arg_true().max()).item()
    return rows.head(0 if last is None else last + 1)
