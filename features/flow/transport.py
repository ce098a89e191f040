"""Carrying signals by parcel through one vessel: well stirred, or first in first out.

Flows are constant within a minute and volumes run linearly between its edges. All series hold
one value a minute, the mean over ``[t, t + 1 min)``; volumes are given at the n + 1 edges.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from features.base import FloatArray
from features.flow.scan import band_of, linear_recurrence, solve_band

#: A vessel is never quite empty, so that what flows in has somewhere to be [m3].
LEAST_VOLUME_M3 = 1e-6


def edges_from_means(volume_m3: FloatArray) -> FloatArray:
    """Volumes at the edges of the minutes from their means.

    Parameters
    ----------
    volume_m3 : ndarray, shape (n,)
        Mean volume of each minute [m3].

    Returns
    -------
    ndarray, shape (n + 1,)
        Volume at the edges [m3]: midway between neighbours, held at both ends.
    """
    padded = np.concatenate((volume_m3[:1], volume_m3, volume_m3[-1:]))
    return 0.5 * (padded[1:] + padded[:-1])


def cumulative_volume_m3(flow_m3_h: FloatArray) -> FloatArray:
    """Volume passed since the start, at the edges of the minutes.

    Parameters
    ----------
    flow_m3_h : ndarray, shape (n,)
        Flow of each minute [m3/h], not negative.

    Returns
    -------
    ndarray, shape (n + 1,)
        Running total [m3], starting at 0.
    """
    return np.concatenate(([0.0], np.cumsum(flow_m3_h / 60.0)))


def outflow_by_balance_m3_h(flow_in_m3_h: FloatArray, volume_edges_m3: FloatArray) -> FloatArray:
    """Outflow that closes the volume balance of a vessel.

    Parameters
    ----------
    flow_in_m3_h : ndarray, shape (n,)
        Inflow of each minute [m3/h].
    volume_edges_m3 : ndarray, shape (n + 1,)
        Volume at the edges of the minutes [m3].

    Returns
    -------
    ndarray, shape (n,)
        Outflow [m3/h]; negative where the level rises faster than juice flows in.
    """
    return flow_in_m3_h - 60.0 * np.diff(volume_edges_m3)


def _mean_decay(z: FloatArray) -> FloatArray:
    """(1 - exp(-z)) / z, which is 1 at z = 0."""
    safe = np.where(np.abs(z) < 1e-12, 1.0, z)
    return np.where(np.abs(z) < 1e-12, 1.0 - 0.5 * z, -np.expm1(-safe) / safe)


def _log_mean(first: FloatArray, second: FloatArray) -> FloatArray:
    """Logarithmic mean of two positive numbers."""
    ratio = np.log(second / first)
    safe = np.where(np.abs(ratio) < 1e-9, 1.0, ratio)
    return np.where(np.abs(ratio) < 1e-9, 0.5 * (first + second), (second - first) / safe)


def transport_stirred(
    signal_in: FloatArray,
    start: FloatArray | float,
    flow_in_m3_h: FloatArray,
    volume_edges_m3: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Carry signals through a well-stirred vessel of varying flow and volume.

    Parameters
    ----------
    signal_in : ndarray, shape (n,) or (n, m)
        Signal of the juice flowing in, per minute [any].
    start : float or ndarray, shape (m,)
        Signal of the content at the start [as `signal_in`].
    flow_in_m3_h : ndarray, shape (n,)
        Inflow [m3/h], not negative; zero holds the content exactly.
    volume_edges_m3 : ndarray, shape (n + 1,)
        Volume reached by the juice at the edges of the minutes [m3].

    Returns
    -------
    signal_out : ndarray, shape of `signal_in`
        Mean of the content, and so of the outflow, over each minute.
    signal_end : ndarray, shape of `signal_in`
        Content at the end of each minute.

    Notes
    -----
    With inflow q, outflow o = q - dV/dt and volume running from V0 to V1 with logarithmic mean
    L, the exact update over a minute is c1 = cin + (c0 - cin) exp(-q/L), its mean
    cin + (c0 - cin) V0 (1 - exp(-o/L))/o. In = out + held follows without a residual.
    """
    return Stirred.of(flow_in_m3_h, volume_edges_m3).carry(signal_in, start)


@dataclass(frozen=True, slots=True, eq=False)
class Stirred:
    """A well-stirred vessel ready to carry signals: see `transport_stirred`.

    Attributes
    ----------
    fresh : ndarray, shape (n,)
        Share of the content that is new at the end of each minute [-].
    mean_weight : ndarray, shape (n,)
        Weight of the content before in the mean of each minute [-].
    band : ndarray, shape (2, n)
        The recurrence, see `features.flow.scan.band_of`.
    """

    fresh: FloatArray
    mean_weight: FloatArray
    band: FloatArray

    @classmethod
    def of(cls, flow_in_m3_h: FloatArray, volume_edges_m3: FloatArray) -> Stirred:
        """Vessel with these flows and volumes, as `transport_stirred` takes them."""
        volumes = np.maximum(volume_edges_m3, LEAST_VOLUME_M3)
        first, second = volumes[:-1], volumes[1:]
        per_min_in = flow_in_m3_h / 60.0
        turnover = 1.0 / _log_mean(first, second)
        per_min_out = per_min_in - (second - first)
        fresh = -np.expm1(-per_min_in * turnover)
        mean_weight = first * turnover * _mean_decay(per_min_out * turnover)
        return cls(fresh, mean_weight, band_of(1.0 - fresh))

    @classmethod
    def steady(cls, minutes: int, flow_in_m3_h: float, volume_m3: float) -> Stirred:
        """Vessel whose flow and volume stand still, as `of` makes it of series."""
        volumes = np.full(2, volume_m3)
        one = cls.of(np.full(1, flow_in_m3_h), volumes)
        fresh, mean_weight = (np.full(minutes, a[0]) for a in (one.fresh, one.mean_weight))
        return cls(fresh, mean_weight, band_of(1.0 - fresh))

    def carry(
        self, signal_in: FloatArray, start: FloatArray | float
    ) -> tuple[FloatArray, FloatArray]:
        """Mean and end of each minute, as `transport_stirred` gives them.

        Minutes lie beside each other in memory, whatever they do in `signal_in`: all that follows
        goes down columns.
        """
        shape = signal_in.shape
        if shape[0] == 0:
            return signal_in.copy(), signal_in.copy()
        rows = np.ascontiguousarray(signal_in.reshape(shape[0], -1).T, dtype=np.float64)
        end = rows * self.fresh
        end[:, 0] += (1.0 - self.fresh[0]) * start
        end = solve_band(self.band, end.T).T
        out = np.empty_like(rows)
        out[:, 1:] = end[:, :-1]
        out[:, 0] = start
        out -= rows
        out *= self.mean_weight
        out += rows
        return out.T.reshape(shape, order="A"), end.T.reshape(shape, order="A")


def transport_fading(
    signal_in: FloatArray,
    start: float,
    flow_in_m3_h: FloatArray,
    volume_edges_m3: FloatArray,
    fading_1_min: float,
) -> FloatArray:
    """Carry a signal that fades as it goes through a well-stirred vessel.

    Parameters
    ----------
    signal_in : ndarray, shape (n,)
        Signal of the juice flowing in, per minute [any].
    start : float
        Signal of the content at the start [as `signal_in`].
    flow_in_m3_h : ndarray, shape (n,)
        Inflow [m3/h], not negative.
    volume_edges_m3 : ndarray, shape (n + 1,)
        Volume at the edges of the minutes [m3].
    fading_1_min : float
        First-order rate at which the signal fades [1/min], above 0.

    Returns
    -------
    ndarray, shape (n,)
        Mean of the content over each minute.

    Notes
    -----
    Within a minute c runs towards cin q / (q + k L) at the rate q/L + k, exact where the volume
    stands still.
    """
    volumes = np.maximum(volume_edges_m3, LEAST_VOLUME_M3)
    fresh = flow_in_m3_h / 60.0 / _log_mean(volumes[:-1], volumes[1:])
    pace = fresh + fading_1_min
    toward = signal_in * fresh / pace
    end = linear_recurrence(np.exp(-pace), -np.expm1(-pace) * toward, start)
    before = np.concatenate(([start], end[:-1]))
    return toward + (before - toward) * _mean_decay(pace)


def plug_flow_position_m3(flow_in_m3_h: FloatArray, volume_edges_m3: FloatArray) -> FloatArray:
    """Cumulative inflow that has reached the outlet of a first-in-first-out vessel.

    Parameters
    ----------
    flow_in_m3_h : ndarray, shape (n,)
        Inflow [m3/h], not negative.
    volume_edges_m3 : ndarray, shape (n + 1,)
        Volume at the edges of the minutes [m3].

    Returns
    -------
    ndarray, shape (n + 1,)
        Position on the inflow's volume axis [m3], never falling; negative for the first content.
    """
    position = cumulative_volume_m3(flow_in_m3_h) - volume_edges_m3
    return np.maximum.accumulate(position)


def transport_plug_flow(
    signal_in: FloatArray,
    start: FloatArray | float,
    flow_in_m3_h: FloatArray,
    volume_edges_m3: FloatArray,
) -> FloatArray:
    """Carry signals through a first-in-first-out vessel of varying flow and volume.

    Parameters
    ----------
    signal_in : ndarray, shape (n,) or (n, m)
        Signal of the juice flowing in, per minute [any].
    start : float or ndarray, shape (m,)
        Signal of the content at the start [as `signal_in`].
    flow_in_m3_h : ndarray, shape (n,)
        Inflow [m3/h], not negative.
    volume_edges_m3 : ndarray, shape (n + 1,)
        Volume at the edges of the minutes [m3].

    Returns
    -------
    ndarray, shape of `signal_in`
        Mean of the outflow over each minute; in a stop, the signal of the juice at the outlet.
    """
    rows = signal_in.reshape(signal_in.shape[0], -1)
    first = max(float(volume_edges_m3[0]), LEAST_VOLUME_M3)
    passed = np.concatenate(([-first], cumulative_volume_m3(flow_in_m3_h)))
    parcels = np.vstack((np.broadcast_to(start, (1, rows.shape[1])), rows))
    position = np.maximum(plug_flow_position_m3(flow_in_m3_h, volume_edges_m3), -first)
    front = np.clip(np.searchsorted(passed, position[1:], side="right") - 1, 0, len(parcels) - 1)
    # Cut the volume axis wherever a parcel or a minute ends: each piece belongs to one of both.
    # Local sums keep their digits where differences of a long running total would not.
    cuts = np.unique(np.concatenate((passed, position)))
    length, middle = np.diff(cuts), 0.5 * (cuts[1:] + cuts[:-1])
    parcel = np.clip(np.searchsorted(passed, middle, side="right") - 1, 0, len(parcels) - 1)
    minute = np.searchsorted(position, middle, side="right") - 1
    leaving = (minute >= 0) & (minute < rows.shape[0])
    length, parcel, minute = length[leaving], parcel[leaving], minute[leaving]
    left = np.bincount(minute, length, rows.shape[0])
    out = parcels[front]
    for column in range(rows.shape[1]):
        taken = np.bincount(minute, length * parcels[parcel, column], rows.shape[0])
        np.divide(taken, left, out=out[:, column], where=left > 0.0)
    return out.reshape(signal_in.shape)
