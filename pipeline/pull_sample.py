"""Those readings of a clean block that show what all of them do.

``pipeline.readers_evidence`` looks for clock jumps, changes of level and still values. In a block
whose times run on, a few readings of each tag show as much as all: the first and last, the
smallest and largest, some drawn evenly by lot (always the same lot), and all of a still tag.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import polars as pl

from pipeline.lake_columns import Columns, to_frame
from pipeline.readers_evidence import looks_filled

_DRAWN: Final = 6000


def worth_watching(
    columns: Columns, tags: list[str], reasons: list[str], last_us: dict[int, int]
) -> pl.DataFrame | None:
    """Readings to watch, in their order; None where each reading has to be looked at.

    Parameters
    ----------
    columns : Columns
    tags, reasons : list of str
        The words behind the numbers.
    last_us : dict of int to int
        Last moment of each tag in the blocks before; brought up to date.

    Returns
    -------
    polars.DataFrame or None
        None when a number looks like a filler.
    """
    if not len(columns):
        return to_frame(columns, tags, reasons)
    order = np.argsort(columns.tag.astype(np.uint16), kind="stable")
    if len(tags) >= 1 << 16:
        order = np.argsort(columns.tag, kind="stable")
    tag, time_us, value = columns.tag[order], columns.time_us[order], columns.value[order]
    starts = np.flatnonzero(np.diff(tag, prepend=-1))
    ends = np.append(starts[1:], len(tag)) - 1
    low = np.fmin.reduceat(value, starts)
    high = np.fmax.reduceat(value, starts)
    if any(looks_filled(float(end)) for end in (*low, *high) if not np.isnan(end)):
        return None
    back = bool(((np.diff(time_us) < 0) & (np.diff(tag) == 0)).any())
    for code, first, last in zip(tag[starts], time_us[starts], time_us[ends], strict=True):
        back |= int(first) < last_us.get(int(code), int(first))
        last_us[int(code)] = int(last)
    if back:
        return to_frame(columns, tags, reasons)
    counts = ends - starts + 1
    lowest, highest = np.repeat(low, counts), np.repeat(high, counts)
    ends_of_range = np.concatenate(
        [_first_of_each(value == lowest, starts), _first_of_each(value == highest, starts)]
    )
    still = np.flatnonzero(np.repeat(low == high, counts))
    lot = np.random.default_rng(0).integers(0, len(tag), min(_DRAWN, len(tag)))
    rows = np.unique(order[np.concatenate([starts, ends, ends_of_range, still, lot])])
    return to_frame(columns.take(rows), tags, reasons)


def _first_of_each(hits: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Place of the first hit at or after each start; nothing where there is none."""
    found = np.flatnonzero(hits)
    if not len(found):
        return found
    at = np.searchsorted(found, starts)
    return found[at[at < len(found)]]
