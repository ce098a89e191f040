"""What a change does to the readings it acts on, and to those that follow without any fault."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from features.base import BoolArray, FloatArray, Vessel
from features.flow import Derived, linear_recurrence
from features.juice import density_kg_m3
from features.replay.change import Change
from features.replay.filtrate import returned_elsewhere
from features.replay.heat import behind
from features.replay.readings import (
    CONTENT,
    MUD,
    Readings,
    ph_columns,
    zone_columns,
)
from features.replay.service import out_of_service

#: Time in which a level goes to where it is moved [min] (judgement: pumps move tens of m3 an hour).
_LEVEL_MIN = 60
#: What is fed and dosed by the juice, and by the cane.
_WITH_JUICE: Final = ("flow", "lime_flow", "flocculant_flow")
_WITH_CANE: Final = ("cane_rate", "imbibition_flow")


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """Recorded minutes, and which of them a change acts on.

    Attributes
    ----------
    readings : Readings
        With a reading for all that may be changed (`with_all`).
    derived : Derived
        Of them.
    inside : ndarray of bool, shape (n,)
        Minutes of the period.
    """

    readings: Readings
    derived: Derived
    inside: BoolArray

    def vessel(self, name: str) -> Vessel:
        """Vessel by its name."""
        return next(v for v in self.readings.station.vessels if v.name == name)


def with_all(readings: Readings, derived: Derived, changes: tuple[Change, ...]) -> Readings:
    """Readings with a stand-in for what a change moves and no tag reads.

    Parameters
    ----------
    readings : Readings
    derived : Derived
        Of them: what the physics took instead.
    changes : tuple of Change

    Returns
    -------
    Readings
        The same object where every such thing is read.
    """
    station = readings.station
    degc, held = zone_columns(derived, "temp_degc"), zone_columns(derived, "volume_m3")
    vessels = {v.name: v for v in station.vessels}
    for change in changes:
        if not change.place:
            continue
        vessel = vessels[change.place]
        if change.what == "temp_degc":
            for one in (vessel, *behind(station, vessel)):
                if not readings.named("temperature", one.name, CONTENT):
                    known = _filled(degc[one.name], one.temp_degc)
                    readings = readings.with_stand_in("temperature", one, "inside", known)
        if change.what in ("level_pct", "in_service"):
            live = vessel.volume_m3 * (1.0 - vessel.dead_fraction)
            if not readings.named("level", vessel.name, CONTENT):
                known = _filled(100.0 * held[vessel.name] / live, vessel.level_pct)
                readings = readings.with_stand_in("level", vessel, "", known)
        with_mud = change.what in ("mud_level_pct", "in_service") and vessel.mud_volume_m3 > 0.0
        if with_mud and not readings.named("mud_level", vessel.name, ("mud", "", "inside")):
            mud = held[f"{vessel.name}:mud"]
            known = _filled(100.0 * mud / vessel.mud_volume_m3, vessel.mud_level_pct)
            readings = readings.with_stand_in("mud_level", vessel, "mud", known)
    return readings


def _filled(values: FloatArray, otherwise: float) -> FloatArray:
    return np.where(np.isfinite(values), values, otherwise)


def apply(scene: Scene, change: Change) -> Readings:
    """Readings as a change would have had them, those further down left to `features.replay.again`.

    Parameters
    ----------
    scene : Scene
    change : Change
        Any but ``stop_h``, which moves time itself.

    Returns
    -------
    Readings
    """
    if change.what == "in_service":
        return out_of_service(scene.readings, scene.derived, scene.inside, change)
    if change.what == "filtrate_to":
        return returned_elsewhere(scene.readings, change)
    return _ACTS[change.what](scene, change)


def moved(scene: Scene, change: Change, names: list[str]) -> Mapping[str, FloatArray]:
    """Columns with the change on the minutes of the period."""
    columns = scene.readings.columns
    return {n: np.where(scene.inside, change.on(columns[n]), columns[n]) for n in names}


def _limed(scene: Scene, change: Change) -> Readings:
    names = ph_columns(scene.readings, "limed")
    if change.what == "ph_limed_target" and change.how == "to":
        by = change.amount - scene.readings.station.targets.ph_limed
        change = Change("ph_limed", "by", by)
    return scene.readings.changed(moved(scene, change, names))


def _warmer(scene: Scene, change: Change) -> Readings:
    readings, vessel = scene.readings, scene.vessel(change.place)
    names = readings.named("temperature", vessel.name, CONTENT)
    columns = dict(moved(scene, change, names))
    first = names[0]
    shift = np.nan_to_num(columns[first] - readings.columns[first])
    recorded = readings.columns[first]
    stays = zone_columns(scene.derived, "residence_min")
    if vessel.kind == "settler" and vessel.mud_volume_m3 > 0.0:
        for name in readings.named("temperature", vessel.name, MUD):
            own = _lagged(shift, stays[f"{vessel.name}:mud"])
            columns[name] = readings.columns[name] + own
    before: FloatArray = recorded
    for one in behind(readings.station, vessel):
        here = readings.named("temperature", one.name, CONTENT)
        now = readings.columns[here[0]]
        if one.kind == "flash_tank":
            # Juice boils there: it leaves no hotter than it boils, and colder only if it came so.
            shift = np.nan_to_num(np.minimum(now, before + shift) - np.minimum(now, before))
        else:
            shift = _lagged(shift, stays[one.name])
        for name in here:
            columns[name] = readings.columns[name] + shift
        mud = readings.named("temperature", one.name, MUD)
        for name in mud:
            columns[name] = readings.columns[name] + _lagged(shift, stays[f"{one.name}:mud"])
        before = now
    return readings.changed(columns)


def _lagged(shift: FloatArray, stay_min: FloatArray) -> FloatArray:
    """Shift of a stirred vessel's temperature behind that of the juice flowing in [K]."""
    stay = np.maximum(_filled(stay_min, float(np.nanmedian(stay_min))), 1.0)
    keep = np.exp(-1.0 / stay)
    return linear_recurrence(keep, (1.0 - keep) * shift, 0.0)


def _fuller(scene: Scene, change: Change) -> Readings:
    readings = scene.readings
    if change.what == "level_pct":
        names = readings.named("level", change.place, CONTENT)
    else:
        names = readings.named("mud_level", change.place, ("mud", "", "inside"))
    weight = ramp(scene.inside, _LEVEL_MIN)
    columns = {}
    for name in names:
        now = readings.columns[name]
        columns[name] = now + weight * (change.on(now) - now)
    return readings.changed(columns)


def ramp(inside: BoolArray, minutes: int) -> FloatArray:
    """From 0 to 1 in some minutes at the start of a period, and back before its end."""
    rows = np.flatnonzero(inside)
    weight = np.zeros(inside.shape)
    if rows.size:
        from_edge = np.minimum(np.arange(rows.size) + 1, rows.size - np.arange(rows.size))
        weight[rows] = np.minimum(from_edge / min(minutes, max(rows.size // 4, 1)), 1.0)
    return weight


def _faster(scene: Scene, change: Change) -> Readings:
    """More juice of the same kind: everything that is dosed to it, and the cane, with it."""
    fed = scene.derived.station_minutes["flow_feed_m3_h"].fill_null(np.nan).to_numpy()
    now = np.where(scene.inside, change.on(fed), fed)
    # A standing mill stays standing, whatever the rate it would run at.
    running = np.isfinite(fed) & (fed > 0.1 * scene.readings.station.targets.flow_feed_m3_h)
    share = np.where(running, now / np.where(running, fed, 1.0), 1.0)
    return scene.readings.changed(_scaled(scene.readings, share, (*_WITH_JUICE, *_WITH_CANE)))


def _scaled(
    readings: Readings, share: FloatArray, quantities: tuple[str, ...]
) -> Mapping[str, FloatArray]:
    signals = readings.station.signals
    names = [s.name for s in signals if s.quantity in quantities and s.name in readings.columns]
    return {name: readings.columns[name] * share for name in names}


def _thinner(scene: Scene, change: Change) -> Readings:
    """More water on the mill: more and thinner juice, its solids as they were."""
    readings, minutes = scene.readings, scene.derived.station_minutes
    if minutes["imbibition_m3_h"].null_count() == minutes.height:
        raise ValueError("no tag of this mill measures imbibition water")
    fed, brix, water = (
        minutes[name].fill_null(np.nan).to_numpy()
        for name in ("flow_feed_m3_h", "brix_feed_pct", "imbibition_m3_h")
    )
    brix = _filled(brix, readings.station.targets.brix_pct)
    degc = readings.station.targets.temp_mixed_degc
    more = np.where(scene.inside, change.on(water) - water, 0.0)
    running = np.isfinite(fed) & np.isfinite(more) & (fed > 10.0)
    juice_t_h = np.where(running, fed, 1.0) * density_kg_m3(brix, degc) / 1000.0
    more = np.where(running, more, 0.0)
    thinner = juice_t_h / (juice_t_h + more)
    new = brix * thinner
    mass = (juice_t_h + more) * 1000.0 / density_kg_m3(new, degc)
    share = np.where(running & (more != 0.0), mass / np.where(running, fed, 1.0), 1.0)
    columns = dict(_scaled(readings, share, ("flow",)))
    signals = readings.station.signals
    for signal in signals:
        if signal.quantity == "brix" and signal.name in readings.columns:
            columns[signal.name] = readings.columns[signal.name] * thinner
        if signal.quantity == "imbibition_flow" and signal.name in readings.columns:
            columns[signal.name] = readings.columns[signal.name] + more
    return readings.changed(columns)


_ACTS: Final[dict[str, Callable[[Scene, Change], Readings]]] = {
    "ph_limed": _limed,
    "ph_limed_target": _limed,
    "temp_degc": _warmer,
    "level_pct": _fuller,
    "mud_level_pct": _fuller,
    "flow": _faster,
    "imbibition": _thinner,
}
