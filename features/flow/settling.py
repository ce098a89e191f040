"""Settling in the clarifier: how near to its limit it runs, and what moves that limit."""

from __future__ import annotations

from features.base import Numeric, at_least
from features.juice import density_kg_m3, viscosity_mpa_s

#: Exponent of hindered settling in slow flow (Richardson 1954).
_HINDERED = 4.65
#: Share of the juice's volume that flocs with the juice trapped in them take up before they settle,
#: and share of the settling time that the juice's crowd does not touch (flocs pack by themselves):
#: both fitted to 78, 38 and 28 min at 0, 10 and 20 % dilution (common practice) in juice of
#: `_FITTED_BRIX_PCT` at `_FITTED_DEGC`. About 1 % of solids in flocs that weigh some 10 kg/m3 more
#: than juice (estimate) fill as much.
_CROWD, _PACKING = 0.7472, 0.2811
_FITTED_BRIX_PCT, _FITTED_DEGC, _UNDILUTED_MIN = 15.0, 98.0, 78.0
#: Density of what settles, soil, phosphate and fibre together [kg/m3] (estimate; 1,500 to 3,000
#: moves a settling time by less than 1 %).
_SOLIDS_KG_M3 = 2200.0
#: Flocs never fill the juice altogether: far outside the range no power of a negative number.
_LEAST_ROOM = 0.05
#: Dilution for which the trade knows settling times [%].
VALID_DILUTION_PCT = (0.0, 20.0)


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
    brix_pct: Numeric,
    temp_degc: Numeric,
    brix_ref_pct: Numeric,
    temp_ref_degc: Numeric,
    by_water: Numeric = 1.0,
) -> Numeric:
    """Speed of settling relative to the same juice at another Brix and temperature.

    Parameters
    ----------
    brix_pct, temp_degc : float, ndarray or polars.Expr
        Juice as it is [%, degC], 0 to 25 Brix.
    brix_ref_pct, temp_ref_degc : float, ndarray or polars.Expr
        Juice at which the speed is known [%, degC].
    by_water : float, ndarray or polars.Expr
        How far the change of Brix thins the flocs as well [-]: 1 for water added, 0 for sweeter
        cane that brings no more mud. With 0 viscosity alone is left.

    Returns
    -------
    float, ndarray or polars.Expr
        Ratio [-], inverse of that of the settling times: 2.05 and 2.79 with 10 and 20 % of water
        (common practice, fitted); known for `VALID_DILUTION_PCT`, a guess in thicker juice.

    Notes
    -----
    Viscosity slows all of it. Flocs settle by their density against the juice's, hindered by each
    other as (1 - crowd)**4.65 (Richardson 1954); the crowd goes with the solids in a volume. That
    part of the time in which they pack is left as it is.
    """
    thinner = viscosity_mpa_s(brix_ref_pct, temp_ref_degc) / viscosity_mpa_s(brix_pct, temp_degc)
    ref_kg_m3 = density_kg_m3(brix_ref_pct, temp_ref_degc)
    now_kg_m3 = density_kg_m3(brix_pct, temp_ref_degc)
    lighter = (_SOLIDS_KG_M3 - now_kg_m3) / (_SOLIDS_KG_M3 - ref_kg_m3)
    crowd = _CROWD * (brix_pct * now_kg_m3) / (brix_ref_pct * ref_kg_m3)
    roomier = lighter * (at_least(1.0 - crowd, _LEAST_ROOM) / (1.0 - _CROWD)) ** _HINDERED
    freely = 1.0 / (_PACKING + (1.0 - _PACKING) / roomier)
    return thinner * freely**by_water


def dilution_pct(brix_pct: Numeric, brix_ref_pct: Numeric) -> Numeric:
    """Water that makes juice of one Brix out of another.

    Parameters
    ----------
    brix_pct, brix_ref_pct : float, ndarray or polars.Expr
        Juice as it is and as it was before water was added [%].

    Returns
    -------
    float, ndarray or polars.Expr
        Water [% by mass on the juice before]; below 0 where it was taken away.
    """
    return 100.0 * (brix_ref_pct / brix_pct - 1.0)


def settling_time_min(dilution_pct: Numeric) -> Numeric:
    """Settling time of mixed juice against dilution water, in a batch test.

    Parameters
    ----------
    dilution_pct : float, ndarray or polars.Expr
        Dilution water [% on undiluted juice], 0 to 20; not for extrapolation.

    Returns
    -------
    float, ndarray or polars.Expr
        Settling time [min]: 78, 38 and 28 min at 0, 10 and 20 % (common practice).
    """
    brix = _FITTED_BRIX_PCT / (1.0 + dilution_pct / 100.0)
    return _UNDILUTED_MIN / settling_correction(brix, _FITTED_DEGC, _FITTED_BRIX_PCT, _FITTED_DEGC)


def flocculant_mg_kg(
    solution_l_h: Numeric,
    strength_g_l: Numeric,
    flow_juice_m3_h: Numeric,
    brix_pct: Numeric,
    temp_degc: Numeric,
) -> Numeric:
    """Flocculant given to the juice.

    Parameters
    ----------
    solution_l_h : float, ndarray or polars.Expr
        Flocculant solution [L/h].
    strength_g_l : float, ndarray or polars.Expr
        Dry flocculant in it [g/L], usually 0.5 to 1 (memory).
    flow_juice_m3_h : float, ndarray or polars.Expr
        Juice fed to the settler [m3/h].
    brix_pct, temp_degc : float, ndarray or polars.Expr
        Of the juice where its flow is measured [%, degC].

    Returns
    -------
    float, ndarray or polars.Expr
        Dose [mg/kg juice]; 3 to 4, in modern use from 2 (common practice).
    """
    return (
        1000.0
        * solution_l_h
        * strength_g_l
        / (flow_juice_m3_h * density_kg_m3(brix_pct, temp_degc))
    )
