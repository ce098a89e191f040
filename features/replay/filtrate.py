"""Filtrate returned to other juice than it was: the station's way of it, not a reading."""

from __future__ import annotations

from dataclasses import replace

from features.base import Station
from features.flow import return_step
from features.replay.change import FILTRATE_TO, Change
from features.replay.readings import Readings


def returned_elsewhere(readings: Readings, change: Change) -> Readings:
    """Readings of a station that returns its filtrate to the mixed, or to the limed juice.

    Parameters
    ----------
    readings : Readings
    change : Change
        ``filtrate_to``: place in ``FILTRATE_TO``.

    Returns
    -------
    Readings

    Raises
    ------
    ValueError
        The mill returns none, or a flow meter stands between both places, whose reading nobody
        knows then.
    """
    station = readings.station
    told = station.filtrate
    if station.signal("flow", "filtrate") is None and not told.share_pct:
        raise ValueError("this mill's description tells of no filtrate that is returned")
    to = FILTRATE_TO[int(change.amount)]
    new = replace(station, filtrate=replace(told, to=to))
    between = sorted((return_step(station), return_step(new)))
    if meters := _meters(station, between[0], between[1]):
        raise ValueError(
            f"the flow meter {meters[0]} stands between the two places of return; what it would "
            "have read is not known"
        )
    return replace(readings, station=new)


def _meters(station: Station, first: int, last: int) -> list[str]:
    """Tags of flow meters at vessels from the first place of return up to the last."""
    steps = {v.name: v.step for v in station.vessels if first <= v.step < last}
    return [s.tag for s in station.signals if s.quantity == "flow" and s.place in steps]
