"""Sucrose inverted between two points of the train, by what the laboratory finds there.

Several estimates of one quantity, each with its own weakness: reducing sugars rise but are also
destroyed; pol and purity fall, but hardly, and fall less when fructose is destroyed first. None is
corrected here for the time between the points: the caller brings both ends of the same parcel.

Errors are kept in two kinds. A *random* error is new in every sample and averages away. A
*systematic* one belongs to a method, is the same in every sample, and never averages away.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np

from features.balance.pol import (
    ROTATION_FRUCTOSE,
    ROTATION_GLUCOSE,
    ROTATION_SUCROSE,
    inverted_from_tracer_pct,
    pol_lost_per_sucrose,
)
from features.base import FloatArray, Numeric
from features.kinetics import INVERT_PER_SUCROSE

#: Share of fructose in the reducing sugars destroyed, were both sugars alike.
EQUAL_SHARE = 0.5
#: Step of the logarithmic derivatives [-].
_STEP = 1e-5


def pol_gained_per_rs_destroyed(fructose_share: Numeric = EQUAL_SHARE) -> Numeric:
    """Rise in pol per unit of reducing sugars destroyed.

    Parameters
    ----------
    fructose_share : float, ndarray or polars.Expr
        Share of fructose in what is destroyed [-]; above 0.36 pol rises.

    Returns
    -------
    float, ndarray or polars.Expr
        Rise in pol [units per unit RS]: 0.299 with both sugars alike. Rotations as in
        `features.pol`.
    """
    turned = ROTATION_GLUCOSE * (1.0 - fructose_share) + ROTATION_FRUCTOSE * fructose_share
    return -turned / ROTATION_SUCROSE


def inverted_from_pol_pct(
    pol_per_tracer_in: Numeric,
    pol_per_tracer_out: Numeric,
    rs_per_pol_in_pct: Numeric = 0.0,
    rs_destroyed_pct: Numeric = 0.0,
    fructose_share: Numeric = EQUAL_SHARE,
) -> Numeric:
    """Sucrose inverted between two points from the fall of pol against a tracer.

    Parameters
    ----------
    pol_per_tracer_in, pol_per_tracer_out : float, ndarray or polars.Expr
        Pol over tracer at both points [same unit]; the tracer must be conserved.
    rs_per_pol_in_pct : float, ndarray or polars.Expr
        Reducing sugars per 100 pol at the inlet [%].
    rs_destroyed_pct : float, ndarray or polars.Expr
        Reducing sugars destroyed on the way [% of those coming in].
    fructose_share : float, ndarray or polars.Expr
        Share of fructose in what is destroyed [-].

    Returns
    -------
    float, ndarray or polars.Expr
        Inverted [% of pol], valid below 5. Inversion takes 1.315 pol per unit of sucrose
        (molar masses and rotations, computed).
    """
    gained = pol_gained_per_rs_destroyed(fructose_share) * rs_per_pol_in_pct / 100.0
    gained = gained * rs_destroyed_pct / 100.0
    fall = 1.0 + gained - pol_per_tracer_out / pol_per_tracer_in
    return 100.0 * fall / pol_lost_per_sucrose()


def inverted_from_purity_pct(
    purity_in_pct: Numeric,
    purity_out_pct: Numeric,
    rs_per_pol_in_pct: Numeric = 0.0,
    rs_destroyed_pct: Numeric = 0.0,
    fructose_share: Numeric = EQUAL_SHARE,
) -> Numeric:
    """Sucrose inverted between two points from the fall of apparent purity.

    Parameters
    ----------
    purity_in_pct, purity_out_pct : float, ndarray or polars.Expr
        Apparent purity at both points [%].
    rs_per_pol_in_pct : float, ndarray or polars.Expr
        Reducing sugars per 100 pol at the inlet [%].
    rs_destroyed_pct : float, ndarray or polars.Expr
        Reducing sugars destroyed on the way [% of those coming in].
    fructose_share : float, ndarray or polars.Expr
        Share of fructose in what is destroyed [-].

    Returns
    -------
    float, ndarray or polars.Expr
        Inverted [% of pol], valid below 5.

    Notes
    -----
    Brix also rises, as inversion binds water.
    Impurities settled out raise purity and hide inversion: the caller gives that as an error.
    """
    gained = pol_gained_per_rs_destroyed(fructose_share) * rs_per_pol_in_pct / 100.0
    gained = gained * rs_destroyed_pct / 100.0
    ratio = purity_out_pct / purity_in_pct
    bound = (INVERT_PER_SUCROSE - 1.0) * purity_in_pct / 100.0
    return 100.0 * (1.0 + gained - ratio) / (pol_lost_per_sucrose() + ratio * bound)


@dataclass(frozen=True, slots=True)
class MethodErrors:
    """Relative errors that all pairs share: what a method is off by between the two points.

    An error that both points share cancels in the ratio; these are the differences (estimates).

    Attributes
    ----------
    rs, pol, brix, potassium, chloride, purity : float
        Outlet against inlet [-]: lime salts and colour in reducing sugars and pol, impurities
        settled out in Brix and purity, what mud takes along of the tracers.
    rs_destroyed : float
        Error of the predicted destruction, relative to it [-]: its rate is common practice.
    fructose_share : float
        Error of the share of fructose destroyed, relative to it [-].
    """

    rs: float = 0.04
    pol: float = 0.006
    brix: float = 0.004
    potassium: float = 0.01
    chloride: float = 0.01
    purity: float = 0.007
    rs_destroyed: float = 0.3
    fructose_share: float = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class PairEstimates:
    """Inversion of m parcels by k methods.

    Attributes
    ----------
    methods : tuple of str
        Such as ``rs_brix``: reducing sugars against Brix.
    inverted_pct : ndarray, shape (m, k)
        Estimate [% of sucrose]; NaN where a result is missing.
    random : ndarray, shape (m, k, r)
        Change of each estimate by one standard error of each single result [% of sucrose].
    systematic : ndarray, shape (m, k, s)
        The same for each error that all parcels share [% of sucrose].
    """

    methods: tuple[str, ...]
    inverted_pct: FloatArray
    random: FloatArray
    systematic: FloatArray

    def random_covariance(self) -> FloatArray:
        """Covariance of the methods within each parcel, random errors; shape (m, k, k)."""
        return np.asarray(self.random @ self.random.transpose(0, 2, 1))

    def systematic_covariance(self) -> FloatArray:
        """Covariance of the methods within each parcel, shared errors; shape (m, k, k)."""
        return np.asarray(self.systematic @ self.systematic.transpose(0, 2, 1))


def pair_estimates(
    results: Mapping[str, FloatArray],
    relative_sd: Mapping[str, FloatArray],
    rs_destroyed_pct: FloatArray,
    errors: MethodErrors | None = None,
) -> PairEstimates:
    """Estimate the inversion of parcels by every method the laboratory's results allow.

    Parameters
    ----------
    results : mapping of str to ndarray, each shape (m,)
        Results of the same parcel, named ``<analyte>_in`` and ``<analyte>_out``: rs, pol, brix
        [%], potassium, chloride [same unit at both ends], purity [%]. Missing analytes are left
        out, single missing results are NaN. Purity that is not given follows from pol and Brix.
    relative_sd : mapping of str to ndarray, each shape (m,)
        Random standard error of each of them, relative to it [-].
    rs_destroyed_pct : ndarray, shape (m,)
        Reducing sugars destroyed on the way [% of those coming in].
    errors : MethodErrors, optional
        What all pairs share.

    Returns
    -------
    PairEstimates
        Without any method both k and the other axes are 0.

    Notes
    -----
    Errors are carried to first order by central differences in the logarithm of each result, so
    that an analysis used by two methods moves both. Conductivity ash is not taken as a tracer:
    liming adds calcium and removes phosphate.
    """
    inputs = {k: np.asarray(v, dtype=float) for k, v in results.items()}
    inputs["rs_destroyed"] = np.asarray(rs_destroyed_pct, dtype=float)
    inputs["fructose_share"] = np.full(len(inputs["rs_destroyed"]), EQUAL_SHARE)
    values = _by_method(inputs)
    shared = errors if errors is not None else MethodErrors()
    common = {
        _moved(field.name): np.full(len(inputs["rs_destroyed"]), getattr(shared, field.name))
        for field in fields(shared)
    }
    return PairEstimates(
        tuple(values),
        _stack(values, len(inputs["rs_destroyed"])),
        _moves(inputs, {k: relative_sd[k] for k in results}, len(values)),
        _moves(inputs, {k: v for k, v in common.items() if k in inputs}, len(values)),
    )


def _moved(name: str) -> str:
    """Input that a shared error moves: the outlet's result, or what describes the way."""
    return name if name in ("rs_destroyed", "fructose_share") else f"{name}_out"


def _by_method(x: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    def both(*analytes: str) -> bool:
        return all(f"{a}_{end}" in x for a in analytes for end in ("in", "out"))

    found: dict[str, FloatArray] = {}
    if "rs_in" not in x or "pol_in" not in x:
        rs_per_pol = np.zeros(len(x["rs_destroyed"]))
    else:
        rs_per_pol = 100.0 * x["rs_in"] / x["pol_in"]
    for tracer in ("brix", "potassium", "chloride"):
        if both("rs", tracer) and "pol_in" in x:
            before, after = (x[f"rs_{end}"] / x[f"{tracer}_{end}"] for end in ("in", "out"))
            found[f"rs_{tracer}"] = inverted_from_tracer_pct(
                rs_per_pol, before, after, x["rs_destroyed"]
            )
    way = (rs_per_pol, x["rs_destroyed"], x["fructose_share"])
    if both("pol", "brix"):
        before, after = x["pol_in"] / x["brix_in"], x["pol_out"] / x["brix_out"]
        found["pol_brix"] = inverted_from_pol_pct(before, after, *way)
        found["purity"] = inverted_from_purity_pct(100.0 * before, 100.0 * after, *way)
    elif both("purity"):
        found["purity"] = inverted_from_purity_pct(x["purity_in"], x["purity_out"], *way)
    return found


def _stack(values: Mapping[str, FloatArray], n: int) -> FloatArray:
    return np.stack(list(values.values()), axis=1) if values else np.empty((n, 0))


def _moves(
    inputs: Mapping[str, FloatArray], sizes: Mapping[str, FloatArray], methods: int
) -> FloatArray:
    """Change of every estimate by one standard error of every source; shape (m, k, sources)."""
    n = len(inputs["rs_destroyed"])
    moves = np.zeros((n, methods, len(sizes)))
    for i, (name, size) in enumerate(sizes.items()):
        up = _by_method({**inputs, name: inputs[name] * (1.0 + _STEP)})
        down = _by_method({**inputs, name: inputs[name] * (1.0 - _STEP)})
        slope = (_stack(up, n) - _stack(down, n)) / (2.0 * _STEP)
        moves[:, :, i] = slope * np.asarray(size)[:, None]
    return moves
