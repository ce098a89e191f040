"""Juice on its way through the train: what a parcel carries and the doses it takes up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np

from features.base import BoolArray, FloatArray
from features.flow.residence import (
    age_moments_min,
    clock_min,
    clock_start,
    clock_start_of_next,
    mix_parallel,
)
from features.flow.transport import outflow_by_balance_m3_h, transport_plug_flow, transport_stirred


class Tracer(IntEnum):
    """Columns that move with the juice, unchanged except for `SOURED`.

    `SOURED` is how far pH has fallen by acid made since the last probe, as it would be at pH 7.
    """

    BRIX = 0
    PURITY = 1
    PH = 2
    PH_LIMED = 3
    JUICE_KNOWN = 4
    PH_KNOWN = 5
    LIMED_KNOWN = 6
    SOURED = 7


class Dose(IntEnum):
    """Columns that grow while the juice stays somewhere; the first two restart in every zone."""

    EXPOSURE_ZONE = 0
    GAP_ZONE = 1
    MINUTES = 2
    EXPOSURE = 3
    INVERSION = 4
    INVERSION_LIMED = 5
    RS_LIMED = 6
    GAP = 7


@dataclass(frozen=True, slots=True, eq=False)
class Stream:
    """Juice at one point of the train.

    Attributes
    ----------
    flow_m3_h : ndarray, shape (n,)
        Flow [m3/h], not negative.
    flow_known : ndarray of bool, shape (n,)
        False in gaps too long to bridge.
    tracers : ndarray, shape (n, len(Tracer))
        What the parcels carry.
    doses : ndarray, shape (n, len(Dose))
        What the parcels took up so far.
    """

    flow_m3_h: FloatArray
    flow_known: BoolArray
    tracers: FloatArray
    doses: FloatArray

    def with_tracers(self, **columns: FloatArray | BoolArray) -> Stream:
        """Copy with some tracers set anew, named as in `Tracer` in lower case."""
        tracers = self.tracers.copy()
        for name, values in columns.items():
            tracers[:, Tracer[name.upper()]] = values
        return replace(self, tracers=tracers)

    def restarted(self, *doses: Dose) -> Stream:
        """Copy with some doses back at zero."""
        kept = self.doses.copy()
        kept[:, list(doses)] = 0.0
        return replace(self, doses=kept)


def join(streams: list[Stream]) -> Stream:
    """Join parallel streams, each weighing by its flow."""
    if len(streams) == 1:
        return streams[0]
    flows = [s.flow_m3_h for s in streams]
    return Stream(
        flow_m3_h=np.asarray(np.sum(flows, axis=0)),
        flow_known=np.logical_and.reduce([s.flow_known for s in streams]),
        tracers=mix_parallel(flows, [s.tracers for s in streams]),
        doses=mix_parallel(flows, [s.doses for s in streams]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Passage:
    """How juice passes a zone.

    Attributes
    ----------
    volume_edges_m3 : ndarray, shape (n + 1,)
        Volume the juice reaches, at the edges of the minutes [m3].
    tanks : int
        Stirred tanks in series; 0 stands for plug flow.
    usual_flow_m3_h : float
        Flow that filled the zone before the first minute [m3/h].
    drawn_m3_h : ndarray, shape (n,)
        Flow taken from the first tank by another way (mud juice) [m3/h].
    souring_1_min : ndarray, shape (n,), or None
        Growth of `Tracer.SOURED` in the zone [1/min]; None where it does not grow.
    """

    volume_edges_m3: FloatArray
    tanks: int
    usual_flow_m3_h: float
    drawn_m3_h: FloatArray
    souring_1_min: FloatArray | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Passed:
    """Juice after a zone, and what the zone held.

    Attributes
    ----------
    tracers, doses : ndarray, shape (n, m)
        Of the juice leaving.
    first_tracers, first_doses : ndarray, shape (n, m)
        Of the juice in the first tank.
    contents : tuple of ndarray, shape (n, m)
        Tracers in each tank.
    residence_min, residence_sd_min : ndarray, shape (n,)
        Time in the zone of the juice leaving [min].
    flow_out_m3_h : ndarray, shape (n,)
        Outflow by balance [m3/h].
    """

    tracers: FloatArray
    doses: FloatArray
    first_tracers: FloatArray
    first_doses: FloatArray
    contents: tuple[FloatArray, ...]
    residence_min: FloatArray
    residence_sd_min: FloatArray
    flow_out_m3_h: FloatArray


#: Dose rates [1/min] of a tank from its number and its tracers, shape (n, len(Dose)).
Rates = Callable[[int, FloatArray], FloatArray]


def pass_zone(stream: Stream, passage: Passage, rates: Rates) -> Passed:
    """Carry a stream through the tanks of a zone.

    Parameters
    ----------
    stream : Stream
        Juice flowing in.
    passage : Passage
        Volume and mixing.
    rates : callable
        Dose rates of a tank.

    Returns
    -------
    Passed
        Juice leaving.

    Notes
    -----
    A dose is carried as "running dose of the tank minus dose at entry": the running dose when
    the parcel leaves, less the carried value, is what it then has taken up.
    """
    tanks = max(passage.tanks, 1)
    cell = passage.volume_edges_m3 / tanks
    clock = clock_min(stream.flow_m3_h.shape[0])
    age = 60.0 * float(cell[0]) / max(passage.usual_flow_m3_h, 1e-9)
    entry_start = clock_start(age)
    flow, tracers, doses, entry = stream.flow_m3_h, stream.tracers, stream.doses, clock
    contents: list[FloatArray] = []
    firsts: list[FloatArray] = []
    soured = _running(passage.souring_1_min)
    for number in range(tanks):
        moved = np.hstack((tracers, entry))
        start = np.concatenate((tracers[0], entry_start))
        if soured is not None and passage.souring_1_min is not None:
            # A dose like any other, carried here because the pH of the cell hangs on it.
            start[Tracer.SOURED] = -(tracers[0, Tracer.SOURED] + passage.souring_1_min[0] * age)
            moved[:, Tracer.SOURED] = soured - tracers[:, Tracer.SOURED]
        moved = _carry(moved, start, flow, cell, passage.tanks)
        if soured is not None:
            moved[:, Tracer.SOURED] = soured - moved[:, Tracer.SOURED]
        tracers, entry = moved[:, : len(Tracer)], moved[:, len(Tracer) :]
        doses = _take_up(doses, rates(number, tracers), age, (flow, cell, passage.tanks))
        entry_start = clock_start_of_next(entry_start, age)
        flow = outflow_by_balance_m3_h(flow, cell) - (passage.drawn_m3_h if number == 0 else 0.0)
        flow = np.maximum(flow, 0.0)
        contents.append(tracers)
        firsts.append(doses)
    mean, spread = age_moments_min(entry, clock[:, 0])
    return Passed(tracers, doses, contents[0], firsts[0], tuple(contents), mean, spread, flow)


def _running(rate_1_min: FloatArray | None) -> FloatArray | None:
    """Time integral of a rate up to the middle of each minute."""
    return None if rate_1_min is None else np.cumsum(rate_1_min) - 0.5 * rate_1_min


def _carry(
    signal: FloatArray, start: FloatArray, flow: FloatArray, edges: FloatArray, tanks: int
) -> FloatArray:
    """Carry through one stirred tank, or a whole plug-flow zone."""
    if tanks == 0:
        return transport_plug_flow(signal, start, flow, edges)
    return transport_stirred(signal, start, flow, edges)[0]


def _take_up(
    doses_in: FloatArray,
    rates_1_min: FloatArray,
    age_min: float,
    vessel: tuple[FloatArray, FloatArray, int],
) -> FloatArray:
    """Doses of the juice leaving one tank."""
    running = np.cumsum(rates_1_min, axis=0) - 0.5 * rates_1_min
    start = -(doses_in[0] + rates_1_min[0] * age_min)
    flow, edges, tanks = vessel
    return running - _carry(running - doses_in, start, flow, edges, tanks)
