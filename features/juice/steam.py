"""Saturation line of water and steam, both ways, by the industrial formulation."""

from __future__ import annotations

from features.base import KELVIN, Numeric

#: Region 4 of IAPWS R7-97 (2012), coefficients n1 to n10.
_N1, _N2, _N3 = 0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2
_N4, _N5, _N6 = 0.12020824702470e5, -0.32325550322333e7, 0.14915108613530e2
_N7, _N8 = -0.48232657361591e4, 0.40511340542057e6
_N9, _N10 = -0.23855557567849, 0.65017534844798e3
_KPA_PER_MPA = 1000.0


def saturation_pressure_kpa(temp_degc: Numeric) -> Numeric:
    """Vapour pressure of water.

    Parameters
    ----------
    temp_degc : float, ndarray or polars.Expr
        Temperature [degC], 0 to 373.

    Returns
    -------
    float, ndarray or polars.Expr
        Absolute pressure [kPa].

    Notes
    -----
    Equation 30 of IAPWS R7-97 (2012): the saturation line of the industrial formulation of 1997
    (form and coefficients memory; its printed check values hold, see the tests).
    """
    kelvin = temp_degc + KELVIN
    theta = kelvin + _N9 / (kelvin - _N10)
    a = theta * theta + _N1 * theta + _N2
    b = _N3 * theta * theta + _N4 * theta + _N5
    c = _N6 * theta * theta + _N7 * theta + _N8
    root = 2.0 * c / (-b + (b * b - 4.0 * a * c) ** 0.5)
    return _KPA_PER_MPA * root**4


def saturation_degc(pressure_kpa: Numeric) -> Numeric:
    """Temperature at which water boils; undoes `saturation_pressure_kpa`.

    Parameters
    ----------
    pressure_kpa : float, ndarray or polars.Expr
        Absolute pressure [kPa], 0.62 to 22 000.

    Returns
    -------
    float, ndarray or polars.Expr
        Temperature [degC].

    Notes
    -----
    Equation 31 of IAPWS R7-97 (2012), the exact inverse of equation 30.
    """
    beta = (pressure_kpa / _KPA_PER_MPA) ** 0.25
    e = beta * beta + _N3 * beta + _N6
    f = _N1 * beta * beta + _N4 * beta + _N7
    g = _N2 * beta * beta + _N5 * beta + _N8
    d = 2.0 * g / (-f - (f * f - 4.0 * e * g) ** 0.5)
    both = _N10 + d
    return 0.5 * (both - (both * both - 4.0 * (_N9 + _N10 * d)) ** 0.5) - KELVIN
