"""Carrying juice through one zone: tanks in series, or a pipe whose parcels stay apart."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from features.base import FloatArray
from features.flow.contents import Content, slices_in_pipe
from features.flow.residence import (
    age_moments_min,
    clock_min,
    clock_start,
    clock_start_of_next,
)
from features.flow.stream import Dose, Passage, Passed, Stream, Tracer
from features.flow.transport import (
    Stirred,
    cumulative_volume_m3,
    outflow_by_balance_m3_h,
    plug_flow_position_m3,
    transport_fading,
    transport_plug_flow,
)
from features.kinetics import LN3, ph_after_acid

#: Doses whose rate hangs on the pH of the parcel.
_BY_PH = [Dose.INVERSION, Dose.INVERSION_LIMED, Dose.RS_LIMED]
#: Gauss-Legendre nodes and weights over a parcel's stay in a pipe, from 0 to 1.
_NODES = 0.5 * (np.polynomial.legendre.leggauss(6)[0] + 1.0)
_WEIGHTS = 0.5 * np.polynomial.legendre.leggauss(6)[1]


#: Dose rates [1/min], shape (m, len(Dose)), of each content, from the contents and the tracers of
#: the juice leaving.
Rates = Callable[[tuple[Content, ...], FloatArray], list[FloatArray]]
#: Cold pH [-], shape (m,), of each content, from the same.
Acidity = Callable[[tuple[Content, ...], FloatArray], list[FloatArray]]
#: Rounds in which the acid made and the pH it hangs on are brought together; a second one moves
#: no loss by 0.1 % (computed).
_ROUNDS = 2


def pass_zone(stream: Stream, passage: Passage, ph: Acidity, rates: Rates) -> Passed:
    """Carry a stream through the tanks of a zone.

    Parameters
    ----------
    stream : Stream
        Juice flowing in.
    passage : Passage
        Volume and mixing.
    ph, rates : callable
        pH and dose rates of the contents.

    Returns
    -------
    Passed
        Juice leaving.

    Notes
    -----
    A dose is carried as "running dose of the tank minus dose at entry": the running dose when
    the parcel leaves, less the carried value, is what it then has taken up.
    """
    if passage.tanks == 0:
        return _pass_pipe(stream, passage, rates)
    edges = passage.volume_edges_m3 / passage.tanks
    clock = clock_min(stream.flow_m3_h.shape[0])
    ages = [first_age_min(passage, number) for number in range(passage.tanks)]
    entry_start = clock_start(ages[0])
    flow, tracers, entry = stream.flow_m3_h, stream.tracers, clock
    contents: list[Content] = []
    stirred: list[Stirred] = []
    for number in range(passage.tanks):
        stirred.append(Stirred.of(flow, edges))
        if number > 0:
            entry_start = clock_start_of_next(entry_start, ages[number])
        first = (passage, ages[number], entry_start)
        tracers, entry = _carry_tank(tracers, entry, first, (stirred[-1], flow, edges))
        flow = outflow_by_balance_m3_h(flow, edges) - (passage.drawn_m3_h if number == 0 else 0.0)
        flow = np.maximum(flow, 0.0)
        contents.append(Content(tracers))
    if passage.souring_1_min is not None:
        _sour(stream, passage, contents, ph, (stirred, ages))
    doses: list[FloatArray] = [stream.doses]
    taken = rates(tuple(contents), tracers)
    for tank, rate, age in zip(stirred, taken, ages, strict=True):
        doses.append(_take_up(doses[-1], rate, age, tank))
    mean, spread = age_moments_min(entry, clock[:, 0])
    return Passed(
        tracers, doses[-1], contents[0].tracers, doses[1], tuple(contents), mean, spread, flow
    )


def first_age_min(passage: Passage, number: int = 0) -> float:
    """Age that a tank, or the pipe, adds to the first content [min]."""
    filled = float(passage.volume_edges_m3[0]) / max(passage.tanks, 1)
    usual = passage.usual_flow_m3_h
    if number > 0:
        usual = max(usual - float(passage.drawn_m3_h[0]), 0.1 * usual)
    return 60.0 * filled / max(usual, 1e-9)


def running(rate_1_min: FloatArray) -> FloatArray:
    """Time integral of a rate up to the middle of each minute."""
    return np.cumsum(rate_1_min, axis=0) - 0.5 * rate_1_min


def _carry_tank(
    tracers: FloatArray,
    entry: FloatArray,
    first: tuple[Passage, float, FloatArray],
    tank: tuple[Stirred, FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray]:
    """Tracers and clock of the juice in one stirred tank, of this flow and these volumes."""
    passage, age, entry_start = first
    stirred, flow, edges = tank
    moved = np.hstack((tracers, entry))
    start = np.concatenate((tracers[0], entry_start))
    moved = stirred.carry(moved, start)[0]
    if passage.fall_min is not None:
        came = tracers[:, Tracer.TO_FALL]
        usual = came[0] / (1.0 + age / passage.fall_min)
        moved[:, Tracer.TO_FALL] = transport_fading(
            came, usual, flow, edges, 1.0 / passage.fall_min
        )
    return moved[:, : len(Tracer)], moved[:, len(Tracer) :]


def _sour(
    stream: Stream,
    passage: Passage,
    contents: list[Content],
    ph: Acidity,
    way: tuple[list[Stirred], list[float]],
) -> None:
    """Fill in how far pH has fallen by acid made in each tank.

    Acid is a dose like any other, but the pH of the tank hangs on it and its rate on that pH. It
    starts from juice that sours by itself (`ph_after_acid`, exact in a stop).
    """
    tanks, ages = way
    brought, at_ph7 = stream.tracers[:, Tracer.SOURED], np.zeros_like(stream.flow_m3_h)
    pace = np.asarray(passage.souring_1_min)
    for content, tank, age in zip(contents, tanks, ages, strict=True):
        at_ph7 = _grown(at_ph7, pace, age, tank)
        begun = content.tracers[:, Tracer.PH] - content.tracers[:, Tracer.SOURED]
        content.tracers[:, Tracer.SOURED] += begun - ph_after_acid(begun, at_ph7)
    for _ in range(_ROUNDS):
        came = brought
        now = ph(tuple(contents), contents[-1].tracers)
        for content, here, tank, age in zip(contents, now, tanks, ages, strict=True):
            came = _grown(came, pace * np.exp(LN3 * (here - 7.0)), age, tank)
            content.tracers[:, Tracer.SOURED] = came


def _grown(came: FloatArray, rate: FloatArray, age: float, tank: Stirred) -> FloatArray:
    """One dose of the juice in a stirred tank, from that of the juice coming in."""
    total = running(rate)
    first = -(float(came[0]) + float(rate[0]) * age)
    return total - tank.carry(total - came, first)[0]


def _take_up(
    doses_in: FloatArray, rates_1_min: FloatArray, age_min: float, tank: Stirred
) -> FloatArray:
    """Doses of the juice leaving one stirred tank."""
    total = running(rates_1_min)
    start = -(doses_in[0] + rates_1_min[0] * age_min)
    return total - tank.carry(total - doses_in, start)[0]


def _pass_pipe(stream: Stream, passage: Passage, rates: Rates) -> Passed:
    """First in, first out: every parcel keeps what it brought, and sours and falls by itself."""
    flow, edges = stream.flow_m3_h, passage.volume_edges_m3
    n, age = flow.shape[0], first_age_min(passage)
    clock, came = clock_min(n), stream.tracers
    moved = np.hstack((came, clock, stream.doses))
    start = np.concatenate((came[0], clock_start(age), stream.doses[0]))
    moved = transport_plug_flow(moved, start, flow, edges)
    carried, entry, brought = np.split(moved, (len(Tracer), len(Tracer) + 2), axis=1)
    _stand(entry, flow, edges)
    mean, spread = age_moments_min(entry, clock[:, 0])
    leaving = _aged(carried, entry[:, 0], clock[:, 0], passage)
    held = slices_in_pipe(flow, edges)
    first = np.maximum(held.parcel, 0)
    entered = np.where(held.parcel < 0, -age, held.parcel + 0.5)
    # The parcel coming in is cut by the clock: half of its minute lies ahead.
    now = np.maximum(held.minute + 0.5, entered)
    content = Content(_aged(came[first], entered, now, passage), held.minute, held.share)
    common = rates((Content(leaving),), leaving)[0]
    total = running(common)
    first_dose = -(stream.doses[0] + common[0] * age)
    doses = total - transport_plug_flow(total - stream.doses, first_dose, flow, edges)
    # What hangs on the parcel's own pH is summed along its own stay.
    own = np.zeros_like(doses)
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        time = clock[:, 0] - (1.0 - node) * mean
        minute = np.clip(np.floor(time).astype(np.intp), 0, n - 1)
        there = Content(_aged(carried, entry[:, 0], time, passage), minute)
        own += weight * mean[:, None] * rates((there,), leaving)[0]
    doses[:, _BY_PH] = brought[:, _BY_PH] + own[:, _BY_PH]
    out = np.maximum(outflow_by_balance_m3_h(flow, edges) - passage.drawn_m3_h, 0.0)
    return Passed(leaving, doses, leaving, doses, (content,), mean, spread, out)


def _stand(entry: FloatArray, flow: FloatArray, edges: FloatArray) -> None:
    """Put the clock of juice that stands at the outlet right to the second, not to the minute."""
    position = plug_flow_position_m3(flow, edges)
    standing = (np.diff(position) <= 0.0) & (position[1:] > 0.0)
    passed = cumulative_volume_m3(flow)
    came = np.interp(position[1:][standing], passed, np.arange(passed.shape[0], dtype=float))
    entry[standing, 0], entry[standing, 1] = came, came**2


def _aged(
    tracers: FloatArray, entered_min: FloatArray, now_min: FloatArray, passage: Passage
) -> FloatArray:
    """Tracers of parcels some time after they came into a pipe."""
    aged = tracers.copy()
    rate = passage.souring_1_min
    if rate is not None:
        middle = np.arange(rate.shape[0]) + 0.5
        total = running(rate)
        # Before the first minute acid was made at its rate.
        before = rate[0] * (np.minimum(now_min, 0.5) - np.minimum(entered_min, 0.5))
        at_ph7 = before + np.interp(now_min, middle, total) - np.interp(entered_min, middle, total)
        begun = tracers[:, Tracer.PH] - tracers[:, Tracer.SOURED]
        aged[:, Tracer.SOURED] += begun - ph_after_acid(begun, at_ph7)
    if passage.fall_min is not None:
        aged[:, Tracer.TO_FALL] *= np.exp(-(now_min - entered_min) / passage.fall_min)
    return aged
