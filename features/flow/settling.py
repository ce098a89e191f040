"""Settling in the clarifier: how near to its limit it runs, and what moves that limit."""

from __future__ import annotations

from features.base import Numeric, exp
from features.juice import density_kg_m3, viscosity_mpa_s

GRAVITY_M_S2 = 9.80665
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
        Velocity [m/h]; trayless settlers run at 3.9-4.8 (confirmed, published clarifier notes).
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
    Published clarifier notes, South Africa (confirmed).
    """
    return overflow_m_h / (0.5 * initial_settling_m_h)


def stokes_velocity_m_h(
    diameter_um: Numeric, density_difference_kg_m3: Numeric, viscosity: Numeric
) -> Numeric:
    """Fall of a small lone sphere (Stokes).

    Parameters
    ----------
    diameter_um : float, ndarray or polars.Expr
        Diameter [um]; Reynolds number below 0.2. At floc scale (0.5 mm) it is 30 % fast.
    density_difference_kg_m3 : float, ndarray or polars.Expr
        Particle minus juice [kg/m3].
    viscosity : float, ndarray or polars.Expr
        Viscosity of the juice [mPa.s].

    Returns
    -------
    float, ndarray or polars.Expr
        Velocity [m/h].
    """
    diameter_m = diameter_um * 1e-6
    per_s = GRAVITY_M_S2 * diameter_m**2 * density_difference_kg_m3 / (18.0 * viscosity * 1e-3)
    return 3600.0 * per_s


def richardson_zaki_exponent(reynolds: float) -> float:
    """Exponent of hindered settling.

    Parameters
    ----------
    reynolds : float
        Reynolds number of a lone particle [-], not negative.

    Returns
    -------
    float
        Exponent [-].

    Raises
    ------
    ValueError
        If `reynolds` is negative.

    Notes
    -----
    Richardson and Zaki, Trans. Inst. Chem. Eng. 32 (1954) 35 (confirmed).
    """
    if reynolds < 0.0:
        raise ValueError(
            f"richardson_zaki_exponent: Reynolds number {reynolds} is negative; give 0 or more"
        )
    if reynolds <= 0.2:
        return 4.65
    if reynolds <= 1.0:
        return float(4.35 * reynolds**-0.03)
    return float(4.45 * reynolds**-0.1) if reynolds <= 500.0 else 2.39


def hindered_velocity(lone_velocity: Numeric, solids_fraction: Numeric, n: Numeric) -> Numeric:
    """Settling velocity in a crowd of particles.

    Parameters
    ----------
    lone_velocity : float, ndarray or polars.Expr
        Velocity of a lone particle [any].
    solids_fraction : float, ndarray or polars.Expr
        Volume fraction of particles (flocs) [-], 0 to 0.5.
    n : float, ndarray or polars.Expr
        Exponent, see `richardson_zaki_exponent` [-].

    Returns
    -------
    float, ndarray or polars.Expr
        Velocity [unit of `lone_velocity`].
    """
    return lone_velocity * (1.0 - solids_fraction) ** n


def settling_correction(
    brix_pct: Numeric,
    temp_degc: Numeric,
    brix_ref_pct: Numeric,
    temp_ref_degc: Numeric,
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
        Ratio [-]; density differences of flocs are taken as unchanged.
    """
    return viscosity_mpa_s(brix_ref_pct, temp_ref_degc) / viscosity_mpa_s(brix_pct, temp_degc)


def flocculant_dose_mg_kg(
    solution_l_h: Numeric,
    concentration_g_l: Numeric,
    flow_juice_m3_h: Numeric,
    brix_pct: Numeric,
    temp_degc: Numeric,
) -> Numeric:
    """Dry flocculant per juice.

    Parameters
    ----------
    solution_l_h : float, ndarray or polars.Expr
        Flocculant solution [L/h].
    concentration_g_l : float, ndarray or polars.Expr
        Dry flocculant in the solution [g/L].
    flow_juice_m3_h : float, ndarray or polars.Expr
        Juice dosed [m3/h].
    brix_pct, temp_degc : float, ndarray or polars.Expr
        Juice [%, degC].

    Returns
    -------
    float, ndarray or polars.Expr
        Dose [mg/kg juice]; 2-4 is common practice.
    """
    juice_kg_h = flow_juice_m3_h * density_kg_m3(brix_pct, temp_degc)
    return 1000.0 * solution_l_h * concentration_g_l / juice_kg_h


def mud_residence_min(
    mud_volume_m3: Numeric, mud_level_pct: Numeric, mud_flow_m3_h: Numeric
) -> Numeric:
    """Mean time mud spends in the mud zone at steady flow.

    Parameters
    ----------
    mud_volume_m3 : float, ndarray or polars.Expr
        Mud zone at 100 % mud level [m3].
    mud_level_pct : float, ndarray or polars.Expr
        Mud level [%].
    mud_flow_m3_h : float, ndarray or polars.Expr
        Underflow [m3/h], above 0.

    Returns
    -------
    float, ndarray or polars.Expr
        Residence time [min]; about twice the juice's (van Hengel 1962, confirmed).
    """
    return 60.0 * mud_volume_m3 * mud_level_pct / 100.0 / mud_flow_m3_h


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
    """
    falling = exp(-dilution_pct / _SETTLING_SCALE_PCT)
    return _SETTLING_FLOOR_MIN + _SETTLING_RANGE_MIN * falling


def settler_capacity_m3_h(area_m2: Numeric, initial_settling_m_h: Numeric) -> Numeric:
    """Clear juice a settler can give by the design rule; depth does not enter.

    Parameters
    ----------
    area_m2 : float, ndarray or polars.Expr
        Settling area, all trays together [m2].
    initial_settling_m_h : float, ndarray or polars.Expr
        Initial settling rate of a batch test [m/h], usually 8-12.

    Returns
    -------
    float, ndarray or polars.Expr
        Clear juice [m3/h] at an overflow velocity of half the initial settling rate.

    Notes
    -----
    Rule: published clarifier notes, South Africa (confirmed). Capacity goes with area; twice the
    depth holds twice the juice and takes twice as long (common practice).
    """
    return 0.5 * initial_settling_m_h * area_m2
