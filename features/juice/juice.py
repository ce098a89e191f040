"""Density, water content and viscosity of cane juice.

Juice is taken as a solution of pure sucrose of the same Brix; impurities of cane juice move
the density by less than 0.2 % at 15 Brix (memory).
"""

from __future__ import annotations

from features.base import KELVIN, Numeric, exp10

#: Rows i = 0..4 of the density polynomial: coefficients of w**j, j = 1, 2, ... for tau**i.
_DENSITY_COEFFICIENTS: tuple[tuple[float, ...], ...] = (
    (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
    (-46.2720, -7.1720, 1.1597, 5.1126, 17.5254),
    (59.7712, 7.2491, 12.3630, -35.4791),
    (-47.2207, -21.6977, 27.6301),
    (18.3184, 12.3081),
)
_WATER_NUMERATOR = (
    999.83952,
    16.952577,
    -7.9905127e-3,
    -46.241757e-6,
    105.84601e-9,
    -281.03006e-12,
)
#: (coefficient [mPa.s], exponent of T/300 K) of the water viscosity correlation.
_WATER_VISCOSITY = ((0.28068, -1.9), (0.51145, -7.7), (0.061131, -19.6), (0.00045903, -40.0))


def _polynomial(coefficients: tuple[float, ...], x: Numeric) -> Numeric:
    """Horner's scheme, constant term first."""
    total: Numeric = coefficients[-1]
    for coefficient in reversed(coefficients[:-1]):
        total = total * x + coefficient
    return total


def density_water_kg_m3(temp_degc: Numeric) -> Numeric:
    """Density of water at atmospheric pressure.

    Parameters
    ----------
    temp_degc : float, ndarray or polars.Expr
        Temperature [degC], 0 to 105.

    Returns
    -------
    float, ndarray or polars.Expr
        Density [kg/m3].

    Notes
    -----
    Rational form that Bubnik 1995 and Llano-Restrepo 2005 put under their sucrose polynomial
    (confirmed); within 0.02 kg/m3 of IAPWS-95 at 20-100 degC (computed).
    """
    return _polynomial(_WATER_NUMERATOR, temp_degc) / (1.0 + 16.887236e-3 * temp_degc)


def density_kg_m3(brix_pct: Numeric, temp_degc: Numeric) -> Numeric:
    """Density of juice taken as pure sucrose solution.

    Parameters
    ----------
    brix_pct : float, ndarray or polars.Expr
        Dissolved solids [% by mass], 0 to 85.
    temp_degc : float, ndarray or polars.Expr
        Temperature [degC], 0 to 105; to 130 water meets IAPWS-97 within 0.1 kg/m3 (computed).

    Returns
    -------
    float, ndarray or polars.Expr
        Density [kg/m3].

    Notes
    -----
    Polynomial of ICUMSA SPS-4 (memory) as Bubnik 1995, p. 164, for 0-100 degC, and Llano-Restrepo
    2005 give it (confirmed through others that quote both and differ in one digit, worth
    1e-4 kg/m3). Outside reference: Laliberte 2009, 15-55 degC.
    """
    w = brix_pct / 100.0
    tau = (temp_degc - 20.0) / 100.0
    excess: Numeric = 0.0
    for coefficients in reversed(_DENSITY_COEFFICIENTS):
        excess = excess * tau + w * _polynomial(coefficients, w)
    return density_water_kg_m3(temp_degc) + excess


def water_content_kg_m3(brix_pct: Numeric, temp_degc: Numeric) -> Numeric:
    """Water in a cubic metre of juice.

    Parameters
    ----------
    brix_pct, temp_degc : float, ndarray or polars.Expr
        As for `density_kg_m3`.

    Returns
    -------
    float, ndarray or polars.Expr
        Water [kg/m3].
    """
    return density_kg_m3(brix_pct, temp_degc) * (1.0 - brix_pct / 100.0)


def water_content_g_ml(brix_pct: Numeric, temp_degc: Numeric) -> Numeric:
    """Water in a millilitre of juice, the unit the inversion equation is fitted in.

    Parameters
    ----------
    brix_pct, temp_degc : float, ndarray or polars.Expr
        As for `density_kg_m3`.

    Returns
    -------
    float, ndarray or polars.Expr
        Water [g/mL].
    """
    return water_content_kg_m3(brix_pct, temp_degc) / 1000.0


def sucrose_content_kg_m3(brix_pct: Numeric, purity_pct: Numeric, temp_degc: Numeric) -> Numeric:
    """Sucrose in a cubic metre of juice.

    Parameters
    ----------
    brix_pct : float, ndarray or polars.Expr
        Dissolved solids [% by mass], 0 to 85.
    purity_pct : float, ndarray or polars.Expr
        Sucrose per 100 dissolved solids [%].
    temp_degc : float, ndarray or polars.Expr
        Temperature [degC], 0 to 105.

    Returns
    -------
    float, ndarray or polars.Expr
        Sucrose [kg/m3].
    """
    return density_kg_m3(brix_pct, temp_degc) * brix_pct * purity_pct / 1e4


def viscosity_water_mpa_s(temp_degc: Numeric) -> Numeric:
    """Viscosity of water at 0.1 MPa.

    Parameters
    ----------
    temp_degc : float, ndarray or polars.Expr
        Temperature [degC], -20 to 110.

    Returns
    -------
    float, ndarray or polars.Expr
        Dynamic viscosity [mPa.s].

    Notes
    -----
    Patek, Hruby, Klomfar, Souckova and Harvey, J. Phys. Chem. Ref. Data 38 (2009) 21, also
    IAPWS SR6-08; constants from memory, within 0.05 % of the IAPWS 2008 formulation at
    20-100 degC (computed).
    """
    reduced = (temp_degc + KELVIN) / 300.0
    total: Numeric = 0.0
    for coefficient, exponent in _WATER_VISCOSITY:
        total = total + coefficient * reduced**exponent
    return total


def viscosity_genotelle_mpa_s(
    brix_pct: Numeric, temp_degc: Numeric, purity_pct: Numeric = 100.0
) -> Numeric:
    """Viscosity of sucrose solution by Genotelle's two-term formula.

    Parameters
    ----------
    brix_pct : float, ndarray or polars.Expr
        Dissolved solids [% by mass], 0 to 75.
    temp_degc : float, ndarray or polars.Expr
        Temperature [degC], 0 to 100.
    purity_pct : float, ndarray or polars.Expr
        Sucrose per 100 dissolved solids [%]; enters a quality factor on the solids' term (memory).

    Returns
    -------
    float, ndarray or polars.Expr
        Dynamic viscosity [mPa.s]; 3.5 % low at 20 degC and 8 % high at 100 degC for water.

    Notes
    -----
    Genotelle 1978, as Mathlouthi 1995 quotes it (confirmed through another that quotes it).
    """
    n = brix_pct / (1900.0 - 18.0 * brix_pct)
    quality = 0.85 + 0.15 * purity_pct / 100.0
    # The quality is that of the solids: water, with none of them, has none either.
    slope = 1.1 + 43.1 * n**1.25 * quality
    return exp10(22.46 * n - 0.114 + (30.0 - temp_degc) / (91.0 + temp_degc) * slope)


def viscosity_mpa_s(brix_pct: Numeric, temp_degc: Numeric, purity_pct: Numeric = 100.0) -> Numeric:
    """Viscosity of juice in ratio form: water's viscosity times the formula's own ratio.

    Parameters
    ----------
    brix_pct : float, ndarray or polars.Expr
        Dissolved solids [% by mass], 0 to 25.
    temp_degc : float, ndarray or polars.Expr
        Temperature [degC], 0 to 105.
    purity_pct : float, ndarray or polars.Expr
        Sucrose per 100 dissolved solids [%].

    Returns
    -------
    float, ndarray or polars.Expr
        Dynamic viscosity [mPa.s], within 4 % of tabulated 20 Brix values at 20-80 degC.

    Notes
    -----
    The ratio removes the formula's error for water (3.5 % low to 8 % high).
    """
    ratio = viscosity_genotelle_mpa_s(brix_pct, temp_degc, purity_pct) / viscosity_genotelle_mpa_s(
        0.0 * brix_pct, temp_degc, purity_pct
    )
    return viscosity_water_mpa_s(temp_degc) * ratio
