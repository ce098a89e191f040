"""Excess loss, split exactly between what drove it.

In every zone the loss is the loss at the station's targets times five factors (pH, temperature,
Brix, volume held, and throughput in the inverse). Shapley values over these factors give each
driver a share; the shares add up to the whole excess, minute by minute.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from features.loss import shapley_of_product
from models.minutes import Minutes
from models.series import Array

DRIVERS = ("ph", "temperature", "brix", "volume", "throughput")


@dataclass(frozen=True)
class Excess:
    """Excess loss over the reference, by zone and driver, at kinetic multiplier 1.

    Attributes
    ----------
    by_driver : dict of (zone, driver) to ndarray, shape (n,)
        Contribution [kg/h]; NaN where the zone's loss is unknown.
    loss_kg_h, reference_kg_h : dict of zone to ndarray, shape (n,)
        Loss with the corrected pH, and the loss of the same feed at targets [kg/h].
    """

    by_driver: dict[tuple[str, str], Array]
    loss_kg_h: dict[str, Array]
    reference_kg_h: dict[str, Array]

    def driver(self, driver: str, zones: list[str] | None = None) -> Array:
        """Sum of one driver over zones; a zone that is unknown counts as zero."""
        chosen = [
            v
            for (z, d), v in self.by_driver.items()
            if d == driver and (zones is None or z in zones)
        ]
        return np.nansum(np.stack(chosen), axis=0)

    @property
    def total(self) -> Array:
        """Excess of the whole train [kg/h], NaN where no zone is known."""
        stack = np.stack([self.loss_kg_h[z] - self.reference_kg_h[z] for z in self.loss_kg_h])
        return np.where(np.isfinite(stack).any(axis=0), np.nansum(stack, axis=0), np.nan)


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
    for zone, col in minutes.zones.items():
        correction = 10.0 ** (col["w_ph_limed"] * bias_limed + col["w_ph_clear"] * bias_clear)
        actual = {
            "ph": col["f_ph"] * correction,
            "temperature": col["f_temp"],
            "brix": col["f_brix"],
            "volume": col["f_volume"],
            "throughput": np.ones(minutes.n),
        }
        at_target = {name: np.ones(minutes.n) for name in actual} | {"throughput": col["f_flow"]}
        shares = shapley_of_product(col["ref_kg_h"], actual, at_target)
        by_driver |= {(zone, name): value for name, value in shares.items()}
        loss[zone] = col["loss_kg_h"] * correction
        reference[zone] = col["loss_ref_kg_h"]
    return Excess(by_driver, loss, reference)
