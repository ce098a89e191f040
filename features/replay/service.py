"""A settler or tank taken out of service, or put in: its juice goes through those beside it."""

from __future__ import annotations

import numpy as np

from features.base import BoolArray, FloatArray, Port, Station, Vessel
from features.flow import Derived
from features.replay.change import Change
from features.replay.readings import CONTENT, Readings, zone_columns

#: What is left in a vessel out of service [% of its level] and the time in which it is emptied or
#: filled [min] (judgement).
_EMPTY_PCT, _CHANGE_MIN = 1.0, 60.0
_INLET: tuple[Port, ...] = ("in", "")


def beside(station: Station, vessel: Vessel) -> tuple[Vessel, ...]:
    """Vessels of the same step, without the vessel itself."""
    return tuple(v for v in station.vessels if v.step == vessel.step and v.name != vessel.name)


def out_of_service(
    readings: Readings, derived: Derived, inside: BoolArray, change: Change
) -> Readings:
    """Readings with one of several vessels of a step out of, or in, service.

    Parameters
    ----------
    readings : Readings
        With a level of the vessel.
    derived : Derived
        Of them.
    inside : ndarray of bool, shape (n,)
        Minutes of the change.
    change : Change
        ``in_service``, 0 or 1.

    Returns
    -------
    Readings
        Flow goes to the vessels in service by volume.

    Raises
    ------
    ValueError
        The vessel stands alone at its step.
    """
    station = readings.station
    vessel = next(v for v in station.vessels if v.name == change.place)
    others = beside(station, vessel)
    if not others:
        raise ValueError(f"{vessel.name} stands alone at its step: juice has no other way")
    flows = zone_columns(derived, "flow_in_m3_h")
    group = (vessel, *others)
    recorded = {v.name: np.nan_to_num(flows[v.name]) for v in group}
    total = sum(recorded.values(), np.zeros(readings.rows))
    sizes = {v.name: v.volume_m3 for v in others}
    if change.amount:
        sizes[vessel.name] = vessel.volume_m3
    volume = sum(sizes.values())
    now = {v.name: total * sizes.get(v.name, 0.0) / volume for v in group}
    columns: dict[str, FloatArray] = {}
    for one in group:
        values = np.where(inside, now[one.name], recorded[one.name])
        readings = _inflow(readings, one, values, columns)
        share = _share(now[one.name], recorded[one.name], inside)
        for name in readings.named("flow", one.name, ("out", "mud")):
            columns[name] = readings.columns[name] * share
    wanted = vessel.level_pct if change.amount else _EMPTY_PCT
    for name in readings.named("level", vessel.name, CONTENT):
        columns[name] = _towards(readings.columns[name], wanted, inside)
    mud = vessel.mud_level_pct if change.amount else _EMPTY_PCT
    for name in readings.named("mud_level", vessel.name, ("mud", "", "inside")):
        columns[name] = _towards(readings.columns[name], mud, inside)
    return readings.changed(columns)


def _inflow(
    readings: Readings, vessel: Vessel, values: FloatArray, columns: dict[str, FloatArray]
) -> Readings:
    names = readings.named("flow", vessel.name, _INLET)
    if not names:
        return readings.with_stand_in("flow", vessel, "in", values)
    for name in names:
        columns[name] = np.where(np.isfinite(readings.columns[name]), values, np.nan)
    return readings


def _share(now: FloatArray, recorded: FloatArray, inside: BoolArray) -> FloatArray:
    share = np.where(recorded > 0.0, now / np.maximum(recorded, 1e-9), 1.0)
    return np.where(inside, share, 1.0)


def _towards(level: FloatArray, wanted: float, inside: BoolArray) -> FloatArray:
    """A level that goes to another value within an hour and back behind the period."""
    aim = np.where(inside, 1.0, 0.0)
    weight, now = np.empty(aim.shape), 0.0
    for row, target in enumerate(aim.tolist()):
        now += float(np.clip(target - now, -1.0 / _CHANGE_MIN, 1.0 / _CHANGE_MIN))
        weight[row] = now
    return level + weight * (wanted - level)
