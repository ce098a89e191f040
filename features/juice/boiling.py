"""Boiling point of juice: what a vapour pressure says of a temperature, and whether juice flashes.

Hot juice and steam scald: these figures advise, and limits on pressure and temperature belong to
local codes and licensed practice.
"""

from __future__ import annotations

from features.base import GAS_CONSTANT, KELVIN, Numeric, exp
from features.juice.steam import saturation_degc

ATMOSPHERE_KPA = 101.325
#: Activity model constants of Starzak 1997, confirmed: Q [J/mol], a, b.
_Q_J_MOL, _A, _B = -17638.0, -1.0038, -0.24653
_MOLAR_RATIO = 18.0153 / 342.297


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
    Starzak 1997; constants confirmed, range from memory.
    """
    x = sucrose_mole_fraction(brix_pct)
    kelvin = temp_degc + KELVIN
    log_gamma = _Q_J_MOL / (GAS_CONSTANT * kelvin) * x * x * (1.0 + _A * x + _B * x * x)
    return (1.0 - x) * exp(log_gamma)


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
        Boiling point [degC]; pure sucrose, impure cane juice boils hotter at high Brix.

    Notes
    -----
    Juice boils where water would at its vapour pressure over the activity of water in the juice.
    """
    temp = saturation_degc(pressure_kpa)
    # Activity hardly moves with temperature: each round leaves a three-hundredth of the error.
    for _ in range(5):
        temp = saturation_degc(pressure_kpa / water_activity(brix_pct, temp))
    return temp
