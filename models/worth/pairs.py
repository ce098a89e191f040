"""Which pairs of results there are already, and what they leave known of the level."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import polars as pl

from features.base import Analyte, Station
from features.kinetics import Z90
from models.amount import PAIRED, LabPoints, chemical_balance, expected_fit, lab_points
from models.base import Minutes
from models.worth.nominal import Nominal, nominal_of

#: Analyte, and ``limed`` or ``clear``: the juice it is found in.
Point = tuple[Analyte, str]


@dataclass(frozen=True, slots=True)
class Seen:
    """What some results already tell of the level.

    Attributes
    ----------
    pairs : int
        Pairs of samples that the fit could use, were the station at its targets.
    factor : float
        Factor either way with them [-]; the prior's with fewer than a fit takes.
    rests_on_prior : bool
    apart_h : dict of (str, str) to float
        Median time between results [h] of each analyte and point; single results have none.
    """

    pairs: int
    factor: float
    rests_on_prior: bool
    apart_h: dict[Point, float]


def factor_of(log_sd: float) -> float:
    """Half-width of a 90 % interval as a factor either way [-]."""
    return math.exp(Z90 * log_sd)


def rests_on_prior(pairs: int, log_sd: float, prior_log_sd: float) -> bool:
    """Whether a level rests on the prior rather than on the laboratory.

    Parameters
    ----------
    pairs : int
        Laboratory pairs behind it.
    log_sd, prior_log_sd : float
        Standard error of the logarithm of the multiplier, and that of the prior [-].

    Returns
    -------
    bool
        True without a pair, and where the pairs say less than the prior: weights are inverse
        variances, so they weigh alike at an error of the prior's over root two. A description
        known better than any laboratory could tell it counts as prior, too.
    """
    return pairs == 0 or log_sd > prior_log_sd / math.sqrt(2.0)


def pairs_seen(lab: pl.DataFrame, station: Station) -> Seen:
    """Count the pairs among some results, and what they leave known of the level.

    Parameters
    ----------
    lab : DataFrame
        As `features.base.lab_results` makes it.
    station : Station

    Returns
    -------
    Seen
        As if the station had stood at its targets all the time: results drawn in a stop are in,
        and the way's true length and pH are not known yet.
    """
    kinetics, points = station.kinetics, lab_points(station)
    prior, apart = factor_of(kinetics.multiplier_log_sd), _apart_h(lab, points)
    nominal = nominal_of(station)
    if lab.is_empty() or nominal is None:
        return Seen(0, prior, True, apart)
    minutes = _held(nominal, lab)
    balance = chemical_balance(lab, minutes, points, station)
    fitted = expected_fit(
        nominal.inverted_of(len(balance)),
        balance.sd_pct,
        kinetics.multiplier,
        kinetics.multiplier_log_sd,
        balance.systematic_pct,
    )
    rests = rests_on_prior(fitted.pairs, fitted.log_sd, kinetics.multiplier_log_sd)
    return Seen(len(balance), factor_of(fitted.log_sd), rests, apart)


def _held(nominal: Nominal, lab: pl.DataFrame) -> Minutes:
    """Minutes of a station at its targets over the time of some results."""
    first, last = lab.select(pl.col("ts_utc").min(), last=pl.col("ts_utc").max()).row(0)
    start = first.replace(second=0, microsecond=0) - timedelta(hours=1)
    return nominal.minutes(start, int((last - start).total_seconds() // 60) + 1)


def _apart_h(lab: pl.DataFrame, points: LabPoints) -> dict[Point, float]:
    found: dict[Point, float] = {}
    for name, where in (("limed", points.limed), ("clear", points.clear)):
        if where is None:
            continue
        for analyte in PAIRED:
            rows = lab.filter(
                pl.col("analyte") == analyte,
                pl.col("place") == where[0],
                pl.col("port") == where[1],
                pl.col("value").is_not_null(),
            )
            if rows.height > 1:
                times_s = rows["ts_utc"].sort().dt.epoch("s").to_numpy()
                found[analyte, name] = float(np.median(np.diff(times_s))) / 3600.0
    return found
