"""Juice that is older or younger than recorded: how much further it has cooled."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from features.base import FloatArray
from features.flow import Derived
from features.replay.readings import CONTENT, MUD, Readings, zone_columns

#: Heat that lagged vessels lose, as a fall of temperature [K/h] (estimate, as
#: `models.amount.cooling` has it before any reading).
_COOLS_K_H = 1.0
#: Vessels whose juice has no heat of its own and does not boil.
_COOLING = ("liming_tank", "settler", "clear_juice_tank")
_LEAST_K = 1e-6


def cooled_by_age(
    now: Readings,
    derived: Derived,
    first: Derived,
    source: NDArray[np.intp],
    held: Collection[str],
) -> dict[str, FloatArray]:
    """Columns of temperatures that juice of another age would have had.

    Parameters
    ----------
    now : Readings
        Of the replay.
    derived, first : Derived
        The record, and the replay with temperatures as recorded.
    source : ndarray of int, shape (m,)
        Row of the record behind each of the replay.
    held : collection of str
        Vessels whose temperature is a change of its own.

    Returns
    -------
    dict of str to ndarray, shape (m,)
        Of vessels that cool, by the time since the last vessel that heats or boils.
    """
    was, stays = (zone_columns(d, "residence_min") for d in (derived, first))
    columns: dict[str, FloatArray] = {}
    older_h = np.zeros(now.rows)
    for group in now.station.in_flow_order:
        if any(v.kind not in _COOLING for v in group):
            older_h = np.zeros(now.rows)
            continue
        more = [carried(stays[v.name]) - carried(was[v.name])[source] for v in group]
        older_h = older_h + np.mean(more, axis=0) / 60.0
        if not np.any(np.abs(older_h) * _COOLS_K_H > _LEAST_K):
            continue
        for vessel in group:
            if vessel.name in held:
                continue
            for name in now.named("temperature", vessel.name, (*CONTENT, *MUD)):
                columns[name] = now.columns[name] - _COOLS_K_H * older_h
    return columns


def carried(values: FloatArray) -> FloatArray:
    """Values with the last known one in gaps; what comes before all takes the first; 0 of none."""
    known = np.isfinite(values)
    if not known.any():
        return np.zeros(values.shape)
    rows = np.maximum.accumulate(np.where(known, np.arange(values.size), -1))
    return values[np.where(rows < 0, int(np.argmax(known)), rows)]
