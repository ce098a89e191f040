"""The limed-juice pH that costs least: sucrose inverts below it, reducing sugars go above it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

import numpy as np
import polars as pl

from features.belief import Belief, Draws, Estimate, draw, estimate
from features.derive import derive
from features.juice import density_kg_m3
from features.numeric import FloatArray
from features.standing import BUFFER_MEQ_KG_PH_BRIX
from features.station import Station

#: Limed pH between which costs are worked out, and their spacing [-].
LOWEST_PH, HIGHEST_PH, STEP_PH = 6.6, 8.6, 0.02
#: Usual limed pH (common practice): outside it juice settles badly, which no curve here counts.
USUAL_PH: Final = (7.2, 8.0)
#: A pH counts as no worse when it costs less than this share of the destruction at the best one.
FLAT_SHARE = 0.1
#: pH of reducing-sugar destruction: threefold per unit (common practice).
_RS_PER_PH = 3.0
_CAO_G_EQ = 28.04
_HOURS = 24.0


@dataclass(frozen=True, slots=True)
class Prices:
    """What is paid for pH, per tonne in one currency.

    Attributes
    ----------
    sucrose, reducing_sugar, lime : float
        Sucrose, reducing sugars destroyed (what their loss costs), lime as CaO [currency/t].
    """

    sucrose: float
    reducing_sugar: float
    lime: float


@dataclass(frozen=True, slots=True)
class Cost:
    """Cost of one limed pH [currency/day]; `ph_clear` is the clear juice's that goes with it."""

    ph_limed: float
    ph_clear: float
    total: Estimate
    inversion: Estimate
    reducing_sugar: Estimate
    lime: Estimate


@dataclass(frozen=True, slots=True)
class Setpoint:
    """The limed pH that costs least, and how much it matters.

    Attributes
    ----------
    best_ph : Estimate
        Cheapest limed pH, cooled sample [-], with its 90 % interval.
    at_best, at_target : Cost
        Cost there and at the mill's target.
    saving : Estimate
        Cost at the target less that at the central best pH [currency/day]; below 0 where the
        draws make the target the better of the two.
    flat : tuple of float
        pH range that costs less than `flat_within` more than the best [-].
    flat_within : float
        Difference meant [currency/day].
    curve : tuple of Cost
        Costs from `LOWEST_PH` to `HIGHEST_PH`, every 0.1.
    at_edge : bool
        The best pH lies at an end of the curve, so the true one may lie beyond.
    """

    best_ph: Estimate
    at_best: Cost
    at_target: Cost
    saving: Estimate
    flat: tuple[float, float]
    flat_within: float
    curve: tuple[Cost, ...]
    at_edge: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Day:
    """The station at its targets: tonnes a day of each zone downstream of liming."""

    temp_degc: FloatArray
    inverted_t: FloatArray
    destroyed_t: FloatArray
    lime_t_ph: float


def advise(station: Station, prices: Prices, belief: Belief) -> Setpoint:
    """Weigh sucrose inverted against reducing sugars destroyed and lime, over limed pH.

    Parameters
    ----------
    station : Station
        Vessels and targets; its own kinetics are not used.
    prices : Prices
        What a tonne of each is worth.
    belief : Belief
        Kinetics, and how far they are known.

    Returns
    -------
    Setpoint
        Best limed pH, with intervals from the kinetics; prices are taken as exact.

    Raises
    ------
    ValueError
        If the station has no vessels or no target feed.

    Notes
    -----
    The station runs all day at its targets. Clear-juice pH is taken to move with limed pH, the
    fall across the settler unchanged. Then every zone's inversion goes with 10**-pH and its
    destruction with 3**pH, exactly, and the one derivation at targets serves all pH.
    """
    day, draws = _day_at_targets(station, belief), draw(belief)
    targets = station.targets
    phs = np.round(np.arange(LOWEST_PH, HIGHEST_PH + STEP_PH / 2, STEP_PH), 6)
    parts = _parts(day, belief, draws, prices, phs - targets.ph_limed)
    parts[2] += (
        prices.lime * day.lime_t_ph * draws.acid[:, None] * (targets.ph_limed - targets.ph_mixed)
    )
    totals = parts.sum(axis=0)
    cheapest = phs[np.argmin(totals, axis=1)]
    best = int(np.argmin(totals[0]))

    def cost(place: int) -> Cost:
        ph = float(phs[place])
        inversion, sugars, lime = (estimate(part[:, place]) for part in parts)
        clear = ph + targets.ph_clear - targets.ph_limed
        return Cost(ph, clear, estimate(totals[:, place]), inversion, sugars, lime)

    # The pH axis is fine enough that the nearest point stands for the target.
    target = int(np.argmin(np.abs(phs - targets.ph_limed)))
    within = FLAT_SHARE * float(parts[0, 0, best] + parts[1, 0, best])
    flat = phs[totals[0] <= totals[0, best] + within]
    every = round(0.1 / STEP_PH)
    return Setpoint(
        best_ph=estimate(cheapest),
        at_best=cost(best),
        at_target=cost(target),
        saving=estimate(totals[:, target] - totals[:, best]),
        flat=(float(flat[0]), float(flat[-1])),
        flat_within=within,
        curve=tuple(cost(place) for place in range(0, len(phs), every)),
        at_edge=best in (0, len(phs) - 1),
    )


def _day_at_targets(station: Station, belief: Belief) -> _Day:
    """Inversion (multiplier 1) and destruction a day at targets, by the derivation itself."""
    unmeasured = Station(station.vessels, (), (), station.targets, belief.kinetics)
    minute = pl.Series("ts_utc", [datetime(2000, 1, 1, tzinfo=UTC)], pl.Datetime("us", "UTC"))
    derived = derive(pl.DataFrame([minute]), unmeasured)
    limed = derived.zone_minutes.filter(pl.col("w_ph_limed") + pl.col("w_ph_clear") > 0.0)
    tonnes = _HOURS / 1000.0
    targets = station.targets
    juice_t_h = targets.flow_feed_m3_h * density_kg_m3(targets.brix_pct, 25.0) / 1000.0
    lime = BUFFER_MEQ_KG_PH_BRIX * targets.brix_pct * _CAO_G_EQ * 1e-6
    return _Day(
        limed["temp_degc"].to_numpy(),
        limed["loss_kg_h"].to_numpy() * tonnes,
        limed["rs_destroyed_kg_h"].to_numpy() * tonnes,
        float(juice_t_h * _HOURS * lime),
    )


def _parts(
    day: _Day, belief: Belief, draws: Draws, prices: Prices, above_target: FloatArray
) -> FloatArray:
    """Cost of inversion, destruction and lime above target, shape (3, draws, pH) [currency/day]."""
    kinetics = belief.kinetics
    warmer = day.temp_degc - kinetics.ph_ref_degc
    steeper = draws.ph_slope - kinetics.ph_slope
    inverted_t = draws.multiplier * (10.0 ** -np.outer(steeper, warmer) @ day.inverted_t)
    destroyed_t = draws.rs_rate_ph7_1_h / kinetics.rs_rate_ph7_1_h * day.destroyed_t.sum()
    return np.stack(
        (
            prices.sucrose * np.outer(inverted_t, 10.0**-above_target),
            prices.reducing_sugar * np.outer(destroyed_t, _RS_PER_PH**above_target),
            prices.lime * day.lime_t_ph * np.outer(draws.acid, above_target),
        )
    )
