"""What the joint estimate says, as tables: the level by week, and what each method is off by."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Final

import numpy as np
import polars as pl

from features.base import MINUTE, Column, Columns, check_frame, polars_schema
from features.kinetics import Z90
from models.level.level import Level
from models.level.samples import Samples

#: One row a week: `course_of`.
COURSE_COLUMNS: Columns = {
    "ts_utc": MINUTE,
    "multiplier": Column.number("1", "Factor on the published inversion rate at that time."),
    "low": Column.number("1", "Lower end of its 90 % interval."),
    "high": Column.number("1", "Upper end of its 90 % interval."),
}
#: What a step of all results is told at.
EVERY_POINT: Final = "every_point"
#: One row a method and sampling point, and one a noted step of the method: `methods_of`.
METHOD_COLUMNS: Columns = {
    "analyte": Column.text("rs: reducing sugars."),
    "place": Column.text("Vessel behind which it is drawn, or mixed_juice; every_point of a step."),
    "samples": Column.count("Samples used."),
    "high_pct": Column.number("% of the result", "Reads high by; negative: reads low."),
    "high_pct_low": Column.number("% of the result", "Lower end of its 90 % interval."),
    "high_pct_high": Column.number("% of the result", "Upper end of its 90 % interval."),
    "since_utc": Column.moment("When all results stepped so, as noted; else null."),
}


def course_of(level: Level, start_utc: datetime, shares: Mapping[str, float]) -> pl.DataFrame:
    """The level at its weekly knots.

    Parameters
    ----------
    level : Level
    start_utc : datetime
        First minute of the search.
    shares : mapping of str to float
        Share of each zone in the loss; they sum to 1.

    Returns
    -------
    polars.DataFrame
        Columns of ``COURSE_COLUMNS``. The last knot may lie up to a week behind the last minute.
    """
    zones = sum(shares.get(zone, 0.0) * log for zone, log in level.log_zones.items())
    at_min = [round(60.0 * hours) for hours in level.knots_h]
    log_sd = np.concatenate([level.log_sds(shares, at, at + 1) for at in at_min])
    mid = np.exp(level.log_course + zones)
    spread = np.exp(Z90 * log_sd)
    times = [start_utc + timedelta(minutes=at) for at in at_min]
    frame = pl.DataFrame(
        {"ts_utc": times, "multiplier": mid, "low": mid / spread, "high": mid * spread}
    ).with_columns(pl.col("ts_utc").cast(MINUTE.dtype))
    return check_frame(frame, COURSE_COLUMNS)


def methods_of(level: Level, samples: Sequence[Samples], start_utc: datetime) -> pl.DataFrame:
    """What each method is off by at each point, beside the others, and when all of one stepped.

    Only differences between points tell: what is off alike at all of them does not show, and takes
    nothing from a comparison. Of pol only its swings are compared, so nothing is told of it.

    Parameters
    ----------
    level : Level
    samples : sequence of Samples
        What it was fitted to.
    start_utc : datetime
        First minute of the search.

    Returns
    -------
    polars.DataFrame
        Columns of ``METHOD_COLUMNS``, steps last.
    """
    rows: list[tuple[object, ...]] = []
    for (kind, place), (off_pct, sd_pct) in level.off_pct.items():
        if kind != "rs":
            continue
        own = [s for s in samples if (s.kind, s.place) == (kind, place)]
        usual = float(np.median(np.concatenate([s.seen_pct for s in own])))
        # From inverted sucrose [% of sucrose] to the result [% of itself].
        share = 100.0 / usual if usual > 0.0 else 0.0
        high, half = share * off_pct, Z90 * share * sd_pct
        rows.append((kind, place, sum(map(len, own)), high, high - half, high + half, None))
    for step in level.steps:
        ends = (step.log, step.log - Z90 * step.log_sd, step.log + Z90 * step.log_sd)
        stronger = [100.0 * math.expm1(log) for log in ends]
        since = start_utc + timedelta(hours=step.at_h)
        rows.append(("rs", EVERY_POINT, step.samples, *stronger, since))
    frame = pl.DataFrame(rows, schema=polars_schema(METHOD_COLUMNS), orient="row")
    return check_frame(frame, METHOD_COLUMNS)
