"""Boiling point of juice and what flashes off when superheated juice meets the open air.

Hot juice and steam scald; a flash tank is a pressure relief as much as a heat balance. These
figures advise; limits on pressure and temperature belong to local codes and licensed practice.
"""

from __future__ import annotations

import numpy as np

from features.base import GAS_CONSTANT, KELVIN, Numeric, exp, ln
from features.juice.juice import saturation_pressure_kpa, specific_heat_kj_kg_k

ATMOSPHERE_KPA = 101.325
#: Activity model constants of Starzak and Peacock (1997), confirmed: Q [J/mol], a, b.
_Q_J_MOL, _A, _B = -17638.0, -1.0038, -0.24653
_MOLAR_RATIO = 18.0153 / 342.297
#: Latent heat of water at its normal boiling point [kJ/kg], IAPWS-97 (computed).
_LATENT_100_KJ_KG = 2256.5
_CRITICAL_K = 647.096


def sucrose_mole_fraction(brix_pct: Numeric) -> Numeric:
    """Mole fraction of sucrose in juice taken as sucrose and water.

    Parameters
    ----------
    brix_pct : float, ndarray or polars.Expr
        Dissolved solids [% by mass], 0 to 95.

    Returns
    -------
    float, ndarray or polars.Expr
        Mole fraction [-].
    """
    w = brix_pct / 100.0
    return w * _MOLAR_RATIO / (w * _MOLAR_RATIO + 1.0 - w)


def water_activity(brix_pct: Numeric, temp_degc: Numeric) -> Numeric:
    """Activity of water over sucrose solution.

    Parameters
    ----------
    brix_pct : float, ndarray or polars.Expr
        Dissolved solids [% by mass], 0 to 95.
    temp_degc : float, ndarray or polars.Expr
        Temperature [degC], 0 to 150.

    Returns
    -------
    float, ndarray or polars.Expr
        Activity [-].

    Notes
    -----
    Starzak and Peacock (1997); constants and range confirmed.
    """
    x = sucrose_mole_fraction(brix_pct)
    kelvin = temp_degc + KELVIN
    log_gamma = _Q_J_MOL / (GAS_CONSTANT * kelvin) * x * x * (1.0 + _A * x + _B * x * x)
    return (1.0 - x) * exp(log_gamma)


def water_boiling_degc(pressure_kpa: Numeric) -> Numeric:
    """Boiling point of water at a pressure.

    Parameters
    ----------
    pressure_kpa : float or ndarray
        Absolute pressure [kPa], 10 to 1000.

    Returns
    -------
    float or ndarray
        Boiling point [degC], the inverse of `saturation_pressure_kpa` to 1e-9 K.
    """
    return _boiling_degc(0.0 * pressure_kpa, pressure_kpa)


def boiling_degc(brix_pct: Numeric, pressure_kpa: Numeric = ATMOSPHERE_KPA) -> Numeric:
    """Boiling point of juice at a pressure.

    Parameters
    ----------
    brix_pct : float or ndarray
        Dissolved solids [% by mass], 0 to 85.
    pressure_kpa : float or ndarray
        Absolute pressure [kPa], 10 to 1000. Boiling water falls 1 K per about 300 m altitude.

    Returns
    -------
    float or ndarray
        Boiling point [degC].
    """
    return _boiling_degc(brix_pct, pressure_kpa)


def _boiling_degc(brix_pct: Numeric, pressure_kpa: Numeric) -> Numeric:
    """Solve activity times vapour pressure = pressure by Newton steps on 1/T."""
    wanted = ln(pressure_kpa)
    temp = 100.0 + 0.0 * (wanted + brix_pct)
    # ln p is nearly straight in 1/T: six steps reach 1e-10 K from 45 to 180 degC.
    for _ in range(6):
        miss = _log_pressure(brix_pct, temp) - wanted
        slope = (_log_pressure(brix_pct, temp + 0.01) - _log_pressure(brix_pct, temp)) / 0.01
        kelvin = temp + KELVIN
        # d(ln p)/d(1/T) = -slope T^2, so the step is exact where ln p is straight in 1/T.
        temp = 1.0 / (1.0 / kelvin + miss / (slope * kelvin * kelvin)) - KELVIN
    return temp


def _log_pressure(brix_pct: Numeric, temp_degc: Numeric) -> Numeric:
    return ln(water_activity(brix_pct, temp_degc) * saturation_pressure_kpa(temp_degc))


def boiling_point_elevation_k(brix_pct: Numeric, pressure_kpa: Numeric = ATMOSPHERE_KPA) -> Numeric:
    """How much hotter juice boils than water at the same pressure.

    Parameters
    ----------
    brix_pct : float or ndarray
        Dissolved solids [% by mass], 0 to 85.
    pressure_kpa : float or ndarray
        Absolute pressure [kPa], 10 to 1000.

    Returns
    -------
    float or ndarray
        Elevation [K]; pure sucrose, impure cane juice is higher at high Brix.
    """
    return boiling_degc(brix_pct, pressure_kpa) - water_boiling_degc(pressure_kpa + 0.0 * brix_pct)


def latent_heat_kj_kg(temp_degc: Numeric) -> Numeric:
    """Latent heat of water.

    Parameters
    ----------
    temp_degc : float, ndarray or polars.Expr
        Temperature [degC], 80 to 120.

    Returns
    -------
    float, ndarray or polars.Expr
        Latent heat [kJ/kg], within 0.5 % of IAPWS-97 (computed).

    Notes
    -----
    Watson's rule with exponent 0.38 (memory), anchored at 100 degC.
    """
    reduced = (_CRITICAL_K - temp_degc - KELVIN) / (_CRITICAL_K - 100.0 - KELVIN)
    return _LATENT_100_KJ_KG * reduced**0.38


def flash_fraction(
    temp_in_degc: Numeric,
    brix_pct: Numeric,
    pressure_kpa: Numeric = ATMOSPHERE_KPA,
    purity_pct: Numeric = 100.0,
) -> Numeric:
    """Share of the juice that evaporates when it is let down to a pressure.

    Parameters
    ----------
    temp_in_degc : float or ndarray
        Temperature before the flash [degC], 90 to 120.
    brix_pct : float or ndarray
        Dissolved solids before the flash [% by mass].
    pressure_kpa : float or ndarray
        Absolute pressure of the flash tank [kPa].
    purity_pct : float or ndarray
        Sucrose per 100 dissolved solids [%].

    Returns
    -------
    float or ndarray
        Evaporated [kg per kg juice]; 0 when the juice is not superheated. Juice that does not
        flash brings its air into the settler.
    """
    boiling = boiling_degc(brix_pct, pressure_kpa)
    heat = specific_heat_kj_kg_k(brix_pct, boiling, purity_pct)
    return np.maximum(heat * (temp_in_degc - boiling), 0.0) / latent_heat_kj_kg(boiling)


def brix_after_evaporation_pct(brix_pct: Numeric, evaporated: Numeric) -> Numeric:
    """Brix after part of the juice has evaporated.

    Parameters
    ----------
    brix_pct : float, ndarray or polars.Expr
        Dissolved solids before [% by mass].
    evaporated : float, ndarray or polars.Expr
        Evaporated [kg per kg juice], below 1.

    Returns
    -------
    float, ndarray or polars.Expr
        Dissolved solids after [% by mass].
    """
    return brix_pct / (1.0 - evaporated)
