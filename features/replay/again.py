"""A recorded period run through the station again with something changed.

What is changed acts on its readings (`features.replay.apply`); then the juice is followed through
the train anew. What the clear-juice probe would have read follows from what it did read: by as much
as the limed juice it came from was moved, and less acid, or more, was made on the way. So a fall of
pH that the record holds, and nobody explains, stays as it was.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import BoolArray, FloatArray, Station
from features.flow import Derived, derive, souring_1_min
from features.kinetics import LN3, rs_destruction_1_h
from features.replay.age import carried, cooled_by_age
from features.replay.apply import Scene, apply, with_all
from features.replay.change import Change
from features.replay.own_mud import with_own_mud
from features.replay.readings import (
    Readings,
    ph_columns,
    put_right,
    readings_of,
    station_column,
    with_probes,
    zone_columns,
)
from features.replay.stop import rearranged, rows_with_stop

#: Share of the way from limed to clear juice that stands near the clear juice's pH (estimate): how
#: far a moved clear-juice pH moves the acid made there.
_NEAR_CLEAR = 0.85
_ROUNDS = 6


@dataclass(frozen=True, slots=True, eq=False)
class Rerun:
    """The record and the same once more, changed.

    Attributes
    ----------
    recorded, replayed : Derived
        As followed through the station, multiplier 1; the same object where nothing was changed.
    source : ndarray of int, shape (m,)
        Row of the record behind each row of the replay.
    inside : ndarray of bool, shape (n,)
        Rows of the period, in the record.
    station : Station
        With stand-ins for what no tag reads.
    """

    recorded: Derived
    replayed: Derived
    source: NDArray[np.intp]
    inside: BoolArray
    station: Station


@dataclass(frozen=True, slots=True, eq=False)
class Recorded:
    """A record made ready, to be run again as often as is asked.

    Attributes
    ----------
    readings : Readings
    derived : Derived
    inside : ndarray of bool, shape (n,)
    """

    readings: Readings
    derived: Derived
    inside: BoolArray


def recorded(
    grid: pl.DataFrame,
    station: Station,
    inside: BoolArray,
    biases: Mapping[str, FloatArray] | None = None,
) -> Recorded:
    """Make a record ready.

    Parameters
    ----------
    grid : polars.DataFrame
        As `features.flow.derive` takes it; a day or two before the period, and some hours behind.
    station : Station
    inside : ndarray of bool, shape (n,)
        Minutes of the period.
    biases : mapping of str to ndarray, shape (n,), optional
        What the pH probes of ``limed`` and ``clear`` juice read too high [pH].

    Returns
    -------
    Recorded
    """
    readings = readings_of(grid, station)
    readings = with_probes(put_right(readings, derive(grid, station), biases or {}))
    return Recorded(readings, derive(readings.grid(), readings.station), inside)


def rerun(record: Recorded, changes: Sequence[Change]) -> Rerun:
    """Run a record through the station again.

    Parameters
    ----------
    record : Recorded
    changes : sequence of Change
        Each acts on what those before it left.

    Returns
    -------
    Rerun

    Raises
    ------
    ValueError
        A change has nothing to act on; in words for a person.
    """
    acting = tuple(c for c in changes if not c.nothing)
    rows = np.arange(record.readings.rows)
    if not acting:
        station = record.readings.station
        return Rerun(record.derived, record.derived, rows, record.inside, station)
    readings = with_all(record.readings, record.derived, acting)
    derived = record.derived
    if readings is not record.readings:
        derived = derive(readings.grid(), readings.station)
    source, stops = rows, [c for c in acting if c.what == "stop_h"]
    now, inside = readings, record.inside
    for change in (c for c in acting if c.what != "stop_h"):
        here = derived if now is readings else derive(now.grid(), now.station)
        now = apply(Scene(now, here, inside), change)
    for change in stops[-1:]:
        stopped = station_column(derived, "stopped") > 0.5
        source, _, _ = rows_with_stop(stopped, inside, change)
        now = rearranged(now, source)
    held = {c.place for c in acting if c.what == "temp_degc"}
    replayed = _followed(now, derived, source, held)
    return Rerun(derived, replayed, source, inside, readings.station)


def _followed(now: Readings, derived: Derived, source: NDArray[np.intp], held: set[str]) -> Derived:
    """Follow the juice; what depends on its age and pH reads what it would have read."""
    first = derive(now.grid(), now.station)
    columns = cooled_by_age(now, derived, first, source, held)
    shift = _clear_shift(now.station, derived, first, source)
    if np.any(shift):
        columns |= {name: now.columns[name] + shift for name in ph_columns(now, "clear")}
    again = derive(now.changed(columns).grid(), now.station) if columns else first
    return with_own_mud(again, station_column(derived, "ph_clear")[source], now.station)


def _clear_shift(
    station: Station, derived: Derived, first: Derived, source: NDArray[np.intp]
) -> FloatArray:
    """How far clear juice is moved [pH]: limed pH brought, fall done, acid made on the way."""
    limed, was_limed = (station_column(d, "ph_limed_at_clear") for d in (first, derived))
    brought = carried(limed - was_limed[source])
    acid = carried(_acid(station, first))
    was_acid = carried(_acid(station, derived))[source]
    clear = station_column(derived, "ph_clear")
    fall = carried(was_limed - clear)[source] - was_acid
    further = fall * (_done(station, first) / _done(station, derived)[source] - 1.0)
    shift = brought - further
    for _ in range(_ROUNDS):
        made = acid * np.exp(LN3 * _NEAR_CLEAR * shift)
        shift = brought - further - (made - was_acid)
    return np.asarray(np.where(np.abs(shift) > 1e-9, shift, 0.0))


def _acid(station: Station, derived: Derived) -> FloatArray:
    """Fall of pH by acid made between liming and the settlers' outlet [pH]."""
    destroyed = station_column(derived, "rs_destroyed_pred_pct")
    per_dose = (
        60.0
        * souring_1_min(station, 97.0)
        / rs_destruction_1_h(7.0, 97.0, station.kinetics.rs_rate_ph7_1_h)
        if station.kinetics.rs_rate_ph7_1_h > 0.0
        else 0.0
    )
    return np.asarray(-np.log1p(-np.minimum(destroyed, 99.0) / 100.0) * per_dose)


def _done(station: Station, derived: Derived) -> FloatArray:
    """Share of the settlers' fall of pH that is done at their outlet [-]."""
    stays = zone_columns(derived, "residence_min")
    shares = []
    for vessel in station.of_kind("settler"):
        stay = carried(stays[vessel.name])
        cells = max(vessel.tanks, 1)
        shares.append(1.0 - (1.0 + stay / (cells * max(vessel.ph_fall_min, 1e-3))) ** -cells)
    if not shares:
        return np.ones(derived.station_minutes.height)
    return np.maximum(np.mean(shares, axis=0), 1e-3)
