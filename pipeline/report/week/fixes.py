"""Before and after a fault was fixed: whether the loss stopped.

Three periods of the station's loss above the unavoidable are set beside one another: the week
before the finding, the finding itself, and the time since it was fixed. Minutes of other findings
are left out. Six-hour means count as independent, and their scatter gives the intervals; what errs
in all three periods alike (multiplier, volumes) cancels in the comparison.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final, Literal

import polars as pl

from pipeline.report.days import MICROBES
from pipeline.report.view import Estimate

_REACH: Final = timedelta(days=7)
_LEAST: Final = timedelta(hours=12)
_BLOCK: Final = "6h"
_BLOCK_MIN: Final = 360.0
_Z90: Final = 1.645
_FEWEST_BLOCKS: Final = 4

#: A loss counts as stopped when less than a third of its rise is left, as going on when more than
#: half is (estimates); the intervals must say so, not the middle values.
_STOPPED: Final = 1.0 / 3.0
_GOES_ON: Final = 0.5

Outcome = Literal[
    "stopped", "fell", "goes on", "cannot be told", "too early", "not seen by kinetics"
]


@dataclass(frozen=True, slots=True)
class FixCheck:
    """What became of a loss after it was fixed.

    Attributes
    ----------
    finding_id : str
    outcome : str
    before, during, after : Estimate or None
        Loss above the unavoidable [kg/h], with 90 % interval.
    fell : Estimate or None
        During less after [kg/h], with 90 % interval.
    since : datetime
        From when on it counts as fixed, UTC.
    hours : float
        Hours since then that could be judged.
    again : int
        Findings of the same cause and place since.
    """

    finding_id: str
    outcome: Outcome
    before: Estimate | None
    during: Estimate | None
    after: Estimate | None
    fell: Estimate | None
    since: datetime
    hours: float
    again: int


def check_fix(
    row: Mapping[str, Any],
    given_at: datetime,
    minutes: pl.DataFrame,
    known: pl.DataFrame,
    data_end: datetime,
) -> FixCheck:
    """Compare the loss before, during and after a finding that people call fixed.

    Parameters
    ----------
    row : mapping
        The finding: finding_id, cause, section, started, ended.
    given_at : datetime
        When it was called fixed. A verdict given after the end of data, or just before it, counts
        from the end of the finding.
    minutes : polars.DataFrame
        ts_utc and excess_kg_h, from a week before the finding to the end of data.
    known : polars.DataFrame
        All findings, for the minutes to leave out and for those that came again.
    data_end : datetime
        UTC.
    """
    since = given_at if given_at < data_end - _LEAST else row["ended"]
    stands = known.filter(pl.col("status") != "withdrawn")
    alike = (pl.col("cause") == row["cause"]) & (pl.col("section") == row["section"])
    mine = pl.col("finding_id") == row["finding_id"]
    again = stands.filter(alike & ~mine & (pl.col("started") >= since)).height
    others = stands.filter(~alike & ~mine)
    quiet = _without(minutes, others)
    calm = _without(minutes, stands.filter(~mine))
    parts = (
        _between(calm, row["started"] - _REACH, row["started"]),
        _between(minutes, row["started"], min(row["ended"], since)),
        _between(quiet, since, min(since + _REACH, data_end)),
    )
    hours = parts[2].height / 60.0
    if row["cause"] == MICROBES:
        nothing: tuple[None, None, None] = (None, None, None)
        return FixCheck(
            row["finding_id"], "not seen by kinetics", *nothing, None, since, hours, again
        )
    sd = _scatter(parts)
    before, during, after = (None if sd is None else _mean(part, sd) for part in parts)
    fell = None if during is None or after is None else _less(during, after)
    outcome = _outcome(hours, (before, during, after), fell)
    return FixCheck(row["finding_id"], outcome, before, during, after, fell, since, hours, again)


def _outcome(hours: float, parts: tuple[Estimate | None, ...], fell: Estimate | None) -> Outcome:
    """Judge what is left of the rise; without a week before, only whether the loss fell."""
    before, during, after = parts
    if hours < _LEAST / timedelta(hours=1):
        return "too early"
    if fell is None or after is None or during is None:
        return "cannot be told"
    if before is None:
        return "fell" if fell.low > 0 else "cannot be told"
    left, rise = _less(after, before), during.value - before.value
    if rise > 0 and left.low > _GOES_ON * rise:
        return "goes on"
    if rise > 0 and left.high < _STOPPED * rise and fell.low > 0:
        return "stopped"
    return "fell" if fell.low > 0 else "cannot be told"


def _between(minutes: pl.DataFrame, start: datetime, end: datetime) -> pl.DataFrame:
    inside = pl.col("ts_utc").is_between(start, end, closed="left")
    return minutes.filter(inside).drop_nulls("excess_kg_h")


def _without(minutes: pl.DataFrame, findings: pl.DataFrame) -> pl.DataFrame:
    spans = findings.select("started", "ended").rows()
    covered = pl.lit(value=False)
    for started, ended in spans:
        covered = covered | pl.col("ts_utc").is_between(started, ended, closed="left")
    return minutes.filter(~covered)


def _scatter(parts: tuple[pl.DataFrame, ...]) -> float | None:
    """Standard deviation of six-hour means inside the periods [kg/h]; None from too few."""
    squares, free = 0.0, 0
    for part in (parts[0], parts[2]):
        means = (
            part.sort("ts_utc")
            .group_by_dynamic("ts_utc", every=_BLOCK)
            .agg(pl.col("excess_kg_h").mean(), n=pl.len())
            .filter(pl.col("n") >= _BLOCK_MIN / 2)["excess_kg_h"]
        )
        if len(means) > 1:
            squares += float(means.var(ddof=1) or 0.0) * (len(means) - 1)  # type: ignore[arg-type]
            free += len(means) - 1
    return math.sqrt(squares / free) if free >= _FEWEST_BLOCKS else None


def _mean(part: pl.DataFrame, sd: float) -> Estimate | None:
    if part.is_empty():
        return None
    value = float(part["excess_kg_h"].mean())  # type: ignore[arg-type]
    half = _Z90 * sd / math.sqrt(max(1.0, part.height / _BLOCK_MIN))
    return Estimate(value, value - half, value + half)


def _less(one: Estimate, other: Estimate) -> Estimate:
    value = one.value - other.value
    half = math.hypot(one.value - one.low, other.value - other.low)
    return Estimate(value, value - half, value + half)
