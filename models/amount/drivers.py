"""Excess loss, split exactly between what drove it.

In every zone the loss is the loss at the station's targets times factors: pH as the liming sets it,
the fall of pH on the way, temperature, Brix, volume held, and throughput in the inverse. Shapley
values over these factors give each driver a share of what lies above the mill's own usual: every
factor at its slow median, the sucrose as fed. The shares add up to that excess, minute by minute.

Against the usual and not against the targets: factors multiply, so a mill that runs sour every day
loses more by the same ten kelvin than its targets suggest. What follows from a driver is its own:
slow juice is older juice and sours for longer, and so do mud that is held and the juice behind a
fuller tank, and juice that is boiled hotter behind the last probe. Slow juice also cools: what that
saves is taken off what the extra time costs, as is the room that held mud takes from clear juice.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from features.base import Station
from features.kinetics import shapley_of_product
from models.amount.baseline import season_where_missing, slow_baseline
from models.amount.cooling import cooled_by_age
from models.amount.souring import PhParts, ph_parts
from models.base import Array, Minutes, nan_sum

#: Every driver there is; tests hold the shares and the report's words against it.
DRIVERS = ("ph", "drop", "temperature", "brix", "volume", "held", "throughput")
#: A usual factor is never taken for zero: it divides.
_LEAST = 1e-6


@dataclass(frozen=True)
class Excess:
    """Loss, loss at targets, and what drives the loss off its usual; at kinetic multiplier 1.

    Attributes
    ----------
    by_driver : dict of (zone, driver) to ndarray, shape (n,)
        Contribution to the excess over the usual [kg/h]; NaN where the driver was not measured.
    loss_kg_h, reference_kg_h : dict of zone to ndarray, shape (n,)
        Loss with the corrected pH, and the loss of the same feed at targets [kg/h]; what was not
        measured counts at its season median.
    measured : ndarray of bool, shape (n,)
        False where some of it was not measured.
    usual_kg_h : dict of zone to ndarray, shape (n,)
        Loss of the same feed with every factor at its usual [kg/h]: what the shares of all drivers
        add up from.
    """

    by_driver: dict[tuple[str, str], Array]
    loss_kg_h: dict[str, Array]
    reference_kg_h: dict[str, Array]
    measured: NDArray[np.bool_]
    usual_kg_h: dict[str, Array] = field(default_factory=dict)

    def driver(self, driver: str, zones: list[str] | None = None) -> Array:
        """Sum of one driver over zones, NaN where it is known in none of them."""
        chosen = [
            v
            for (z, d), v in self.by_driver.items()
            if d == driver and (zones is None or z in zones)
        ]
        stack = np.stack(chosen)
        return np.where(np.isfinite(stack).any(axis=0), np.nansum(stack, axis=0), np.nan)

    @property
    def total(self) -> Array:
        """Excess of the whole train over its targets [kg/h]."""
        return nan_sum(self.loss_kg_h) - nan_sum(self.reference_kg_h)


def split_excess(
    minutes: Minutes, station: Station, bias_limed: Array, bias_clear: Array
) -> Excess:
    """Split each zone's excess between its drivers, with the pH corrected for probe bias.

    Parameters
    ----------
    minutes : Minutes
    station : Station
    bias_limed, bias_clear : ndarray, shape (n,)
        Probe reading minus truth [pH] of the limed- and the clear-juice probe.

    Returns
    -------
    Excess

    Notes
    -----
    A probe that reads high by b means true pH lower by b and a rate 10**b times higher; in a zone
    the two probes count with the weights with which they entered its pH. Where the limed juice was
    not measured, the whole of a low pH is `drop`.
    """
    by_driver: dict[tuple[str, str], Array] = {}
    loss: dict[str, Array] = {}
    reference: dict[str, Array] = {}
    ordinary: dict[str, Array] = {}
    known = np.ones(minutes.n, dtype=bool)
    parts, running = ph_parts(minutes, station, bias_limed), minutes.usual
    cooled = cooled_by_age(minutes, station)
    for zone, col in minutes.zones.items():
        correction = 10.0 ** (col["w_ph_limed"] * bias_limed + col["w_ph_clear"] * bias_clear)
        one = np.ones(minutes.n)
        by = (correction, cooled.get(zone, one), _room(minutes, station, zone))
        measured, older = _factors(zone, col, by, parts)
        filled = {name: season_where_missing(values) for name, values in measured.items()}
        usual = {
            name: np.maximum(slow_baseline(values, running), _LEAST)
            for name, values in filled.items()
        }
        flow = filled["throughput"]
        base = season_where_missing(col["ref_kg_h"])
        actual = {**filled, "throughput": older}
        as_baseline = {**usual, "throughput": flow / usual["throughput"]}
        for name, share in shapley_of_product(base, actual, as_baseline).items():
            by_driver[zone, name] = np.where(np.isfinite(measured[name]), share, np.nan)
        loss[zone] = base * np.prod(list(actual.values()), axis=0)
        ordinary[zone] = base * np.prod(list(as_baseline.values()), axis=0)
        reference[zone] = base * flow
        known &= np.isfinite(col["loss_kg_h"]) & np.isfinite(col["loss_ref_kg_h"])
    return Excess(by_driver, loss, reference, known, ordinary)


def _factors(
    zone: str, col: dict[str, Array], by: tuple[Array, Array, Array], parts: PhParts
) -> tuple[dict[str, Array], Array]:
    """Factors of a zone's loss by driver, and what the age of the juice does to it.

    `by` is what corrects its pH, what cooling with age does to its rate, and the room mud leaves.
    """
    correction, cool, room = by
    lower = col["w_ph_limed"] * parts.limed + col["w_ph_clear"] * parts.limed_at_clear
    seen = np.isfinite(lower)
    limed = 10.0 ** np.where(seen, lower, 0.0)
    older = 10.0 ** (np.nan_to_num(col["w_ph_clear"]) * parts.older)
    mud = 10.0 ** parts.older_mud.get(zone, np.zeros(len(older)))
    behind = 10.0 ** parts.older_tank.get(zone, np.zeros(len(older)))
    fuller = 10.0 ** parts.older_inside.get(zone, np.zeros(len(older)))
    hot = 10.0 ** parts.hotter.get(zone, np.zeros(len(older)))
    factors = {
        "ph": np.where(seen, limed, np.nan),
        "drop": col["f_ph"] * correction / (limed * older * mud * behind * fuller * hot),
        "temperature": col["f_temp"] * hot / cool,
        "brix": col["f_brix"],
        "volume": col["f_volume"] * mud * fuller / room,
        "held": behind * room,
        "throughput": col["f_flow"],
    }
    return factors, older * cool


def _room(minutes: Minutes, station: Station, zone: str) -> Array:
    """Share of a settler's clear zone that its mud leaves, 1 with the mud at target [-]."""
    mud = minutes.zones.get(f"{zone}:mud")
    settler = next((v for v in station.vessels if v.name == zone), None)
    if mud is None or settler is None:
        return np.ones(minutes.n)
    target_m3 = 0.01 * settler.mud_level_pct * settler.mud_volume_m3
    over = season_where_missing(mud["volume_m3"], target_m3) - target_m3
    return np.maximum(1.0 - over / settler.volume_m3, 0.1)
