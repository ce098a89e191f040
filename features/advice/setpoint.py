"""The limed-juice pH that costs least: sucrose inverts below it, reducing sugars go above it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Final

import numpy as np
import polars as pl

from features.base import FloatArray, Station
from features.flow import derive
from features.juice import density_kg_m3
from features.kinetics import CAO_G_EQ, Draws, Estimate, Prior, draw, estimate

#: Limed pH between which costs are worked out, and their spacing [-].
LOWEST_PH, HIGHEST_PH, STEP_PH = 6.6, 8.6, 0.02
#: Limed pH at which juice settles well (common practice; its upper end judgement): outside it juice
#: settles badly, which no curve here counts.
USUAL_PH: Final = (7.2, 7.8)
#: A pH counts as no worse when it costs less than this share of the destruction at the best one.
FLAT_SHARE = 0.1
#: Limed pH for which the station is derived lie so far apart [-].
DERIVED_PH = 0.2
_HOURS = 24.0
#: Stands in for nothing where a logarithm or a quotient is taken.
_LEAST = 1e-12


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
    advised : tuple of float
        pH range to run at [-]: within `USUAL_PH`, where juice settles well, all that costs less
        than `flat_within` more than the cheapest pH there. Scale has no price here: it grows with
        lime and speaks for the lower end.
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
    advised: tuple[float, float]
    curve: tuple[Cost, ...]
    at_edge: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Days:
    """A day at targets for each limed pH: tonnes of each zone from liming on, multiplier 1.

    Attributes
    ----------
    temp_degc : ndarray, shape (zones,)
        Juice temperature [degC].
    inverted_t, destroyed_t : ndarray, shape (zones, pH)
        Sucrose inverted and reducing sugars destroyed [t/day].
    lime_t : ndarray, shape (pH,)
        Lime as CaO that takes the juice there from the pH of mixed juice [t/day].
    """

    temp_degc: FloatArray
    inverted_t: FloatArray
    destroyed_t: FloatArray
    lime_t: FloatArray


def advise(station: Station, prices: Prices, prior: Prior) -> Setpoint:
    """Weigh sucrose inverted against reducing sugars destroyed and lime, over limed pH.

    Parameters
    ----------
    station : Station
        Vessels and targets; its own kinetics are not used.
    prices : Prices
        What a tonne of each is worth.
    prior : Belief
        Kinetics, and how far they are known.

    Returns
    -------
    Setpoint
        Best limed pH, with intervals from the kinetics; prices are taken as exact.

    Raises
    ------
    ValueError
        If the station has no vessels, none of limed juice, or no target feed.

    Notes
    -----
    The station runs all day at its targets, derived anew for limed pH `DERIVED_PH` apart; in
    between, logarithms run straight. Clear-juice pH is taken to move with limed pH, the fall
    across the settler unchanged.
    """
    targets = station.targets
    phs = np.round(np.arange(LOWEST_PH, HIGHEST_PH + STEP_PH / 2, STEP_PH), 6)
    days, draws = _days_at_targets(station, prior, phs), draw(prior)
    parts = _parts(days, prior, draws, prices)
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
        advised=_advised(phs, totals[0], within),
        curve=tuple(cost(place) for place in range(0, len(phs), every)),
        at_edge=best in (0, len(phs) - 1),
    )


def _advised(phs: FloatArray, totals: FloatArray, within: float) -> tuple[float, float]:
    """Range of pH to run at, none of it where juice settles badly [-]."""
    settles = (phs >= USUAL_PH[0] - 1e-9) & (phs <= USUAL_PH[1] + 1e-9)
    cheap = phs[settles & (totals <= totals[settles].min() + within)]
    return float(cheap[0]), float(cheap[-1])


def _days_at_targets(station: Station, prior: Prior, phs: FloatArray) -> _Days:
    """Work out a day at targets for each limed pH, by the derivation itself."""
    derived_at = np.arange(phs[0], phs[-1] + DERIVED_PH / 2, DERIVED_PH)
    frames = [_zones_at(station, prior, float(ph)) for ph in derived_at]

    def between(column: str) -> FloatArray:
        tonnes = np.array([frame[column].to_numpy() for frame in frames])
        known = np.log(np.maximum(tonnes, _LEAST))
        return np.exp([np.interp(phs, derived_at, zone) for zone in known.T]) * _HOURS / 1000.0

    targets = station.targets
    juice_t_h = targets.flow_feed_m3_h * density_kg_m3(targets.brix_pct, 25.0) / 1000.0
    taken_meq_kg = prior.kinetics.buffer_meq_kg_ph * (phs - targets.ph_mixed)
    return _Days(
        frames[0]["temp_degc"].to_numpy(),
        between("loss_kg_h"),
        between("rs_destroyed_kg_h"),
        _HOURS * float(juice_t_h) * taken_meq_kg * CAO_G_EQ * 1e-6,
    )


def _zones_at(station: Station, prior: Prior, ph_limed: float) -> pl.DataFrame:
    """One minute at targets but for the limed pH; zones from liming on."""
    fall = station.targets.ph_limed - station.targets.ph_clear
    targets = replace(station.targets, ph_limed=ph_limed, ph_clear=ph_limed - fall)
    unmeasured = Station(station.vessels, (), (), targets, prior.kinetics)
    minute = pl.Series("ts_utc", [datetime(2000, 1, 1, tzinfo=UTC)], pl.Datetime("us", "UTC"))
    zones = derive(pl.DataFrame([minute]), unmeasured).zone_minutes
    limed = zones.filter(pl.col("w_ph_limed") + pl.col("w_ph_clear") > 0.0)
    if limed.is_empty():
        raise ValueError("advise: no vessel holds limed juice; describe the vessels after liming")
    return limed


def _parts(days: _Days, prior: Prior, draws: Draws, prices: Prices) -> FloatArray:
    """Cost of inversion, destruction and lime, shape (3, draws, pH) [currency/day]."""
    kinetics = prior.kinetics
    steeper = draws.ph_slope - kinetics.ph_slope
    warmer = days.temp_degc - kinetics.ph_ref_degc
    faster = draws.multiplier[:, None] * 10.0 ** -np.outer(steeper, warmer)
    destroying = draws.rs_rate_ph7_1_h / max(kinetics.rs_rate_ph7_1_h, _LEAST)
    buffered = draws.buffer_meq_kg_ph / kinetics.buffer_meq_kg_ph
    return np.stack(
        (
            prices.sucrose * (faster @ days.inverted_t),
            prices.reducing_sugar * np.outer(destroying, days.destroyed_t.sum(axis=0)),
            prices.lime * np.outer(buffered, days.lime_t),
        )
    )
