"""Excess loss, split exactly between what drove it.

In every zone the loss is the loss at the station's targets times five factors (pH, temperature,
Brix, volume held, and throughput in the inverse). Shapley values over these factors give each
driver a share; the shares add up to the whole excess, minute by minute.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from features.loss import shapley_of_product
from models.minutes import Minutes
from models.series import Array, nan_sum

DRIVERS = ("ph", "temperature", "brix", "volume", "throughput")


@dataclass(frozen=True)
class Excess:
    """Excess loss over the reference, by zone and driver, at kinetic multiplier 1.

    Attributes
    ----------
    by_driver : dict of (zone, driver) to ndarray, shape (n,)
        Contribution [kg/h]; NaN where the driver was not measured.
    loss_kg_h, reference_kg_h : dict of zone to ndarray, shape (n,)
        Loss with the corrected pH, and the loss of the same feed at targets [kg/h]; what was not
        measured counts at its season median.
    measured : ndarray of bool, shape (n,)
        False where some of it was not measured.
    """

    by_driver: dict[tuple[str, str], Array]
    loss_kg_h: dict[str, Array]
    reference_kg_h: dict[str, Array]
    measured: NDArray[np.bool_]

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
        """Excess of the whole train [kg/h]."""
        return nan_sum(self.loss_kg_h) - nan_sum(self.reference_kg_h)


def split_excess(minutes: Minutes, bias_limed: Array, bias_clear: Array) -> Excess:
    """Split each zone's excess between its drivers, with the pH corrected for probe bias.

    Parameters
    ----------
    minutes : Minutes
    bias_limed, bias_clear : ndarray, shape (n,)
        Probe reading minus truth [pH] of the limed- and the clear-juice probe.

    Returns
    -------
    Excess

    Notes
    -----
    A probe that reads high by b means true pH lower by b and a rate 10**b times higher; in a zone
    the two probes count with the weights with which they entered its pH.
    """
    by_driver: dict[tuple[str, str], Array] = {}
    loss: dict[str, Array] = {}
    reference: dict[str, Array] = {}
    known = np.ones(minutes.n, dtype=bool)
    for zone, col in minutes.zones.items():
        correction = 10.0 ** (col["w_ph_limed"] * bias_limed + col["w_ph_clear"] * bias_clear)
        measured = {
            "ph": col["f_ph"] * correction,
            "temperature": col["f_temp"],
            "brix": col["f_brix"],
            "volume": col["f_volume"],
            "throughput": col["f_flow"],
        }
        filled = {name: _usual_where_missing(values) for name, values in measured.items()}
        ones = np.ones(minutes.n)
        actual = {**filled, "throughput": ones}
        at_target = dict.fromkeys(filled, ones) | {"throughput": filled["throughput"]}
        base = _usual_where_missing(col["ref_kg_h"])
        for name, share in shapley_of_product(base, actual, at_target).items():
            by_driver[zone, name] = np.where(np.isfinite(measured[name]), share, np.nan)
        loss[zone] = base * np.prod([actual[name] for name in DRIVERS], axis=0)
        reference[zone] = base * filled["throughput"]
        known &= np.isfinite(col["loss_kg_h"]) & np.isfinite(col["loss_ref_kg_h"])
    return Excess(by_driver, loss, reference, known)


def _usual_where_missing(values: Array) -> Array:
    """Season median in place of what was not measured.

    One silent probe must not silence the drivers that were measured; its own share stays unknown.
    """
    known = np.isfinite(values)
    return np.where(known, values, np.median(values[known]) if known.any() else 1.0)
