"""Pol, purity and reducing sugars: what polarimetry sees when sucrose inverts.

Pol is sucrose only in the absence of other sugars: glucose raises it, fructose lowers it.
"""

from __future__ import annotations

from features.base import Numeric
from features.kinetics import INVERT_PER_SUCROSE

#: Specific rotations at 20 degC, sodium light: sucrose and fructose as in Belitz 2009 (confirmed),
#: glucose from memory. +52.7 there would take 0.3 % from what inversion costs in pol.
ROTATION_SUCROSE, ROTATION_GLUCOSE, ROTATION_FRUCTOSE = 66.5, 52.2, -92.0


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
