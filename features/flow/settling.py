"""Settling in the clarifier: how near to its limit it runs, and what moves that limit."""

from __future__ import annotations

from features.base import Numeric, exp
from features.juice import viscosity_mpa_s

#: Fit of 78, 38 and 28 min at 0, 10 and 20 % dilution (common practice) to
#: floor + (whole - floor) exp(-dilution / scale); three numbers, three constants.
_SETTLING_FLOOR_MIN, _SETTLING_RANGE_MIN, _SETTLING_SCALE_PCT = 74.0 / 3.0, 160.0 / 3.0, 7.213475204


def overflow_velocity_m_h(flow_clear_m3_h: Numeric, area_m2: Numeric) -> Numeric:
    """Upward velocity of clear juice.

    Parameters
    ----------
    flow_clear_m3_h : float, ndarray or polars.Expr
        Clear juice leaving [m3/h].
    area_m2 : float, ndarray or polars.Expr
        Settling area, all trays together [m2].

    Returns
    -------
    float, ndarray or polars.Expr
        Velocity [m/h]; trayless settlers run at 3.9-4.8 (common practice).
    """
    return flow_clear_m3_h / area_m2


def settling_utilisation(overflow_m_h: Numeric, initial_settling_m_h: Numeric) -> Numeric:
    """Overflow velocity against half the initial settling rate, the design rule.

    Parameters
    ----------
    overflow_m_h : float, ndarray or polars.Expr
        Upward velocity of clear juice [m/h].
    initial_settling_m_h : float, ndarray or polars.Expr
        Initial settling rate of a batch test [m/h], usually 8-12.

    Returns
    -------
    float, ndarray or polars.Expr
        Utilisation [-]; above 1 the settler runs beyond its design rule.

    Notes
    -----
    The rule is common practice.
    """
    return overflow_m_h / (0.5 * initial_settling_m_h)


def settling_correction(
    brix_pct: Numeric, temp_degc: Numeric, brix_ref_pct: Numeric, temp_ref_degc: Numeric
) -> Numeric:
    """Settling velocity relative to another Brix and temperature, through viscosity alone.

    Parameters
    ----------
    brix_pct, temp_degc : float, ndarray or polars.Expr
        Juice as it is [%, degC], 0 to 25 Brix.
    brix_ref_pct, temp_ref_degc : float, ndarray or polars.Expr
        Juice at which the velocity is known [%, degC].

    Returns
    -------
    float, ndarray or polars.Expr
        Ratio [-]; density differences of flocs and how crowded they are are taken as unchanged.

    Notes
    -----
    Juice thinned with water settles far faster than this tells: with 10 % of water the ratio is
    1.03 here and 2.05 by `settling_time_min`.
    """
    return viscosity_mpa_s(brix_ref_pct, temp_ref_degc) / viscosity_mpa_s(brix_pct, temp_degc)


def settling_time_min(dilution_pct: Numeric) -> Numeric:
    """Settling time of mixed juice against dilution water, in a batch test.

    Parameters
    ----------
    dilution_pct : float, ndarray or polars.Expr
        Dilution water [% on undiluted juice], 0 to 20; not for extrapolation.

    Returns
    -------
    float, ndarray or polars.Expr
        Settling time [min]: 78, 38 and 28 min at 0, 10 and 20 % (common practice), with an
        exponential run to a floor in between.

    Notes
    -----
    Called by the tests alone: it is the trade's measure of what `settling_correction` leaves out.
    """
    falling = exp(-dilution_pct / _SETTLING_SCALE_PCT)
    return _SETTLING_FLOOR_MIN + _SETTLING_RANGE_MIN * falling
