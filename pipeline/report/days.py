"""Loss above the unavoidable, of whole days and of microbes, added up for a report.

Loss by kinetics comes summed, with its bounds. Loss to microbes does not follow from pH and
temperature; it is known from findings only and errs on its own, so its bounds are joined in
quadrature.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

import polars as pl

from models.account import pooled, with_bounds
from pipeline.report.view import Estimate
from pipeline.words import as_utc, day_span

MICROBES: Final = "microbial"


def within(findings: pl.DataFrame, start: datetime, end: datetime) -> pl.DataFrame:
    """Give the part of each finding that lies in a period; findings outside it are left out.

    Returns
    -------
    polars.DataFrame
        The rows with lost_t, lost_t_low and lost_t_high scaled to the time inside: a finding is
        taken to lose evenly. Withdrawn findings and those without tonnes are left out.
    """
    closed = pl.col("ended").fill_null(as_utc(end))
    inside = pl.min_horizontal(closed, pl.lit(as_utc(end))) - pl.max_horizontal(
        "started", pl.lit(as_utc(start))
    )
    whole = (closed - pl.col("started")).dt.total_seconds().clip(lower_bound=1)
    part = inside.dt.total_seconds().clip(lower_bound=0) / whole
    return (
        findings.filter((pl.col("status") != "withdrawn") & pl.col("lost_t").is_not_null())
        .with_columns(_part=part)
        .filter(pl.col("_part") > 0)
        .with_columns(pl.col("lost_t", "lost_t_low", "lost_t_high") * pl.col("_part"))
        .drop("_part")
    )


def microbes_within(findings: pl.DataFrame, start: datetime, end: datetime) -> Estimate:
    """Sucrose eaten by microbes in a period, by the findings [t]."""
    rows = within(findings.filter(pl.col("cause") == MICROBES), start, end)
    return Estimate(*(float(rows[name].sum()) for name in ("lost_t", "lost_t_low", "lost_t_high")))


def with_microbes(
    sums: pl.DataFrame, findings: pl.DataFrame, spans: Sequence[tuple[datetime, datetime]]
) -> pl.DataFrame:
    """Sums by kinetics with what microbes ate meanwhile, so that they add up to the headline.

    Parameters
    ----------
    sums : polars.DataFrame
        excess_t, excess_low_t, excess_high_t [t]; a row a day or shift.
    findings : polars.DataFrame
        All that may lie in them.
    spans : sequence of (datetime, datetime)
        Start and end (excluded) of each row, UTC.
    """
    names = ("excess_t", "excess_low_t", "excess_high_t")
    # Findings by microbes are few, rows may be many: only those that touch one are worked on.
    eaters = findings.filter(pl.col("cause") == MICROBES)
    touched = list(eaters.select("started", "ended").iter_rows())
    rows = []
    for row, (start, end) in zip(sums.select(names).to_dicts(), spans, strict=True):
        bare = tuple(row.values())
        if row["excess_t"] is None or not any(a < end and (b or end) > start for a, b in touched):
            rows.append(bare)
            continue
        both = joined(Estimate(*bare), microbes_within(eaters, start, end))
        rows.append((both.value, both.low, both.high))
    made = pl.DataFrame(rows, schema=dict.fromkeys(names, pl.Float64), orient="row")
    return sums.with_columns(made)


def joined(one: Estimate, other: Estimate) -> Estimate:
    """Sum of two amounts that err independently [t]."""
    low = math.hypot(one.value - one.low, other.value - other.low)
    high = math.hypot(one.high - one.value, other.high - other.value)
    value = one.value + other.value
    return Estimate(value, value - low, value + high)


def days_with_microbes(season: pl.DataFrame, findings: pl.DataFrame, zone: str) -> pl.DataFrame:
    """Sums by ``day_local`` with what microbes ate on each day."""
    spans = [day_span(day, day, ZoneInfo(zone)) for day in season["day_local"]]
    return with_microbes(season, findings, spans)


def tally_of(
    season: pl.DataFrame | None, findings: pl.DataFrame, first: date, last: date, zone: str
) -> Tally | None:
    """Add up days `first` to `last` with the microbes of the findings; None without a number."""
    if season is None:
        return None
    bounds = day_span(first, last, ZoneInfo(zone))
    return tally(season, first, last, microbes_within(findings, *bounds))


@dataclass(frozen=True, slots=True)
class Tally:
    """Loss above the unavoidable over some days [t], microbes included.

    Attributes
    ----------
    total : Estimate
        Of all days together.
    microbes_t : float
        Part of it that microbes ate.
    unavoidable_t, sucrose_fed_t : float
        Over the same days.
    days : int
        Days with numbers.
    asked : int
        Days asked for.
    minutes, measured : int
        Minutes judged, and those with all readings.
    """

    total: Estimate
    microbes_t: float
    unavoidable_t: float
    sucrose_fed_t: float
    days: int
    asked: int
    minutes: int
    measured: int

    @property
    def a_day(self) -> Estimate:
        """Mean of a day [t]."""
        return Estimate(
            *(v / self.days for v in (self.total.value, self.total.low, self.total.high))
        )


def tally(days: pl.DataFrame, first: date, last: date, microbes: Estimate) -> Tally | None:
    """Add up days `first` to `last`, both included; None without a single one.

    Parameters
    ----------
    days : polars.DataFrame
        `loss_sums` by ``day_local``.
    microbes : Estimate
        `microbes_within` for the same days.
    """
    held = days.filter(pl.col("day_local").is_between(first, last)).drop_nulls("excess_t")
    if held.is_empty():
        return None
    row = with_bounds(pooled(held)).row(0, named=True)
    by_kinetics = Estimate(row["excess_t"], row["excess_low_t"], row["excess_high_t"])
    return Tally(
        total=joined(by_kinetics, microbes),
        microbes_t=microbes.value,
        unavoidable_t=row["unavoidable_t"],
        sucrose_fed_t=row["sucrose_fed_t"],
        days=held.height,
        asked=(last - first).days + 1,
        minutes=row["minutes"],
        measured=row["measured"],
    )
