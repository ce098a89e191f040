"""How each event changes the driving series of the station."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.disturb import Drive
from models.simulator.events import PlannedEvent

Floats = NDArray[np.float64]
Effect = Callable[[Drive, Floats, PlannedEvent], None]

#: Events that touch the export only: the station itself never notices.
EXPORT_ONLY = frozenset({"frozen_tag", "spiking_tag", "lab_bias"})
#: Zone of microbial spells in the filtrate's tank instead of the liming tank.
FILTRATE_TANK = c.FILTRATE_ZONE
#: Time that a pH probe spends off line while it is calibrated [h].
CALIBRATION_H = 0.3
#: Hours after its end during which an event can still change the station.
WASHOUT_H = 24.0


#: A fault that comes and goes: on for an hour, off for three, with edges of three minutes [h].
ON_H, ROUND_H, _EDGE_H = 1.0, 4.0, 0.05


def shape(hours: Floats, event: PlannedEvent, rise_h: float, fall_h: float) -> Floats:
    """0 before the event, 1 inside it, straight ramps at both ends (rise inside, fall after).

    A ramp or a drift takes all of the event to rise; what comes and goes is 1 for an hour in four.
    """
    if event.shape in ("ramp", "drift"):
        rise_h = 0.99 * (event.end_h - event.start_h)
    if event.shape == "comes_and_goes":
        round_h = np.mod(hours - event.start_h, ROUND_H)
        on = np.interp(round_h, [0.0, _EDGE_H, ON_H, ON_H + _EDGE_H], [0.0, 1.0, 1.0, 0.0])
        return np.where((hours >= event.start_h) & (hours < event.end_h + _EDGE_H), on, 0.0)
    knots = [event.start_h, event.start_h + rise_h, event.end_h, event.end_h + fall_h]
    return np.interp(hours, knots, [0.0, 1.0, 1.0, 0.0])


def _low_limed_ph(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    d["ph_setpoint"] = d["ph_setpoint"] - e.size * shape(hours, e, 0.4, 0.3)


def _over_liming(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    d["ph_setpoint"] = d["ph_setpoint"] + e.size * shape(hours, e, 0.4, 0.3)


def _ph_probe_high(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    ramp_h = e.extra * (e.end_h - e.start_h)
    d["probe_bias"] = d["probe_bias"] + e.size * shape(hours, e, ramp_h, 0.02)
    off_line = (hours >= e.end_h - CALIBRATION_H) & (hours < e.end_h + 0.02)
    d["hold"] = np.where(off_line, 1.0, d["hold"])


def _stop(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    d["rate"] = d["rate"] * (1.0 - shape(hours, e, 0.08, 0.15))


def _handled_stop(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    _STOPS[e.shape](d, hours, e)


def _emptied_stop(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    _stop(d, hours, e)
    inside = (hours >= e.start_h + 0.1) & (hours < e.end_h)
    # 340 m3 in about 40 min; the juice goes to a holding tank outside the station.
    d["drain"] = np.where(inside, 480.0, d["drain"])
    d["mud_level"] = np.where(inside, 6.0, d["mud_level"])
    d["tank_level"] = np.where(inside, 8.0, d["tank_level"])


def _emptied_late_stop(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    """Emptied one vessel after the other; `extra` is the hour in which the settler's turn comes."""
    _stop(d, hours, e)
    d["drain"] = np.where((hours >= e.start_h + e.extra) & (hours < e.end_h), 480.0, d["drain"])
    after = e.extra + (0.8 if e.extra < _TANK_FIRST_H else -0.6)
    tank = (hours >= e.start_h + after) & (hours < e.end_h)
    mud = (hours >= e.start_h + 0.5 * e.extra) & (hours < e.end_h)
    d["tank_level"] = np.where(tank, 8.0, d["tank_level"])
    d["mud_level"] = np.where(mud, 6.0, d["mud_level"])


def _cooled_stop(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    """Juice goes round through a cooler: some 40 K in the first hours."""
    _stop(d, hours, e)
    inside = (hours >= e.start_h + 0.15) & (hours < e.end_h)
    d["cooling"] = np.where(inside, 70.0, d["cooling"])


def _pump_mud_down(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    """Before juice stands no mud is left below it."""
    inside = (hours >= e.start_h + 0.1) & (hours < e.end_h)
    d["mud_level"] = np.where(inside, 6.0, d["mud_level"])


def _limed_stop(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    """Limed harder for the last hours before the juice stands; `extra` is how long [h]."""
    stand = replace(e, start_h=e.start_h + e.extra)
    _stop(d, hours, stand)
    _pump_mud_down(d, hours, e)
    d["ph_setpoint"] = d["ph_setpoint"] + e.size * shape(
        hours, replace(e, end_h=stand.start_h + 0.2), 0.2, 0.1
    )


def _flushed_stop(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    """Thin wash water pushes the juice out before the station stands; `extra` is how long [h]."""
    stand = replace(e, start_h=e.start_h + e.extra)
    _stop(d, hours, stand)
    _pump_mud_down(d, hours, e)
    thin = 1.0 - 0.93 * shape(hours, replace(e, end_h=stand.end_h + 0.1), 0.2, 0.2)
    d["brix"] = d["brix"] * thin
    d["lime_strength"] = d["lime_strength"] * thin


#: Emptying that begins before this hour of a stop begins with the settler [h].
_TANK_FIRST_H = 1.0
_STOPS: dict[str, Effect] = {
    "step": _emptied_stop,
    "emptied": _emptied_stop,
    "emptied_late": _emptied_late_stop,
    "cooled": _cooled_stop,
    "limed": _limed_stop,
    "flushed": _flushed_stop,
}


def _slow_throughput(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    d["rate"] = d["rate"] * (1.0 - (1.0 - e.size) * shape(hours, e, 0.5, 0.5))


def _overheating(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    by = e.size * shape(hours, e, 0.5, 0.4)
    d["temp_heater"] = d["temp_heater"] + by
    d["temp_evaporator"] = d["temp_evaporator"] + by


def _mud_held(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    held = shape(hours, e, 0.2, 0.2)
    d["underflow"] = d["underflow"] * (1.0 - (1.0 - e.size) * held)
    d["mud_level"] = d["mud_level"] * (1.0 - held) + (e.extra + 0.3 * (d["mud_level"] - 45)) * held


def _microbial(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    if e.zone == FILTRATE_TANK:
        # No temperature gives it away: a tank that nobody cleaned.
        d["infection"] = d["infection"] * (1.0 + (e.size - 1.0) * shape(hours, e, 2.0, 2.0))
        return
    cold = shape(hours, e, 0.6, 0.5)
    d["temp_primary"] = d["temp_primary"] - (72.0 - e.size) * cold
    d["vigour"] = d["vigour"] * (1.0 + (e.extra - 1.0) * (cold > 0))


def _tank_held(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    held = shape(hours, e, 0.2, 0.2)
    d["tank_level"] = d["tank_level"] + held * (e.size - p.TANK_LEVEL_PCT)
    d["tank_level"] = np.clip(d["tank_level"], 5.0, 97.5)


def _stale_cane(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    stale = e.size * shape(hours, e, 1.0, 1.0)
    d["purity"] = d["purity"] - 2.0 * stale
    d["rs"] = d["rs"] * (1.0 + 0.30 * stale)
    d["ph_mixed"] = d["ph_mixed"] - 0.18 * stale
    d["lactic"] = d["lactic"] * (1.0 + 0.5 * stale)


def _imbibition_change(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    more = e.size * shape(hours, e, 0.3, 0.3)
    d["rate"] = d["rate"] * (1.0 + more)
    d["brix"] = d["brix"] / (1.0 + more)
    d["imbibition"] = d["imbibition"] * (1.0 + more * p.FEED_M3_H / 75.0)


def _flocculant_failure(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    d["flocculant"] = d["flocculant"] * (1.0 - 0.85 * shape(hours, e, 0.05, 0.05))
    d["settling_fault"] = d["settling_fault"] * (1.0 + (e.size - 1.0) * shape(hours, e, 0.8, 1.0))


def _probe_calibration(d: Drive, hours: Floats, e: PlannedEvent) -> None:
    inside = (hours >= e.start_h) & (hours < e.end_h + 0.02)
    d["hold"] = np.where(inside, 1.0, d["hold"])
    since = np.clip(hours - e.end_h, 0.0, None)
    # The step fades as the cleaned glass settles.
    d["probe_bias"] = d["probe_bias"] + np.where(hours >= e.end_h, e.size * np.exp(-since / 5.0), 0)


_EFFECTS: dict[str, Effect] = {
    "low_limed_ph": _low_limed_ph,
    "over_liming": _over_liming,
    "ph_probe_high": _ph_probe_high,
    "standing_juice": _stop,
    "handled_stop": _handled_stop,
    "slow_throughput": _slow_throughput,
    "overheating": _overheating,
    "mud_held": _mud_held,
    "microbial": _microbial,
    "tank_held": _tank_held,
    "stale_cane": _stale_cane,
    "imbibition_change": _imbibition_change,
    "flocculant_failure": _flocculant_failure,
    "probe_calibration": _probe_calibration,
}


def apply_events(base: Drive, events: Iterable[PlannedEvent], first_step: int, steps: int) -> Drive:
    """Driving series of a period of the season with `events` in it.

    Parameters
    ----------
    base : dict of str to array, shape (T,)
        Everyday series of the whole season; left unchanged.
    events : iterable of PlannedEvent
        Events to put in; those that miss the period change nothing.
    first_step, steps : int
        The period. Past the season's end the last values are held.

    Returns
    -------
    dict of str to array, shape (steps,)
    """
    count = len(base["rate"])
    index = np.minimum(np.arange(first_step, first_step + steps), count - 1)
    hours = np.arange(first_step, first_step + steps, dtype=np.float64) * p.STEP_H
    drive = {name: series[index] for name, series in base.items()}
    for event in events:
        touches = event.start_h <= hours[-1] and event.end_h + WASHOUT_H >= hours[0]
        if event.cause not in EXPORT_ONLY and touches:
            _EFFECTS[event.cause](drive, hours, event)
    return drive
