"""How juice passes through vessels: carrying signals by parcel, ages, plug flow.

One operator does everything: *carry*, which turns the signal of the juice flowing in into the
signal of the juice flowing out. Residence time is the clock minus the carried clock; the dose
of heat or acid a parcel took up is the running dose minus the carried running dose.

Series as in `features.flow.transport`: one value a minute, volumes at the edges of the minutes.
"""

from __future__ import annotations

import numpy as np

from features.base import BoolArray, FloatArray
from features.flow.transport import Stirred, outflow_by_balance_m3_h, transport_plug_flow

#: Parcels leaving within one minute differ in entry by that minute: variance of 1 min [min2].
_MINUTE_VARIANCE = 1.0 / 12.0


def transport_series(
    signal_in: FloatArray,
    start: FloatArray | float,
    flow_in_m3_h: FloatArray,
    volume_edges_m3: FloatArray,
    tanks: int,
    dead_fraction: float = 0.0,
) -> FloatArray:
    """Carry signals through a vessel described as equal stirred tanks in series.

    Parameters
    ----------
    signal_in : ndarray, shape (n,) or (n, m)
        Signal of the juice flowing in, per minute [any].
    start : float or ndarray, shape (m,) or (tanks, m)
        Signal of the content at the start, alike in all tanks or of each [as `signal_in`].
    flow_in_m3_h : ndarray, shape (n,)
        Inflow [m3/h], not negative.
    volume_edges_m3 : ndarray, shape (n + 1,)
        Whole volume at the edges of the minutes [m3].
    tanks : int
        Number of tanks; 0 stands for plug flow.
    dead_fraction : float
        Share of the volume that juice does not reach [-], 0 to below 1.

    Returns
    -------
    ndarray, shape of `signal_in`
        Mean of the outflow over each minute.

    Raises
    ------
    ValueError
        If `tanks` is negative or `dead_fraction` outside [0, 1).
    """
    if tanks < 0 or not 0.0 <= dead_fraction < 1.0:
        raise ValueError(
            f"carry_series: tanks {tanks}, dead fraction {dead_fraction}; "
            "give tanks of 0 or more and a dead fraction from 0 to below 1"
        )
    live = volume_edges_m3 * (1.0 - dead_fraction)
    if tanks == 0:
        return transport_plug_flow(signal_in, start, flow_in_m3_h, live)
    cell = live / tanks
    flow, signal = flow_in_m3_h, signal_in
    columns = signal_in.shape[1] if signal_in.ndim > 1 else 1
    tank = Stirred.of(flow, cell)
    for number, first in enumerate(np.broadcast_to(start, (tanks, columns))):
        if number:
            before, flow = flow, np.maximum(outflow_by_balance_m3_h(flow, cell), 0.0)
            tank = tank if np.array_equal(before, flow) else Stirred.of(flow, cell)
        signal, _end = tank.carry(signal, first)
    return signal


def residence_min(
    flow_in_m3_h: FloatArray,
    volume_edges_m3: FloatArray,
    tanks: int = 1,
    dead_fraction: float = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Mean age and its standard deviation of the juice leaving a vessel.

    Parameters
    ----------
    flow_in_m3_h : ndarray, shape (n,)
        Inflow [m3/h], not negative.
    volume_edges_m3 : ndarray, shape (n + 1,)
        Whole volume at the edges of the minutes [m3].
    tanks : int
        Tanks in series; 0 stands for plug flow.
    dead_fraction : float
        Share of the volume that juice does not reach [-].

    Returns
    -------
    mean_min, sd_min : ndarray, shape (n,)
        Mean and standard deviation of the residence time [min]. The first content counts as
        having entered at the mean flow of the series; in plug flow all of it as of one age.
    """
    n = flow_in_m3_h.shape[0]
    clock = clock_min(n)
    filled = float(volume_edges_m3[0]) * (1.0 - dead_fraction)
    usual = 60.0 * filled / max(float(np.mean(flow_in_m3_h)), 1e-9)
    starts = [clock_start(age := usual / max(tanks, 1))]
    for _ in range(1, tanks):
        starts.append(clock_start_of_next(starts[-1], age))
    first = np.stack(starts)
    entry = transport_series(clock, first, flow_in_m3_h, volume_edges_m3, tanks, dead_fraction)
    return age_moments_min(entry, clock[:, 0])


def clock_min(n: int) -> FloatArray:
    """Columns t and t squared, as means over each minute.

    Parameters
    ----------
    n : int
        Number of minutes.

    Returns
    -------
    ndarray, shape (n, 2)
        Clock [min] and its square [min2].
    """
    middle = np.arange(n) + 0.5
    return np.column_stack((middle, middle**2 + _MINUTE_VARIANCE))


def clock_start(age_min: float) -> FloatArray:
    """Clock columns of a first content of a given mean age, ages spread as in a stirred tank.

    Parameters
    ----------
    age_min : float
        Mean age at the start [min].

    Returns
    -------
    ndarray, shape (2,)
        Mean entry time [min] and its mean square [min2].
    """
    return np.array([-age_min, 2.0 * age_min**2])


def clock_start_of_next(start: FloatArray, age_min: float) -> FloatArray:
    """Clock columns of the first content of the next tank: older by one more stirred tank.

    Parameters
    ----------
    start : ndarray, shape (2,)
        Of the tank before it, see `clock_start`.
    age_min : float
        Mean age that the tank adds [min].

    Returns
    -------
    ndarray, shape (2,)
        Mean entry time [min] and its mean square [min2]; means and variances add up.
    """
    mean = start[0] - age_min
    return np.array([mean, mean**2 + (start[1] - start[0] ** 2) + age_min**2])


def age_moments_min(entry: FloatArray, now_min: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Age and its spread from a carried clock.

    Parameters
    ----------
    entry : ndarray, shape (n, 2)
        Carried clock columns, see `clock_min`.
    now_min : ndarray, shape (n,)
        Clock [min].

    Returns
    -------
    mean_min, sd_min : ndarray, shape (n,)
        Mean age and its standard deviation [min].
    """
    variance = entry[:, 1] - entry[:, 0] ** 2 - _MINUTE_VARIANCE
    return now_min - entry[:, 0], np.sqrt(np.maximum(variance, 0.0))


def mix_parallel(flows_m3_h: list[FloatArray], signals: list[FloatArray]) -> FloatArray:
    """Signal of several streams joined, each weighing by its flow.

    Parameters
    ----------
    flows_m3_h : list of ndarray, shape (n,)
        Flow of each stream [m3/h], not negative.
    signals : list of ndarray, shape (n, m)
        Signals of each stream [any].

    Returns
    -------
    ndarray, shape (n, m)
        Joined signal; the plain mean in minutes without any flow.
    """
    total = np.sum(flows_m3_h, axis=0)
    standing: BoolArray = total <= 0.0
    divisor = np.where(standing, float(len(flows_m3_h)), total)
    weights = [np.where(standing, 1.0, flow) / divisor for flow in flows_m3_h]
    return np.asarray(sum(w[:, None] * s for w, s in zip(weights, signals, strict=True)))
