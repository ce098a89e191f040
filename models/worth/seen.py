"""What the results that there are already leave known of the level."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np
import polars as pl

from features.base import Station
from features.kinetics import Z90
from models.base import Minutes
from models.level import Samples, expected_log_sd, level_samples, told_by, zone_shares
from models.worth.nominal import Nominal, nominal_of
from models.worth.planned import swings


@dataclass(frozen=True, slots=True)
class Seen:
    """What some results already tell of the level.

    Attributes
    ----------
    samples : int
        Samples that the fit could use, were the station at its targets.
    factor : float
        Factor either way with them [-]; the prior's without any.
    rests_on_prior : bool
    apart_h : float or None
        Median time between two samples of the point that is sampled most often [h].
    """

    samples: int
    factor: float
    rests_on_prior: bool
    apart_h: float | None


def factor_of(log_sd: float) -> float:
    """Half-width of a 90 % interval as a factor either way [-]."""
    return math.exp(Z90 * log_sd)


def rests_on_prior(samples: int, log_sd: float, prior_log_sd: float) -> bool:
    """Whether a level rests on the prior rather than on the laboratory.

    Parameters
    ----------
    samples : int
        Laboratory samples behind it.
    log_sd, prior_log_sd : float
        Standard error of the logarithm of the multiplier, and that of the prior [-].

    Returns
    -------
    bool
        True without a sample, and where they say less than the prior: weights are inverse
        variances, so they weigh alike at an error of the prior's over root two. A description
        known better than any laboratory could tell it counts as prior, too.
    """
    return samples == 0 or log_sd > prior_log_sd / math.sqrt(2.0)


def results_seen(lab: pl.DataFrame, station: Station) -> Seen:
    """Count the samples among some results that tell of the level, and what they leave known.

    Parameters
    ----------
    lab : DataFrame
        As `features.base.lab_results` makes it.
    station : Station

    Returns
    -------
    Seen
        As if the station had stood about its targets all the time: results drawn in a stop are in,
        and the way's true length and pH are not known yet.
    """
    prior = station.kinetics.multiplier_log_sd
    nominal = None if lab.is_empty() else nominal_of(station)
    if nominal is None:
        return Seen(0, factor_of(prior), True, None)
    minutes = _held(nominal, lab)
    samples = [_swinging(s) for s in level_samples(minutes, lab, station, {})]
    log_sd = expected_log_sd(samples, station, zone_shares(minutes), minutes.n / 60.0)
    count = told_by(samples)
    return Seen(count, factor_of(log_sd), rests_on_prior(count, log_sd, prior), _apart_h(samples))


def _held(nominal: Nominal, lab: pl.DataFrame) -> Minutes:
    """Minutes of a station at its targets over the time of some results."""
    first, last = lab.select(pl.col("ts_utc").min(), last=pl.col("ts_utc").max()).row(0)
    start = first.replace(second=0, microsecond=0) - timedelta(hours=1)
    periods = lab["period_h"].max() if "period_h" in lab.columns else 0.0
    end = last + timedelta(hours=float(str(periods or 0.0)))
    return nominal.minutes(start, int((end - start).total_seconds() // 60) + 1)


def _swinging(samples: Samples) -> Samples:
    """The same samples of a station that moves about its targets."""
    moved = swings(samples.times_h)[:, None]
    ways = {zone: pct * moved for zone, pct in samples.inverted_pct.items()}
    return replace(samples, inverted_pct=ways)


def _apart_h(samples: list[Samples]) -> float | None:
    steps = [float(np.median(np.diff(s.times_h))) for s in samples if len(s) > 1]
    return min(steps, default=None)
