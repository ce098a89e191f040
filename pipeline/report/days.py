"""Loss above the unavoidable summed over days, shifts and other stretches, with intervals.

The loss that kinetics give errs in two ways at once: by a share of itself (kinetic multiplier, and
what the model leaves out) and by the pH that stays uncertain after the laboratory put it right.
Both last for days, so bounds of several days are added as they are, which is the cautious side.
Loss to microbes does not follow from pH and temperature; it is known from findings only and errs
on its own, so its bounds are joined in quadrature.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

import polars as pl

from pipeline.report.localtime import as_utc
from pipeline.report.view import Estimate

#: Vessels and the pH inside them are known to about a fifth, the corrected pH to 0.04 for days on
#: end (estimates; the second as measured on simulated mills).
_MODEL_LOG_SD: Final = 0.2
_PH_SD: Final = 0.04
_Z90: Final = 1.645
_TONNES_A_MINUTE: Final = 1.0 / 60_000.0
MICROBES: Final = "microbial"


def multiplier_log_sd(low: float, high: float) -> float:
    """Log standard error of a multiplier from its 90 % interval."""
    return math.log(high / low) / (2 * _Z90)


def loss_sums(minutes: pl.DataFrame, by: Sequence[str], log_sd: float) -> pl.DataFrame:
    """Sum loss by minute over groups, with intervals: `bare_sums`, then `with_bounds`."""
    return with_bounds(bare_sums(minutes, by), log_sd).sort(*by)


def bare_sums(minutes: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
    """Sum loss by minute over groups.

    Parameters
    ----------
    minutes : polars.DataFrame
        sucrose_feed_kg_h, unavoidable_kg_h, excess_kg_h, measured (False where the mill's usual
        value stands in), and the columns of `by`; one row a minute.
    by : sequence of str
        Columns that make a group.

    Returns
    -------
    polars.DataFrame
        `by`, sucrose_fed_t, unavoidable_t, excess_t [t], minutes judged and minutes measured;
        sorted by `by`. Sums of parts of a group may be added.
    """
    return (
        minutes.group_by(*by)
        .agg(
            sucrose_fed_t=pl.col("sucrose_feed_kg_h").sum() * _TONNES_A_MINUTE,
            unavoidable_t=pl.col("unavoidable_kg_h").sum() * _TONNES_A_MINUTE,
            excess_t=pl.col("excess_kg_h").sum() * _TONNES_A_MINUTE,
            minutes=pl.col("excess_kg_h").count().cast(pl.Int64),
            measured=pl.col("measured").sum().cast(pl.Int64),
        )
        .sort(*by)
    )


def with_bounds(sums: pl.DataFrame, log_sd: float) -> pl.DataFrame:
    """Sums with the 90 % interval of their excess_t, excess_low_t and excess_high_t [t].

    Parameters
    ----------
    sums : polars.DataFrame
        As `bare_sums` gives them.
    log_sd : float
        Log standard error of the kinetic multiplier.
    """
    share = math.hypot(log_sd, _MODEL_LOG_SD)
    by_ph = math.log(10.0) * _PH_SD * (pl.col("unavoidable_t") + pl.col("excess_t"))
    half = _Z90 * ((share * pl.col("excess_t")) ** 2 + by_ph**2).sqrt()
    return sums.with_columns(
        excess_low_t=pl.col("excess_t") - half, excess_high_t=pl.col("excess_t") + half
    )


def within(findings: pl.DataFrame, start: datetime, end: datetime) -> pl.DataFrame:
    """Give the part of each finding that lies in a stretch; findings outside it are left out.

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
    """Sucrose eaten by microbes in a stretch, by the findings [t]."""
    rows = within(findings.filter(pl.col("cause") == MICROBES), start, end)
    return Estimate(*(float(rows[name].sum()) for name in ("lost_t", "lost_t_low", "lost_t_high")))


def joined(one: Estimate, other: Estimate) -> Estimate:
    """Sum of two amounts that err independently [t]."""
    low = math.hypot(one.value - one.low, other.value - other.low)
    high = math.hypot(one.high - one.value, other.high - other.value)
    value = one.value + other.value
    return Estimate(value, value - low, value + high)


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
    names = ("excess_t", "excess_low_t", "excess_high_t")
    by_kinetics = Estimate(*(float(held[name].sum()) for name in names))
    counts = [int(held[n].sum()) if n in held.columns else 0 for n in ("minutes", "measured")]
    return Tally(
        total=joined(by_kinetics, microbes),
        microbes_t=microbes.value,
        unavoidable_t=float(held["unavoidable_t"].sum()),
        sucrose_fed_t=float(held["sucrose_fed_t"].sum()),
        days=held.height,
        asked=(last - first).days + 1,
        minutes=counts[0],
        measured=counts[1],
    )
