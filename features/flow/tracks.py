"""Signals as the physics needs them: gap-free values plus a mask of what is really known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from features.base import BoolArray, FloatArray, Port, Quantity, Station
from features.kinetics import ph_at_sample

#: Longest gap bridged for the physics [min]; rows in longer gaps get no loss.
LONGEST_BRIDGE_MIN = 30
#: Widths of the running means that take the noise out of d(level)/dt [min], narrow to wide.
LEVEL_SMOOTHING_MIN = (3, 5, 9)
#: A wider mean is taken where it lies within this many standard errors of the narrower one.
_SMOOTHING_SIGMAS = 4.5
#: Median size of third differences of unit white noise: 0.6745 sqrt(1 + 9 + 9 + 1) (computed).
_THIRD_DIFFERENCE = 3.0164


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """One quantity, minute by minute.

    Attributes
    ----------
    values : ndarray, shape (n,)
        Gap-free values [as the signal].
    known : ndarray of bool, shape (n,)
        False in gaps too long to bridge.
    measured : bool
        False when no signal measures it and the target stands in.
    """

    values: FloatArray
    known: BoolArray
    measured: bool

    def or_null(self) -> FloatArray:
        """Values with NaN where unknown, and NaN throughout when nothing measured it."""
        if not self.measured:
            return np.full(self.values.shape, np.nan)
        return np.where(self.known, self.values, np.nan)


def bridge(values: FloatArray, step: bool = False) -> tuple[FloatArray, BoolArray]:
    """Fill gaps and tell which rows are known.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Values with NaN in the gaps [any].
    step : bool
        Hold the last value in a gap (set-point like) instead of running straight across it.

    Returns
    -------
    filled : ndarray, shape (n,)
        Values without NaN (0 when there is none at all).
    known : ndarray of bool, shape (n,)
        False in gaps longer than `LONGEST_BRIDGE_MIN`.
    """
    n = values.shape[0]
    rows = np.arange(n)
    valid = np.flatnonzero(np.isfinite(values))
    if valid.size == n:
        return values, np.ones(n, dtype=np.bool_)
    if valid.size == 0:
        return np.zeros(n), np.zeros(n, dtype=np.bool_)
    place = np.searchsorted(valid, rows, side="right") - 1
    before = np.where(place >= 0, valid[np.maximum(place, 0)], -1)
    following = np.minimum(np.searchsorted(valid, rows), valid.size - 1)
    after = np.where(valid[following] >= rows, valid[following], n)
    gap = np.where(before == rows, 0, after - before - 1)
    filled = np.interp(rows, valid, values[valid])
    if step:
        filled = np.where(before >= 0, values[np.maximum(before, 0)], filled)
    return filled, gap <= LONGEST_BRIDGE_MIN


def smooth(values: FloatArray) -> FloatArray:
    """Take the noise out of a level without rounding off where it turns.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Gap-free values [any].

    Returns
    -------
    ndarray, shape (n,)
        Smoothed values.

    Notes
    -----
    Row by row the widest running mean is taken that agrees with the narrower ones within their
    noise. A level that starts or stops moving keeps its kink, and one without noise is left as it
    is: a mean across the kink at a restart would put juice into a tank before it flowed. The
    noise is the median of third differences, which ramps and swings leave out.
    """
    if values.shape[0] < 4:
        return values
    noise = float(np.median(np.abs(np.diff(values, 3)))) / _THIRD_DIFFERENCE
    result, variance = values, np.full(values.shape, noise**2)
    going = np.ones(values.shape, dtype=np.bool_)
    for width in LEVEL_SMOOTHING_MIN:
        wider = running_mean(values, width)
        # The difference of nested means has the variance of the narrower less the wider one's.
        spread = np.sqrt(np.maximum(variance - noise**2 / width, 0.0))
        going &= np.abs(wider - result) <= _SMOOTHING_SIGMAS * spread
        result = np.where(going, wider, result)
        variance = np.where(going, noise**2 / width, variance)
    return np.asarray(result)


def running_mean(values: FloatArray, width: int) -> FloatArray:
    """Centred running mean that narrows towards both ends.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Gap-free values [any].
    width : int
        Number of rows, odd.

    Returns
    -------
    ndarray, shape (n,)
        Means.
    """
    n = values.shape[0]
    total = np.concatenate(([0.0], np.cumsum(values)))
    half = np.minimum(width // 2, np.minimum(np.arange(n), np.arange(n)[::-1]))
    rows = np.arange(n)
    return np.asarray((total[rows + half + 1] - total[rows - half]) / (2 * half + 1))


@dataclass(frozen=True, slots=True, eq=False)
class Tracks:
    """Reads tracks of a station off a one-minute grid."""

    grid: pl.DataFrame
    station: Station

    @property
    def rows(self) -> int:
        """Number of minutes."""
        return self.grid.height

    def target(self, value: float) -> Track:
        """Track of a target that nothing measures."""
        full = np.full(self.rows, float(value))
        return Track(full, np.ones(self.rows, dtype=np.bool_), measured=False)

    def has(self, quantity: Quantity, place: str, port: Port | None = None) -> bool:
        """Whether the station names such a signal and the grid holds its column."""
        signal = self.station.signal(quantity, place, port)
        return signal is not None and signal.name in self.grid.columns

    def read(self, quantity: Quantity, place: str, ports: tuple[Port, ...], target: float) -> Track:
        """First signal of the ports given; later ports fill its gaps, the target stands in.

        Parameters
        ----------
        quantity, place : str
            What is wanted and where.
        ports : tuple of str
            Ports in order of preference.
        target : float
            Value taken when the station measures it nowhere [unit of the quantity].

        Returns
        -------
        Track
            The quantity minute by minute.
        """
        raw = np.full(self.rows, np.nan)
        step, found = False, False
        for port in ports:
            if not self.has(quantity, place, port):
                continue
            signal = self.station.signal(quantity, place, port)
            if signal is None:
                continue
            column = self.grid[signal.name].cast(pl.Float64).fill_null(np.nan).to_numpy()
            raw = np.where(np.isfinite(raw), raw, column)
            step = signal.interpolation == "step" if not found else step
            found = True
        if not found:
            return self.target(target)
        filled, known = bridge(raw, step)
        if not np.isfinite(raw).any():
            filled = np.full(self.rows, float(target))
        return Track(filled, known, measured=True)

    def column(self, name: str, target: float) -> Track:
        """Track of a grid column that is no signal, such as a lab purity joined by the caller."""
        if name not in self.grid.columns:
            return self.target(target)
        raw = self.grid[name].cast(pl.Float64).fill_null(np.nan).to_numpy()
        filled, known = bridge(raw, step=True)
        return Track(filled, known, measured=True)

    def ph_cold(self, place: str, ports: tuple[Port, ...], temp: Track, target: float) -> Track:
        """Read a pH as of a cooled sample, whatever the probe's basis.

        Parameters
        ----------
        place : str
            Vessel or ``mixed_juice``.
        ports : tuple of str
            Ports in order of preference; the first present is taken.
        temp : Track
            Juice temperature at the probe [degC].
        target : float
            Cold pH taken when nothing measures it [-].

        Returns
        -------
        Track
            Cold pH.
        """
        for port in ports:
            if not self.has("ph", place, port):
                continue
            track = self.read("ph", place, (port,), target)
            signal = self.station.signal("ph", place, port)
            if signal is None or signal.basis == "cold":
                return track
            kinetics = self.station.kinetics
            cold = ph_at_sample(track.values, temp.values, kinetics.ph_slope, kinetics.ph_ref_degc)
            return Track(np.asarray(cold), track.known & temp.known, measured=True)
        return self.target(target)
