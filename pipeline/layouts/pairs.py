"""Pairs of columns side by side: each tag with the times of its own readings.

time,MJ.FI101,time,LT.AI212
2025-03-13 00:30,270.0,2025-03-13 00:37,7.4
"""

from __future__ import annotations

import polars as pl

from pipeline.base import Answer, DataError, joined, said
from pipeline.cells import folded
from pipeline.files import plain_name, shown
from pipeline.layouts.kinds import Kind, is_counted, sounds_like_time
from pipeline.mill import ExportLayout


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
            said("The columns are no pairs of times and values."),
            where,
            said('Take shape = "pairs" out of the [[exports.layout]] of this kind of file.'),
        )
    if not whole or len(pairs) < 2 or given.time_column or given.date_column:
        return ()
    if all(_belong(time, value, pairs[0][0]) for time, value in pairs):
        return pairs
    times = joined(said(" or "), [f'"{shown(t, 40)}"' for t, _ in pairs[:2]])
    raise DataError(
        said(
            "Columns of times and of values take turns: a value can be of the time before it, "
            "or all of them of {times}.",
            times=times,
        ),
        where,
        said(
            'Say which: shape = "pairs" (or shape = "wide" and time_column) in the '
            "[[exports.layout]] of this kind of file."
        ),
        [
            Answer({"shape": "pairs"}, said("each value has the time before it")),
            Answer(
                {"shape": "wide", "time_column": pairs[0][0]},
                said("all are of {times}", times=times),
            ),
        ],
    )


def _is_blank(name: str) -> bool:
    return not name or name.startswith("_duplicated_")


def _is_moment(first: pl.DataFrame, name: str, kind: Kind) -> bool:
    if kind in ("moment", "date"):
        return True
    return kind == "number" and sounds_like_time(name) and is_counted(first[name])


def _belong(time: str, value: str, first_time: str) -> bool:
    """Whether headings say that times are those of the column beside them."""
    return _is_blank(time) or _bare(time) == _bare(first_time) or folded(value) in folded(time)


def _bare(name: str) -> str:
    return plain_name(name.partition("_duplicated_")[0])
