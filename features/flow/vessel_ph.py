"""pH inside the vessels: which probe tells it, how it falls in a settler and while juice stands."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from features.base import BoolArray, FloatArray
from features.flow.contents import Content
from features.flow.stream import Tracer

#: Which probes tell the pH: before liming, in the liming tank, up to the settler, in it, after.
Region = Literal["mixed", "liming", "limed", "settler", "clear", "mud"]
#: Inflow below this share of the usual leaves a settler standing [-], as for the station's stops.
_STANDING_BELOW = 0.1
#: Least share of the fall that counts as done: it divides.
_LEAST_DONE = 1e-6


def last_flowing(flow_m3_h: FloatArray, usual_flow_m3_h: float) -> NDArray[np.intp] | None:
    """Row in which juice last flowed into a vessel, for every row.

    Parameters
    ----------
    flow_m3_h : ndarray, shape (n,)
        Juice flowing in [m3/h].
    usual_flow_m3_h : float
        Flow at target [m3/h].

    Returns
    -------
    ndarray of int, shape (n,), or None
        None without any stop.
    """
    flowing: BoolArray = flow_m3_h >= _STANDING_BELOW * usual_flow_m3_h
    if flowing.all():
        return None
    rows = np.arange(flow_m3_h.shape[0])
    return np.maximum(np.maximum.accumulate(np.where(flowing, rows, -1)), 0)


def settler_ph(
    contents: tuple[Content, ...],
    leaving: FloatArray,
    probe: FloatArray,
    last: NDArray[np.intp] | None,
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Tell the pH of the juice in a settler, parcel by parcel, and the outlet probe's weight in it.

    Parameters
    ----------
    contents : tuple of Content
        Juice in each cell.
    leaving : ndarray, shape (n, len(Tracer))
        Tracers of the juice at the outlet.
    probe : ndarray, shape (n,)
        Cold pH at the outlet [-].
    last : ndarray of int, shape (n,), or None
        See `last_flowing`.

    Returns
    -------
    ph, weight : list of ndarray, shape (m,)
        Cold pH of each content [-], and what a pH at the outlet adds to it [-].

    Notes
    -----
    A parcel keeps the limed pH it brought, loses what acid made takes (`Tracer.SOURED`) and falls
    further by a reaction of first order. How far that goes in the end is what the outlet tells:
    (limed pH carried there, less acid, less the reading) / share of the fall done there. In a stop
    the reaction goes on as far as it would when juice last flowed, and the juice sours; the probe
    then speaks for the last tank alone. With the standing juice the share done moves on, so that
    the outlet tells the right thing again when juice flows.
    """
    done_at_outlet = np.maximum(1.0 - leaving[:, Tracer.TO_FALL], _LEAST_DONE)
    to_fall = (soured_ph(leaving) - probe) / done_at_outlet
    if last is not None:
        to_fall, done_at_outlet = to_fall[last], done_at_outlet[last]
    phs, weights = [], []
    for content in contents:
        done = 1.0 - content.tracers[:, Tracer.TO_FALL]
        phs.append(soured_ph(content.tracers) - done * content.at(to_fall))
        weights.append(done / content.at(done_at_outlet))
    if contents[-1].minute is None:
        phs[-1], weights[-1] = probe, np.ones_like(probe)
    return phs, weights


def soured_ph(tracers: FloatArray) -> FloatArray:
    """PH as read by the last probe before, less what acid made since took."""
    return np.asarray(tracers[:, Tracer.PH] - tracers[:, Tracer.SOURED])


def clear_weight(region: Region) -> float:
    """Weight of the clear-juice probe in the pH of a zone that is no settler [-]."""
    return 1.0 if region in ("clear", "mud") else 0.0
