"""Sucrose held, rate and size of its inversion, and how a loss splits over its drivers.

The loss of a zone is written as a reference (the station at its targets) times one factor per
driver, so that "why" is arithmetic: each factor is 1 at target, and Shapley values share the
difference between actual and reference among the factors without a remainder.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from features.base import FloatArray, Numeric
from features.juice import density_kg_m3, water_content_g_ml
from features.kinetics.kinetics import inversion_1_h, ph_at_process

#: More drivers than this no reader keeps apart.
MOST_DRIVERS = 7


def loss_kg_h(inversion_rate_1_h: Numeric, sucrose_held_kg: Numeric) -> Numeric:
    """Sucrose inverted per hour in a zone.

    Parameters
    ----------
    inversion_rate_1_h : float, ndarray or polars.Expr
        Inversion rate [1/h], below 0.05 so that the sucrose held hardly changes.
    sucrose_held_kg : float, ndarray or polars.Expr
        Sucrose in the zone [kg].

    Returns
    -------
    float, ndarray or polars.Expr
        Loss [kg/h].
    """
    return inversion_rate_1_h * sucrose_held_kg


def inverted_pct(dose: Numeric) -> Numeric:
    """Sucrose inverted by a dose of rate times time.

    Parameters
    ----------
    dose : float or ndarray
        Time integral of the inversion rate along the parcel's way [-].

    Returns
    -------
    float or ndarray
        Inverted [% of the sucrose that came in].
    """
    return -100.0 * np.expm1(-dose)


@dataclass(frozen=True, slots=True, eq=False)
class State:
    """What the inversion in a zone depends on, as measured or at target.

    Attributes
    ----------
    temp_degc : float or ndarray
        Juice temperature [degC].
    acidity : float or ndarray
        Mean of 10**-pH (cold basis) over the zone's cells [-].
    brix_pct : float or ndarray
        Dissolved solids [%].
    volume_m3 : float or ndarray
        Juice volume [m3].
    concentration : float or ndarray
        Sucrose per m3 relative to that of the juice fed to the zone [-]; 1 unless water is
        boiled off.
    """

    temp_degc: Numeric
    acidity: Numeric
    brix_pct: Numeric
    volume_m3: Numeric
    concentration: Numeric = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Factors:
    """Actual over reference loss, split by driver; every field is 1 at target [-]."""

    ph: Numeric
    temp: Numeric
    brix: Numeric
    volume: Numeric


def loss_factors(actual: State, reference: State, ph_slope_1_k: float) -> Factors:
    """Split actual over reference loss of a zone into factors.

    Parameters
    ----------
    actual, reference : State
        The zone as it is and at its targets.
    ph_slope_1_k : float
        d(pH)/dT of the juice [1/K].

    Returns
    -------
    Factors
        Their product is the ratio of the two losses, exactly. Temperature includes what it
        does to the pH of the juice; Brix includes concentration by evaporation.
    """
    hotter = inversion_1_h(
        ph_at_process(0.0, actual.temp_degc, ph_slope_1_k), actual.temp_degc, reference.brix_pct
    )
    target = inversion_1_h(
        ph_at_process(0.0, reference.temp_degc, ph_slope_1_k),
        reference.temp_degc,
        reference.brix_pct,
    )
    water = water_content_g_ml(actual.brix_pct, actual.temp_degc) / water_content_g_ml(
        reference.brix_pct, actual.temp_degc
    )
    return Factors(
        ph=actual.acidity / reference.acidity,
        temp=hotter / target,
        brix=water * actual.concentration / reference.concentration,
        volume=actual.volume_m3 / reference.volume_m3,
    )


def state_inversion_1_h(state: State, ph_slope_1_k: float, ref_degc: float) -> Numeric:
    """Inversion rate of a zone, mean over its cells.

    Parameters
    ----------
    state : State
        The zone; see `State`.
    ph_slope_1_k : float
        d(pH)/dT of the juice [1/K].
    ref_degc : float
        Temperature of cooled pH samples [degC].

    Returns
    -------
    float or ndarray
        Inversion rate at multiplier 1 [1/h].
    """
    shift = ph_at_process(0.0, state.temp_degc, ph_slope_1_k, ref_degc)
    return state.acidity * inversion_1_h(shift, state.temp_degc, state.brix_pct)


def concentration_ratio(brix_pct: Numeric, brix_fed_pct: Numeric, temp_degc: Numeric) -> Numeric:
    """Solids per m3 in a vessel relative to those of the juice fed, same temperature.

    Parameters
    ----------
    brix_pct, brix_fed_pct : float, ndarray or polars.Expr
        Brix in the vessel and of its feed [%], above 0.
    temp_degc : float, ndarray or polars.Expr
        Temperature [degC].

    Returns
    -------
    float, ndarray or polars.Expr
        Ratio [-].
    """
    inside = brix_pct * density_kg_m3(brix_pct, temp_degc)
    return inside / (brix_fed_pct * density_kg_m3(brix_fed_pct, temp_degc))


def shapley_of_product(
    base: NDArray[np.float64] | float,
    actual: Mapping[str, FloatArray],
    reference: Mapping[str, FloatArray],
) -> dict[str, FloatArray]:
    """Share the change of a product among its factors: exact Shapley values.

    The worth of a set S of drivers is base times the actual values of the drivers in S times
    the reference values of the others.

    Parameters
    ----------
    base : float or ndarray, shape (n,)
        Common factor [unit of the result].
    actual, reference : mapping of str to ndarray, shape (n,)
        Value of each driver as it is and at target [any]; same names, at most seven.

    Returns
    -------
    dict of str to ndarray, shape (n,)
        Share of each driver [unit of `base`]; together they are the product of all actual
        minus the product of all reference values, to rounding.

    Raises
    ------
    ValueError
        If the names differ, are none, or are more than seven.

    Notes
    -----
    The Shapley value is the integral of the gradient of the game's multilinear extension along
    the diagonal: Owen 1972 (memory).
    """
    names = list(actual)
    if set(names) != set(reference) or not 0 < len(names) <= MOST_DRIVERS:
        raise ValueError(
            f"shapley_of_product: actual has {sorted(names)}, reference {sorted(reference)}; "
            f"give the same names in both, 1 to {MOST_DRIVERS} of them"
        )
    # A share is the mean of the driver's effect while all others go together from reference to
    # actual: a polynomial in how far they went, integrated exactly by these nodes.
    nodes, weights = np.polynomial.legendre.leggauss((len(names) + 1) // 2)
    shares: dict[str, FloatArray] = {}
    for node, weight in zip(0.5 * (nodes + 1.0), 0.5 * weights, strict=True):
        between = [reference[n] + node * (actual[n] - reference[n]) for n in names]
        for name, others in zip(names, _products_of_others(between), strict=True):
            shares[name] = shares.get(name, 0.0) + weight * others
    return {
        name: np.asarray(base * (actual[name] - reference[name]) * shares[name]) for name in names
    }


def _products_of_others(values: list[FloatArray]) -> list[NDArray[np.float64] | float]:
    """For each of the values the product of all others."""
    before: list[NDArray[np.float64] | float] = [1.0]
    for value in values[:-1]:
        before.append(before[-1] * value)
    after: NDArray[np.float64] | float = 1.0
    products = [before[-1]]
    for value, early in zip(values[:0:-1], before[-2::-1], strict=True):
        after = after * value
        products.append(early * after)
    return products[::-1]
