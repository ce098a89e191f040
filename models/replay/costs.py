"""What a change costs beside what it saves: lime, reducing sugars, water, room to settle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from features.advice import USUAL_PH, Prices
from features.base import Station
from features.flow import Derived, overflow_velocity_m_h, settling_correction
from features.juice import density_kg_m3
from features.kinetics import CAO_G_EQ
from features.replay import Rerun, station_column, zone_columns
from models.base import Array

LIME: Final = "lime, as CaO"
SUGARS: Final = "reducing sugars destroyed, which colours the juice"
WATER: Final = "water to evaporate"
SETTLING: Final = "settling margin"
_JUICE_DEGC: Final = 25.0
#: Dissolved solids to which the buffer belongs [% Brix].
_BUFFER_BRIX: Final = 14.5


@dataclass(frozen=True)
class Cost:
    """One cost of a change.

    Attributes
    ----------
    what : str
    amount : float
        More of it than recorded; of the settling margin, how much is gained or, below 0, used up.
    unit : str
    value : float or None
        What it costs [currency]; None where it has no price here.
    """

    what: str
    amount: float
    unit: str
    value: float | None


def costs_of(run: Rerun, shares: tuple[Array, Array], prices: Prices) -> tuple[Cost, ...]:
    """Costs of a replay.

    Parameters
    ----------
    run : Rerun
    shares : tuple of ndarray
        How far each minute of record and replay counts [h]: 1/60 in the period, for the same
        sucrose fed, and 0 outside.
    prices : Prices

    Returns
    -------
    tuple of Cost
        Lime and reducing sugars always; water where there is more or less; the settling margin
        where a settler's area is known.
    """
    was_h, now_h = shares
    station = run.station
    lime = _lime_t(run.replayed, station, now_h) - _lime_t(run.recorded, station, was_h)
    sugars = _destroyed_t(run.replayed, now_h) - _destroyed_t(run.recorded, was_h)
    water = _water_t(run.replayed, now_h) - _water_t(run.recorded, was_h)
    found = [
        Cost(LIME, lime, "t", prices.lime * lime),
        Cost(SUGARS, sugars, "t", prices.reducing_sugar * sugars),
    ]
    if abs(water) > 1e-6:
        found.append(Cost(WATER, water, "t", None))
    margin = _margin_pct(run, was_h > 0.0, now_h > 0.0)
    if margin is not None:
        found.append(Cost(SETTLING, margin, "%", None))
    return tuple(found)


def settles_badly_pct(run: Rerun, inside: NDArray[np.bool_]) -> tuple[float, float]:
    """Share of minutes with a limed pH at which juice settles badly, recorded and replayed [%].

    Parameters
    ----------
    run : Rerun
    inside : ndarray of bool, shape (m,)
        Minutes of the period in the replay.
    """
    found = []
    for derived, rows in ((run.recorded, run.inside), (run.replayed, inside)):
        ph = station_column(derived, "ph_limed")[rows]
        ph = ph[np.isfinite(ph)]
        badly = (ph < USUAL_PH[0]) | (ph > USUAL_PH[1])
        found.append(100.0 * float(badly.mean()) if badly.size else 0.0)
    return found[0], found[1]


def _juice_kg_h(derived: Derived, station: Station) -> tuple[Array, Array]:
    """Juice fed [kg/h] and its Brix [%]; 0 where unknown."""
    brix = station_column(derived, "brix_feed_pct")
    brix = np.where(np.isfinite(brix), brix, station.targets.brix_pct)
    flow = np.nan_to_num(station_column(derived, "flow_feed_m3_h"))
    return np.asarray(flow * density_kg_m3(brix, _JUICE_DEGC)), brix


def _lime_t(derived: Derived, station: Station, hours: Array) -> float:
    """Lime that takes the juice to its limed pH, less what does not change [t CaO]."""
    juice, brix = _juice_kg_h(derived, station)
    ph = station_column(derived, "ph_limed")
    ph = np.where(np.isfinite(ph), ph, station.targets.ph_limed)
    taken = (
        station.kinetics.buffer_meq_kg_ph * brix / _BUFFER_BRIX * (ph - station.targets.ph_mixed)
    )
    return float(np.sum(juice * taken * CAO_G_EQ * 1e-9 * hours))


def _destroyed_t(derived: Derived, hours: Array) -> float:
    zones = zone_columns(derived, "rs_destroyed_kg_h").values()
    return sum(float(np.sum(np.nan_to_num(values) * hours)) for values in zones) / 1000.0


def _water_t(derived: Derived, hours: Array) -> float:
    flow = np.nan_to_num(station_column(derived, "imbibition_m3_h"))
    return float(np.sum(flow * hours))


def _margin_pct(run: Rerun, was: NDArray[np.bool_], now: NDArray[np.bool_]) -> float | None:
    """How much more load the settlers could take than before, at the same clearness [%]."""
    settlers = [v for v in run.station.of_kind("settler") if v.area_m2]
    ratios = []
    for vessel in settlers:
        area = float(vessel.area_m2 or 0.0)
        loads, juices = [], []
        for derived, rows in ((run.recorded, was), (run.replayed, now)):
            out, degc, brix = (
                zone_columns(derived, name)[vessel.name][rows]
                for name in ("flow_out_m3_h", "temp_degc", "brix_pct")
            )
            flowing = np.isfinite(out) & (out > 0.0) & np.isfinite(degc) & np.isfinite(brix)
            if not flowing.any():
                break
            loads.append(float(np.mean(overflow_velocity_m_h(out[flowing], area))))
            juices.append((float(np.mean(brix[flowing])), float(np.mean(degc[flowing]))))
        if len(loads) == 2:
            faster = float(settling_correction(*juices[1], *juices[0]))
            ratios.append(faster * loads[0] / loads[1])
    return 100.0 * (min(ratios) - 1.0) if ratios else None
