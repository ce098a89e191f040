"""Rates: sucrose inversion, reducing-sugar destruction, pH against temperature.

The inversion equation wants the pH of the *hot* juice. A reading of a cooled sample is carried
to process temperature with the juice's own slope d(pH)/dT before it enters.
"""

from __future__ import annotations

from features.base import GAS_CONSTANT, KELVIN, Numeric, exp, exp10, log10
from features.juice import water_content_g_ml

#: Constants of Vukov 1965, memory: log10 k [1/min] = A + log10(water g/mL) - B/T - pH.
VUKOV_A = 16.91
VUKOV_B_K = 5670.0
#: Activation energy of reducing-sugar destruction [J/mol]: glucose, Nolasco 2006, confirmed.
RS_ACTIVATION_J_MOL = 140_200.0
#: Temperature at which the practical destruction rates are quoted [degC], common practice.
RS_REFERENCE_DEGC = 97.0
#: Invert sugar formed per unit of sucrose inverted [kg/kg], molar masses (computed).
INVERT_PER_SUCROSE = 2.0 * 180.156 / 342.297


def inversion_1_min(ph_hot: Numeric, temp_degc: Numeric, brix_pct: Numeric) -> Numeric:
    """First-order rate of sucrose inversion (Vukov).

    Parameters
    ----------
    ph_hot : float, ndarray or polars.Expr
        pH of the juice at `temp_degc` [-], 4 to 8.
    temp_degc : float, ndarray or polars.Expr
        Juice temperature [degC], 60 to 130.
    brix_pct : float, ndarray or polars.Expr
        Dissolved solids [% by mass].

    Returns
    -------
    float, ndarray or polars.Expr
        Rate k [1/min].

    Notes
    -----
    Vukov 1965; constants and range from memory. Two sets of acid-hydrolysis data at 23 and 35 degC
    (Brown 2009, confirmed; the other memory) agree within a factor 1.1-1.8; nothing tests the
    constant at 100 degC and pH 6-7, so the level is a floor and a shape. x10 per pH unit.
    """
    kelvin = temp_degc + KELVIN
    water = water_content_g_ml(brix_pct, temp_degc)
    return exp10(VUKOV_A + log10(water) - VUKOV_B_K / kelvin - ph_hot)


def inversion_1_h(ph_hot: Numeric, temp_degc: Numeric, brix_pct: Numeric) -> Numeric:
    """First-order rate of sucrose inversion per hour; see `inversion_1_min`.

    Parameters
    ----------
    ph_hot : float, ndarray or polars.Expr
        pH of the juice at `temp_degc` [-], 4 to 8.
    temp_degc : float, ndarray or polars.Expr
        Juice temperature [degC], 60 to 130.
    brix_pct : float, ndarray or polars.Expr
        Dissolved solids [% by mass].

    Returns
    -------
    float, ndarray or polars.Expr
        Rate k [1/h].
    """
    return 60.0 * inversion_1_min(ph_hot, temp_degc, brix_pct)


def temp_factor(temp_degc: Numeric, ref_degc: Numeric = 100.0) -> Numeric:
    """Inversion rate relative to that at `ref_degc`, same hot pH and water content.

    Parameters
    ----------
    temp_degc : float, ndarray or polars.Expr
        Juice temperature [degC], 60 to 130.
    ref_degc : float, ndarray or polars.Expr
        Reference temperature [degC].

    Returns
    -------
    float, ndarray or polars.Expr
        Ratio [-]; with the default reference, equivalent minutes at 100 degC per minute.
    """
    return exp10(VUKOV_B_K * (1.0 / (ref_degc + KELVIN) - 1.0 / (temp_degc + KELVIN)))


def ph_at_process(
    ph_cold: Numeric, temp_degc: Numeric, slope_1_k: Numeric = -0.006, ref_degc: Numeric = 25.0
) -> Numeric:
    """Carry the pH of a cooled sample to process temperature.

    Parameters
    ----------
    ph_cold : float, ndarray or polars.Expr
        pH of the sample at `ref_degc` [-].
    temp_degc : float, ndarray or polars.Expr
        Process temperature [degC].
    slope_1_k : float, ndarray or polars.Expr
        d(pH)/dT of the juice [1/K]; -0.006 +/- 0.003 near pH 7 (estimate).
    ref_degc : float, ndarray or polars.Expr
        Sample temperature [degC].

    Returns
    -------
    float, ndarray or polars.Expr
        Hot pH [-].

    Notes
    -----
    Linear fall with temperature: Schaffler 1987 (form confirmed, coefficients not recovered).
    """
    return ph_cold + slope_1_k * (temp_degc - ref_degc)


def ph_at_sample(
    ph_hot: Numeric, temp_degc: Numeric, slope_1_k: Numeric = -0.006, ref_degc: Numeric = 25.0
) -> Numeric:
    """Carry a hot pH reading to the temperature of cooled samples; undoes `ph_at_process`.

    Parameters
    ----------
    ph_hot : float, ndarray or polars.Expr
        pH read at `temp_degc` [-].
    temp_degc : float, ndarray or polars.Expr
        Process temperature [degC].
    slope_1_k : float, ndarray or polars.Expr
        d(pH)/dT of the juice [1/K].
    ref_degc : float, ndarray or polars.Expr
        Sample temperature [degC].

    Returns
    -------
    float, ndarray or polars.Expr
        pH at `ref_degc` [-].
    """
    return ph_hot - slope_1_k * (temp_degc - ref_degc)


def rs_destruction_1_h(
    ph_cold: Numeric, temp_degc: Numeric, rate_ph7_1_h: Numeric = 0.01
) -> Numeric:
    """First-order rate at which reducing sugars are destroyed.

    Parameters
    ----------
    ph_cold : float, ndarray or polars.Expr
        pH of a cooled sample [-], 6 to 9.
    temp_degc : float, ndarray or polars.Expr
        Juice temperature [degC], 80 to 140.
    rate_ph7_1_h : float, ndarray or polars.Expr
        Rate at pH 7 and 97 degC [1/h]; 0.01 is common practice.

    Returns
    -------
    float, ndarray or polars.Expr
        Rate [1/h].

    Notes
    -----
    1 %/h at pH 7 and 3 %/h at pH 8: common practice. Activation energy 140.2 kJ/mol: Nolasco
    2006, confirmed at 110-140 degC.
    """
    inverse = 1.0 / (temp_degc + KELVIN) - 1.0 / (RS_REFERENCE_DEGC + KELVIN)
    arrhenius = exp(-RS_ACTIVATION_J_MOL / GAS_CONSTANT * inverse)
    return rate_ph7_1_h * exp(1.0986122886681098 * (ph_cold - 7.0)) * arrhenius
