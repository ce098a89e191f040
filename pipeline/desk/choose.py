"""Which findings and hours a view shows, and what it says of those it leaves out."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.base import Window
from pipeline.desk.address import Filters
from pipeline.mill import Mill
from pipeline.words import said

NO_VERDICT: Final = "none"
WEEKDAYS: Final = (
    said("Monday"),
    said("Tuesday"),
    said("Wednesday"),
    said("Thursday"),
    said("Friday"),
    said("Saturday"),
    said("Sunday"),
)
_DAY_MIN: Final = 1440


def shift_of(moment: datetime, mill: Mill) -> int:
    """Number of the shift that runs at a moment."""
    local = moment.astimezone(mill.tz)
    clock = local.hour * 60 + local.minute
    begins = [int(s[:2]) * 60 + int(s[3:]) for s in mill.shifts.starts]
    return (sum(clock >= begin for begin in begins) - 1) % max(len(begins), 1)


def weekday_of(moment: datetime, mill: Mill) -> int:
    """Weekday of a moment in plant time, Monday 0."""
    return moment.astimezone(mill.tz).weekday()


def findings_in(found: pl.DataFrame, filters: Filters, mill: Mill) -> list[dict[str, Any]]:
    """Findings that pass the filters, in their order. Shift and weekday are those of the start."""
    return [row for row in found.to_dicts() if _passes(row, filters, mill)]


def _passes(row: dict[str, Any], filters: Filters, mill: Mill) -> bool:
    tests = (
        filters.gone or row["status"] != "withdrawn",
        not filters.cause or row["cause"] in filters.cause,
        not filters.section or row["section"] in filters.section,
        not filters.mark or (row["mark"] or "") in filters.mark,
        not filters.verdict or (row["verdict"] or NO_VERDICT) in filters.verdict,
        (row["lost_t"] or 0.0) >= filters.least_t,
        not filters.weekday or str(weekday_of(row["started"], mill)) in filters.weekday,
        not filters.shift or str(shift_of(row["started"], mill)) == filters.shift,
    )
    return all(tests)


def touches(row: dict[str, Any], window: Window) -> bool:
    """Whether something with start and end lies in a window, in part at least."""
    return bool(row["started"] < window.end and row["ended"] > window.start)


def hours_chosen(hours: pl.DataFrame, filters: Filters, mill: Mill) -> NDArray[np.bool_]:
    """Hours that shift and weekday let through, by row."""
    if not filters.hours_chosen:
        return np.ones(hours.height, dtype=bool)
    local = hours.select(
        minute=pl.col("hour").dt.convert_time_zone(mill.zone).dt.hour().cast(pl.Int64) * 60
        + pl.col("hour").dt.convert_time_zone(mill.zone).dt.minute(),
        weekday=pl.col("hour").dt.convert_time_zone(mill.zone).dt.weekday() - 1,
    )
    passes = np.ones(hours.height, dtype=bool)
    if filters.weekday:
        passes &= local["weekday"].cast(pl.String).is_in(list(filters.weekday)).to_numpy()
    if filters.shift:
        begins = [int(s[:2]) * 60 + int(s[3:]) for s in mill.shifts.starts]
        clock = local["minute"].to_numpy()
        order = (np.sum([clock >= b for b in begins], axis=0) - 1) % max(len(begins), 1)
        passes &= order.astype(str) == filters.shift
    return passes
