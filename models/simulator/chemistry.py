"""Rates inside the simulator, written on their own so that they judge the estimators fairly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_LN10 = np.log(10.0)
_GAS = 8.314462
_RS_ENERGY_J_MOL = 140_300.0
_T97_K = 97.0 + 273.15


def water_g_ml(brix_pct: Floats, temp_degc: Floats) -> Floats:
    """Water per millilitre of juice [g/mL].

    Parameters
    ----------
    brix_pct : array
        Dissolved solids [% m/m], 0-30.
    temp_degc : array
        Temperature [degC], 50-120.

    Returns
    -------
    array
        Density times water fraction [g/mL]; a straight line in Brix fitted to ICUMSA's
        sucrose-solution density polynomial, within 0.3 % (estimate).
    """
    rho = 1.0001 - 1.02e-4 * temp_degc - 3.17e-6 * temp_degc * temp_degc + 3.92e-3 * brix_pct
    return rho * (1.0 - 0.01 * brix_pct)


def inversion_rate_1_h(temp_degc: Floats, ph_hot: Floats, brix_pct: Floats) -> Floats:
    """Sucrose inversion rate at multiplier 1.

    Parameters
    ----------
    temp_degc : array
        Juice temperature [degC], about 60-130.
    ph_hot : array
        pH at that temperature, about 4-8.
    brix_pct : array
        Dissolved solids [% m/m].

    Returns
    -------
    array
        First-order rate [1/h].

    Notes
    -----
    K. Vukov, Int. Sugar J. 67 (1965) 172-175; constants from memory.
    """
    exponent = 16.91 - 5670.0 / (temp_degc + 273.15) - ph_hot
    return np.asarray(60.0 * water_g_ml(brix_pct, temp_degc) * np.exp(_LN10 * exponent))


def rs_destruction_rate_1_h(temp_degc: Floats, ph_cold: Floats, rate_ph7_1_h: float) -> Floats:
    """Reducing-sugar destruction rate [1/h]: threefold a pH unit, 140 kJ/mol around 97 degC.

    Parameters
    ----------
    temp_degc : array
        Juice temperature [degC].
    ph_cold : array
        pH of the cooled sample.
    rate_ph7_1_h : float
        Rate at pH 7 and 97 degC [1/h] (common practice: 0.01).

    Returns
    -------
    array
        Rate [1/h]. Energy: J. Nolasco Junior & P. R. de Massaguer,
        J. Food Process Eng. 29 (2006) 462-477 (volume and pages from memory).
    """
    hot = -(_RS_ENERGY_J_MOL / _GAS) * (1.0 / (temp_degc + 273.15) - 1.0 / _T97_K)
    return np.asarray(rate_ph7_1_h * np.exp(np.log(3.0) * (ph_cold - 7.0) + hot))


def juice_density_kg_m3(brix_pct: Floats) -> Floats:
    """Density of juice at mixed-juice temperature [kg/m3], 5-30 % Brix (estimate)."""
    return 994.0 + 3.86 * brix_pct + 0.015 * brix_pct * brix_pct


def brix_of_solids(solids_kg_m3: Floats) -> Floats:
    """Brix [%] of juice that holds `solids_kg_m3` dissolved solids [kg/m3], up to 30 %."""
    brix = solids_kg_m3 / 10.5
    for _ in range(4):
        brix = 100.0 * solids_kg_m3 / juice_density_kg_m3(brix)
    return brix
