"""Pol, purity and reducing sugars: what polarimetry sees when sucrose inverts.

Pol is sucrose only in the absence of other sugars: glucose raises it, fructose lowers it.
"""

from __future__ import annotations

from features.base import Numeric
from features.kinetics import INVERT_PER_SUCROSE

#: Specific rotations at 20 degC, sodium light: published rotation table (confirmed).
ROTATION_SUCROSE, ROTATION_GLUCOSE, ROTATION_FRUCTOSE = 66.5, 52.2, -92.0


def pol_of_mixture(sucrose: Numeric, glucose: Numeric, fructose: Numeric) -> Numeric:
    """Pol of a mixture of the three sugars.

    Parameters
    ----------
    sucrose, glucose, fructose : float, ndarray or polars.Expr
        Amounts [% by mass, or any common mass unit].

    Returns
    -------
    float, ndarray or polars.Expr
        Pol: the sucrose that would turn the light as far [unit of the inputs].
    """
    turned = ROTATION_GLUCOSE * glucose + ROTATION_FRUCTOSE * fructose
    return sucrose + turned / ROTATION_SUCROSE


def pol_lost_per_sucrose(invert_fraction_kept: Numeric = 1.0) -> Numeric:
    """Fall in pol per unit of sucrose inverted.

    Parameters
    ----------
    invert_fraction_kept : float, ndarray or polars.Expr
        Share of the invert formed that is still there [-], glucose and fructose alike.

    Returns
    -------
    float, ndarray or polars.Expr
        Fall in pol [units per unit sucrose]: 1.315 with all invert kept, 1 with none.
    """
    half = 0.5 * INVERT_PER_SUCROSE * invert_fraction_kept
    return 1.0 - half * (ROTATION_GLUCOSE + ROTATION_FRUCTOSE) / ROTATION_SUCROSE


def apparent_purity_pct(pol_pct: Numeric, brix_pct: Numeric) -> Numeric:
    """Pol per 100 Brix.

    Parameters
    ----------
    pol_pct, brix_pct : float, ndarray or polars.Expr
        Pol and Brix [% by mass].

    Returns
    -------
    float, ndarray or polars.Expr
        Apparent purity [%].
    """
    return 100.0 * pol_pct / brix_pct


def rs_per_pol_pct(rs_pct: Numeric, pol_pct: Numeric) -> Numeric:
    """Reducing sugars per 100 pol, the glucose ratio.

    Parameters
    ----------
    rs_pct, pol_pct : float, ndarray or polars.Expr
        Reducing sugars and pol [% by mass].

    Returns
    -------
    float, ndarray or polars.Expr
        Ratio [%]. It can fall while sucrose inverts, as reducing sugars are destroyed too.
    """
    return 100.0 * rs_pct / pol_pct


def purity_shift_points(purity_pct: Numeric, inverted_pct: Numeric) -> Numeric:
    """Change of apparent purity when part of the sucrose inverts.

    Parameters
    ----------
    purity_pct : float, ndarray or polars.Expr
        Apparent purity before [%].
    inverted_pct : float, ndarray or polars.Expr
        Sucrose inverted [% of sucrose], below 5.

    Returns
    -------
    float, ndarray or polars.Expr
        Change [points], negative. The water taken up raises Brix by 5 % of the inverted sugar.
    """
    inverted = inverted_pct / 100.0
    taken_up = (INVERT_PER_SUCROSE - 1.0) * inverted * purity_pct / 100.0
    return purity_pct * (1.0 - pol_lost_per_sucrose() * inverted) / (1.0 + taken_up) - purity_pct


def rs_per_pol_after_pct(rs_per_pol_before_pct: Numeric, inverted_pct: Numeric) -> Numeric:
    """RS/pol after part of the sucrose inverts and nothing is destroyed.

    Parameters
    ----------
    rs_per_pol_before_pct : float, ndarray or polars.Expr
        Reducing sugars per 100 pol before [%].
    inverted_pct : float, ndarray or polars.Expr
        Sucrose inverted [% of sucrose], below 5.

    Returns
    -------
    float, ndarray or polars.Expr
        Reducing sugars per 100 pol after [%].
    """
    inverted = inverted_pct / 100.0
    rs = rs_per_pol_before_pct + 100.0 * INVERT_PER_SUCROSE * inverted
    return rs / (1.0 - pol_lost_per_sucrose() * inverted)


def inverted_from_tracer_pct(
    rs_per_pol_in_pct: Numeric,
    rs_per_tracer_in: Numeric,
    rs_per_tracer_out: Numeric,
    rs_destroyed_pct: Numeric = 0.0,
) -> Numeric:
    """Sucrose inverted between two points from reducing sugars against a tracer.

    Parameters
    ----------
    rs_per_pol_in_pct : float, ndarray or polars.Expr
        Reducing sugars per 100 pol at the inlet [%].
    rs_per_tracer_in, rs_per_tracer_out : float, ndarray or polars.Expr
        Reducing sugars over tracer at both points [same unit]. The tracer must be conserved:
        chloride, potassium or Brix, not conductivity ash (liming changes it).
    rs_destroyed_pct : float, ndarray or polars.Expr
        Reducing sugars destroyed on the way [% of those coming in].

    Returns
    -------
    float, ndarray or polars.Expr
        Inverted [% of pol].
    """
    rise = rs_per_tracer_out / rs_per_tracer_in - 1.0
    return rs_per_pol_in_pct * (rise + rs_destroyed_pct / 100.0) / INVERT_PER_SUCROSE
