"""What is believed of the kinetics, and how far: one set of numbers and many draws around it.

The draws are a fixed lattice, not random numbers: the same belief gives the same interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from features.base import FloatArray, Kinetics

#: Draws around the central values; their 5 % quantile is good to 1 %.
DRAWS = 1024
#: Spread of the logarithm of the published rate's level: a factor 2.7 either way (estimate).
PUBLISHED_LOG_SD = 0.6
#: Spread of the logarithm of the practical rate of reducing-sugar destruction (estimate).
RS_LOG_SD = 0.4
#: Spread of the logarithm of acid made per hexose (1 to 2) and of the juice's buffer (estimate).
ACID_LOG_SD, BUFFER_LOG_SD = 0.2, 0.3
#: Logarithm of the ends of a 90 % interval over its standard error: twice 1.645.
_WIDTH_90 = 3.2897


@dataclass(frozen=True, slots=True)
class Prior:
    """Kinetics with standard errors.

    Attributes
    ----------
    kinetics : Kinetics
        Central values; `multiplier_log_sd` and `ph_slope_sd` are their standard errors.
    fitted_at_degc : float or None
        Temperature of the juice whose laboratory results gave the multiplier [degC]. A multiplier
        fitted with one pH slope has the error of that slope in it, so the two errors cancel for
        cooled samples of juice this hot. None: the multiplier is no fit.
    """

    kinetics: Kinetics
    fitted_at_degc: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Values the belief allows; the first of each is the central one.

    Attributes
    ----------
    multiplier : ndarray, shape (DRAWS + 1,)
        Factor on the published inversion rate [-].
    rs_rate_ph7_1_h : ndarray, shape (DRAWS + 1,)
        Destruction of reducing sugars at pH 7 and 97 degC [1/h].
    ph_slope : ndarray, shape (DRAWS + 1,)
        d(pH)/dT of the juice [1/K].
    acid_per_hexose : ndarray, shape (DRAWS + 1,)
        Acid made per reducing sugar destroyed [mol/mol].
    buffer_meq_kg_ph : ndarray, shape (DRAWS + 1,)
        Buffer capacity of the juice [meq/kg/pH].
    """

    multiplier: FloatArray
    rs_rate_ph7_1_h: FloatArray
    ph_slope: FloatArray
    acid_per_hexose: FloatArray
    buffer_meq_kg_ph: FloatArray

    def central(self) -> Draws:
        """Keep only the central values."""
        first = slice(0, 1)
        return Draws(
            self.multiplier[first],
            self.rs_rate_ph7_1_h[first],
            self.ph_slope[first],
            self.acid_per_hexose[first],
            self.buffer_meq_kg_ph[first],
        )


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its 90 % interval, in the unit of what it estimates."""

    value: float
    low: float
    high: float


def published() -> Prior:
    """Belief without any mill: the published rate as it stands.

    Returns
    -------
    Belief
        Multiplier 1, with the spread of the published kinetics.
    """
    return Prior(Kinetics(multiplier=1.0, multiplier_log_sd=PUBLISHED_LOG_SD))


def log_sd_of_interval(low: float, high: float) -> float:
    """Spread of the logarithm behind a 90 % interval.

    Parameters
    ----------
    low, high : float
        Ends of the interval, above 0 [any].

    Returns
    -------
    float
        Standard error of the logarithm [-].
    """
    return float(np.log(high / low) / _WIDTH_90)


def draw(prior: Prior) -> Draws:
    """Lay draws around a belief.

    Parameters
    ----------
    prior : Belief
        Central values and standard errors.

    Returns
    -------
    Draws
        Central values first, then `DRAWS` of equal weight.

    Notes
    -----
    Additive lattice of the generalised golden ratio in five dimensions, carried to normal
    quantiles: its averages settle faster than those of random draws.
    """
    kinetics = prior.kinetics
    level, slope, rs, acid, buffer = _normal_lattice(5)
    ph_slope = kinetics.ph_slope + kinetics.ph_slope_sd * slope
    multiplier = kinetics.multiplier * np.exp(kinetics.multiplier_log_sd * level)
    if prior.fitted_at_degc is not None:
        away = prior.fitted_at_degc - kinetics.ph_ref_degc
        multiplier = multiplier * 10.0 ** ((ph_slope - kinetics.ph_slope) * away)
    return Draws(
        multiplier=multiplier,
        rs_rate_ph7_1_h=kinetics.rs_rate_ph7_1_h * np.exp(RS_LOG_SD * rs),
        ph_slope=ph_slope,
        acid_per_hexose=kinetics.acid_per_hexose * np.exp(ACID_LOG_SD * acid),
        buffer_meq_kg_ph=kinetics.buffer_meq_kg_ph * np.exp(BUFFER_LOG_SD * buffer),
    )


def estimate(values: FloatArray) -> Estimate:
    """Central value and 90 % interval of a result worked out for all draws.

    Parameters
    ----------
    values : ndarray, shape (DRAWS + 1,)
        Result of each draw, the central one first [any].

    Returns
    -------
    Estimate
        The first value, and the 5 % and 95 % quantiles of the others.
    """
    low, high = np.quantile(values[1:], (0.05, 0.95))
    central = float(values[0])
    return Estimate(central, min(float(low), central), max(float(high), central))


def _normal_lattice(dimensions: int) -> FloatArray:
    """Standard normal values, shape (dimensions, DRAWS + 1); the first column is 0."""
    golden = 2.0
    for _ in range(60):
        golden = (1.0 + golden) ** (1.0 / (dimensions + 1))
    steps = golden ** -np.arange(1.0, dimensions + 1.0)
    uniform = (0.5 + np.outer(steps, np.arange(1, DRAWS + 1))) % 1.0
    return np.hstack((np.zeros((dimensions, 1)), ndtri(uniform)))
