"""What microbes in a warm tank would do to its juice: their course, and how much beforehand.

Nobody plans for growth, so little of it is published that could be looked up: rates are from
memory or judgement, stand here in one place, and are as wide as that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from features.flow import linear_recurrence
from models.base import Array, Minutes

#: Thermophiles of juice grow from about 40 to 75 degC, best at 55 to 62 (memory): a bell [degC, K].
BEST_DEGC, WIDTH_K = 57.0, 11.0
#: They die from about 70 degC on [degC, K, 1/h] (judgement).
_KILL_DEGC, _KILL_WIDTH_K, _KILL_1_H = 70.0, 1.5, 3.0
#: Growth rate at the best temperature [1/h] and share of full growth that the tank starts with [-]:
#: doubling in 60, 35 or 20 min (memory: 20-30 min in broth; juice passes through, films are slower)
#: from a clean tank, and at once in one that was not cleaned for long (shares: judgement).
GROWTHS = ((0.7, 0.005), (1.2, 0.005), (2.1, 0.005), (2.1, 0.2))
_STEP_MIN = 5
#: Sucrose eaten at full growth and best temperature: 2 kg/m3/h, within a factor of 5 either way
#: nine times in ten (judgement; some 500 mg/kg of lactic acid in an hour at 60-70 degC: memory).
EATEN_KG_M3_H, EATEN_LOG_SD = 2.0, 1.0
#: Sucrose per acid is known to about a factor of two (stoichiometry 0.95-1.9, trade 2-8; memory).
YIELD_LOG_SD = 0.5
#: Share of cool spells in which something grows, before anything is looked at (judgement).
PRIOR_SHARE = 0.5
_LEAST_FEED_SHARE = 0.3


def growth(temp_degc: Array, rate_1_h: float, start: float) -> Array:
    """Growth in a tank as a share of the most that can be, by minute [-].

    Parameters
    ----------
    temp_degc : ndarray, shape (n,)
        Temperature, no NaN.
    rate_1_h : float
        Growth rate at the best temperature [1/h].
    start : float
        Share of full growth that is there while the tank is too hot to grow [-].

    Returns
    -------
    ndarray, shape (n,)
        Times the bell of the temperature: 1 is a grown film at its best temperature. Above the
        tank's usual.
    """
    coarse = temp_degc[::_STEP_MIN]
    bell = np.exp(-(((coarse - BEST_DEGC) / WIDTH_K) ** 2))
    kill = _KILL_1_H / (1.0 + np.exp(-(coarse - _KILL_DEGC) / _KILL_WIDTH_K))
    step_h = _STEP_MIN / 60.0
    film, course = start, np.empty(len(coarse))
    for i, (b, k) in enumerate(zip(bell.tolist(), kill.tolist(), strict=True)):
        film += step_h * film * (rate_1_h * b * (1.0 - film) - k)
        film = min(max(film, start), 1.0)
        course[i] = b * film
    above = np.maximum(course - np.median(course), 0.0)
    return np.asarray(np.repeat(above, _STEP_MIN)[: len(temp_degc)])


def eaten_course_pct(
    minutes: Minutes, zone: str, temp_degc: Array, rate_1_h: float, start: float
) -> Array:
    """Share of the sucrose passing that is eaten, for each kg/m3/h at full growth [%].

    The juice leaving is a mean over the tank: it follows with the tank's residence.

    Parameters
    ----------
    minutes : Minutes
    zone : str
    temp_degc : ndarray, shape (n,)
        Temperature of the tank without gaps.
    rate_1_h, start : float
        As for :func:`growth`.
    """
    columns = minutes.zones[zone]
    fed = np.nan_to_num(minutes.station["sucrose_feed_kg_h"])
    usual_fed = float(np.median(fed[fed > 0.0])) if (fed > 0.0).any() else 1.0
    volume = columns["volume_m3"]
    usual_m3 = float(np.nanmedian(volume)) if np.isfinite(volume).any() else 0.0
    held = np.where(np.isfinite(volume), volume, usual_m3)
    share = held / np.maximum(fed, _LEAST_FEED_SHARE * usual_fed)
    inside = 100.0 * share * growth(temp_degc, rate_1_h, start)
    stay = columns["residence_min"]
    stay_min = float(np.nanmedian(stay)) if np.isfinite(stay).any() else 15.0
    keep = math.exp(-1.0 / max(stay_min, 1.0))
    # SciPy's filters give the same to the last bit, but come with interpolation and optimisers.
    return linear_recurrence(np.full(len(inside), keep), (1.0 - keep) * inside, 0.0)


@dataclass(frozen=True)
class Reading:
    """What one kind of evidence says of the growth.

    Attributes
    ----------
    name : str
    eaten, sd : float
        Sucrose eaten at full growth and its standard error [kg/m3/h], at the described sucrose per
        acid.
    on_acid : bool
        True where acid was seen, and sucrose follows from it.
    scale_log_sd : float
        Error of the scale, beside that of sucrose per acid [-].
    samples : int
        Points in the spell.
    """

    name: str
    eaten: float
    sd: float
    on_acid: bool
    scale_log_sd: float
    samples: int


@dataclass(frozen=True)
class Belief:
    """What is believed of the growth after the evidence.

    Attributes
    ----------
    log_mean, log_sd : float
        Of the sucrose eaten at full growth, if anything grows [log kg/m3/h].
    log_odds : float
        Log of the odds of the evidence with growth against without.
    """

    log_mean: float
    log_sd: float
    log_odds: float

    @property
    def probability(self) -> float:
        """Chance that something grows, before and after counted together [-]."""
        prior = math.log(PRIOR_SHARE / (1.0 - PRIOR_SHARE))
        return 1.0 / (1.0 + math.exp(-min(max(self.log_odds + prior, -50.0), 50.0)))


def believe(readings: list[Reading]) -> Belief:
    """Weigh evidence of one course of growth against the prior, on a grid.

    The prior says whether such growth is likely. How much it was is left to the evidence, any size
    on the grid as likely as another beforehand: a judged usual would draw every amount to itself.

    Sucrose per acid and the scale of each reading are unknown beside the growth; readings of acid
    share the first. Tails are drawn in: a reading may be off for a reason nobody thought of.
    """
    eaten = math.log(EATEN_KG_M3_H) + EATEN_LOG_SD * np.linspace(-3.5, 3.5, 141)
    per_acid = YIELD_LOG_SD * np.linspace(-3.0, 3.0, 41)
    prior = -0.5 * ((eaten - math.log(EATEN_KG_M3_H)) / EATEN_LOG_SD) ** 2
    prior = (prior - logsumexp(prior))[:, None]
    weight = -0.5 * (per_acid / YIELD_LOG_SD) ** 2
    weight = (weight - logsumexp(weight))[None, :]
    both = prior + weight
    without = 0.0
    for reading in readings:
        expected = np.exp(eaten)[:, None] / np.exp(per_acid * reading.on_acid)[None, :]
        both = both + _log_normal(reading.eaten, expected, reading.sd, reading.scale_log_sd)
        without += float(_log_normal(reading.eaten, np.zeros(1), reading.sd, 0.0)[0])
    log_odds = float(logsumexp(both)) - without
    both = both - prior
    weights = np.exp(both - logsumexp(both)).sum(axis=1)
    mean = float(weights @ eaten)
    return Belief(mean, math.sqrt(max(float(weights @ (eaten - mean) ** 2), 1e-6)), log_odds)


def _log_normal(seen: float, expected: Array, sd: float, scale_log_sd: float) -> Array:
    variance = sd**2 + (scale_log_sd * expected) ** 2
    return np.asarray(-0.5 * (seen - expected) ** 2 / variance - 0.5 * np.log(variance))


def mixed(beliefs: list[Belief]) -> Belief:
    """Joint belief of courses that were equally likely beforehand."""
    odds = np.array([b.log_odds for b in beliefs])
    weight = np.exp(odds - logsumexp(odds))
    means = np.array([b.log_mean for b in beliefs])
    mean = float(weight @ means)
    variance = float(weight @ (np.array([b.log_sd for b in beliefs]) ** 2 + (means - mean) ** 2))
    return Belief(mean, math.sqrt(variance), float(logsumexp(odds)) - math.log(len(beliefs)))
