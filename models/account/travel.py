"""How long the juice takes to each place of the station, minute by minute."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from features.base import Signal, Station, Vessel
from models.account.order import half_through_min, held_in_stops
from models.base import Array, Minutes

#: Quantities that the juice carries, or that act on the juice passing by: they are seen in the
#: time of the parcel. Flows and levels move everywhere at once and stay on the clock.
CARRIED = frozenset(
    {
        *("ph", "temperature", "brix", "turbidity", "conductivity"),
        *("steam_pressure", "lime_flow", "flocculant_flow"),
    }
)


@dataclass(frozen=True)
class Way:
    """Time from the station's inlet to a place, over the clock minutes at that place.

    Attributes
    ----------
    mean_min, sd_min : ndarray, shape (n,)
        Mean and standard deviation over the juice of a parcel [min].
    """

    mean_min: Array
    sd_min: Array

    @property
    def half_min(self) -> Array:
        """Time by which half of a parcel is there [min]."""
        return half_through_min(self.mean_min, self.sd_min)


def ways(minutes: Minutes, station: Station) -> dict[tuple[str, str], Way]:
    """Way to the inlet, the middle and the outlet of each vessel, and of each settler's mud.

    Parameters
    ----------
    minutes : Minutes
        With ``residence_min`` and ``residence_sd_min`` of each zone.
    station : Station

    Returns
    -------
    dict of (vessel, port) to Way
        Ports ``in``, ``inside``, ``out`` and ``mud``. Vessels of one step take their juice from
        the mean of the step before; a vessel whose residence is not known adds nothing.
    """
    nothing = np.zeros(minutes.n)
    before = Way(nothing, nothing)
    found: dict[tuple[str, str], Way] = {}
    for step in station.in_flow_order:
        for vessel in step:
            found |= _through(minutes, vessel, before)
        outs = [found[vessel.name, "out"] for vessel in step]
        before = Way(
            np.mean([way.mean_min for way in outs], axis=0),
            np.mean([way.sd_min for way in outs], axis=0),
        )
    return found


def _through(minutes: Minutes, vessel: Vessel, before: Way) -> dict[tuple[str, str], Way]:
    out = _later(minutes, vessel.name, before, 1.0)
    # What leaves a mixed vessel is what is inside it; in a row of cells the middle comes half-way.
    inside = out if vessel.tanks == 1 else _later(minutes, vessel.name, before, 0.5)
    ways_here = {(vessel.name, "in"): before, (vessel.name, "inside"): inside}
    ways_here[vessel.name, "out"] = out
    if f"{vessel.name}:mud" in minutes.zones:
        ways_here[vessel.name, "mud"] = _later(minutes, f"{vessel.name}:mud", before, 1.0)
    return ways_here


def _later(minutes: Minutes, zone: str, before: Way, share: float) -> Way:
    """Way to a point inside or behind a zone: its residence, and the way there before that."""
    columns = minutes.zones.get(zone)
    if columns is None:
        return before
    stay = share * held_in_stops(columns["residence_min"], minutes.stopped)
    spread = np.sqrt(share) * held_in_stops(columns["residence_sd_min"], minutes.stopped)
    clock = np.arange(minutes.n, dtype=float)
    earlier_mean = np.interp(clock - stay, clock, before.mean_min)
    earlier_sd = np.interp(clock - stay, clock, before.sd_min)
    return Way(stay + earlier_mean, np.hypot(spread, earlier_sd))


def delay_min(signal: Signal, known: Mapping[tuple[str, str], Way], n: int) -> Array:
    """Time by which a signal is moved back onto parcel time [min], shape (n,).

    Zero for what stays on the clock and for what is read before the station.
    """
    way = known.get((signal.place, signal.port or "inside"))
    if way is None or signal.quantity not in CARRIED:
        return np.zeros(n)
    return way.half_min
