"""How much of a vessel juice really passes through, from transients that cross it.

A swing of Brix, temperature or conductivity at the inlet shows at the outlet later and rounder.
On the axis of volume passed, a changing flow no longer matters: delay and rounding are those of
tanks in series of a fixed volume, and what is missing to the nominal volume is dead.

The search asks it whether a settler short-circuits; a person may choose days that hold a swing, and
write the volume found into the mill's description.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from features.base import BoolArray, FloatArray
from features.flow.transport import Stirred, cumulative_volume_m3, transport_plug_flow

#: Steps of the volume axis per nominal volume.
_STEPS = 60
#: Search range of the effective volume over the nominal one [-].
_LEAST, _MOST = 0.2, 1.6
#: Volumes to leave out at the start, where the first content still shows, and needed in all.
_BURN_IN, _NEEDED = 3.0, 8.0
#: Residuals beyond this many robust standard deviations weigh less (Huber).
_HUBER = 2.0
_ROUNDS = 2
#: 90 % interval of a normal error.
_Z90 = 1.645
#: Standard errors that allow for hanging-together residuals come out too small on a few dozen
#: volumes of juice: by a quarter on simulated signals, which the tests repeat with others.
_TOO_SMALL = 1.35
#: A transient must stand out by so many standard errors, and settle the volume to within this.
_LEAST_T, _WIDEST = 6.0, 0.25
_NO_TRANSIENT = (
    "the signals carry no transient that stands out at the outlet; "
    "take a period with a swing of Brix, temperature or conductivity at the inlet"
)


@dataclass(frozen=True, slots=True)
class EffectiveResidence:
    """What transients tell about a vessel; all but `reason` is None where they tell nothing.

    Attributes
    ----------
    volume_m3 : float or None
        Volume the juice passes through [m3].
    low_m3, high_m3 : float or None
        Its 90 % interval [m3].
    tanks : int or None
        Tanks in series that fit best.
    ratio : float or None
        Effective over nominal volume [-]; one less it is the dead fraction.
    reason : str or None
        Why there is no answer.
    """

    volume_m3: float | None = None
    low_m3: float | None = None
    high_m3: float | None = None
    tanks: int | None = None
    ratio: float | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Crossing:
    """Both signals on the volume axis."""

    inlet: FloatArray
    outlet: FloatArray
    used: BoolArray
    step_m3: float

    def arriving(self, volume_m3: float, tanks: int) -> FloatArray:
        """Inlet signal as it would leave a vessel of that volume."""
        n, first = self.inlet.shape[0], float(self.inlet[0])
        if tanks == 0:
            per_step, edges = np.full(n, 60.0 * self.step_m3), np.full(n + 1, volume_m3)
            return transport_plug_flow(self.inlet, first, per_step, edges)
        tank = Stirred.steady(n, 60.0 * self.step_m3, volume_m3 / tanks)
        signal = self.inlet
        for _ in range(tanks):
            signal, _end = tank.carry(signal, first)
        return signal

    def basis(self, signal: FloatArray) -> FloatArray:
        """Columns the outlet is made of: the arriving signal, an offset and a slow drift."""
        n = signal.shape[0]
        drift = np.linspace(-1.0, 1.0, n)
        return np.column_stack((signal, np.ones(n), drift))[self.used]


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """Best fit of one number of tanks."""

    volume_m3: float
    tanks: int
    misfit: float
    gain: float
    gain_error: float
    volume_error_m3: float


def effective_residence(
    inlet: FloatArray,
    outlet: FloatArray,
    flow_m3_h: FloatArray,
    volume_nominal_m3: float,
    tanks: int | Sequence[int] = (1, 2, 3, 4, 6),
) -> EffectiveResidence:
    """Estimate the volume juice passes through from one signal measured on both sides.

    Parameters
    ----------
    inlet, outlet : ndarray, shape (n,)
        The same quantity before and after the vessel, one value a minute [any unit]; NaN where
        missing. Scale, offset and a slow drift between the two meters are fitted away.
    flow_m3_h : ndarray, shape (n,)
        Flow through the vessel [m3/h]; NaN counts as no flow. Of a settler, the overflow plus
        half the mud is a fair value.
    volume_nominal_m3 : float
        Volume by its dimensions [m3], above 0; the level must be steady.
    tanks : int or sequence of int
        Tanks in series to try; 0 stands for plug flow.

    Returns
    -------
    EffectiveResidence
        Volume with 90 % interval, tanks and ratio; nulls and a reason where the signals carry
        no transient that stands out of their noise, or too little juice has passed.

    Raises
    ------
    ValueError
        If the arrays differ in length, the volume is not positive or no tanks are given.

    Notes
    -----
    Least squares with Huber weights on the cumulative-volume axis (own method; tanks in series:
    Levenspiel 1999). The interval allows for correlated residuals (Newey 1987) and for numbers of
    tanks that fit about as well. Time, not volume, cools juice: a temperature swing of a vessel
    that loses much heat gives too small a volume.
    """
    numbers = (tanks,) if isinstance(tanks, int) else tuple(tanks)
    _check(inlet, outlet, flow_m3_h, volume_nominal_m3, numbers)
    crossing = _on_volume_axis(inlet, outlet, flow_m3_h, volume_nominal_m3)
    if isinstance(crossing, str):
        return EffectiveResidence(reason=crossing)
    if float(np.ptp(crossing.inlet)) <= 1e-9 * float(np.max(np.abs(crossing.inlet))):
        return EffectiveResidence(reason=_NO_TRANSIENT)
    fits = [_best_volume(crossing, number, volume_nominal_m3) for number in numbers]
    return _judged(fits, int(crossing.used.sum()), volume_nominal_m3)


def _check(
    inlet: FloatArray,
    outlet: FloatArray,
    flow_m3_h: FloatArray,
    volume_m3: float,
    numbers: tuple[int, ...],
) -> None:
    """Refuse what cannot be fitted."""
    if not inlet.shape == outlet.shape == flow_m3_h.shape:
        raise ValueError(
            f"effective_residence: inlet {inlet.shape}, outlet {outlet.shape} and flow "
            f"{flow_m3_h.shape} differ; give one value a minute of each"
        )
    if not volume_m3 > 0.0 or not numbers or min(numbers) < 0:
        raise ValueError(
            f"effective_residence: volume {volume_m3}, tanks {numbers}; "
            "give a volume above 0 and tanks of 0 or more"
        )


def _on_volume_axis(
    inlet: FloatArray, outlet: FloatArray, flow_m3_h: FloatArray, volume_m3: float
) -> _Crossing | str:
    """Means of both signals over equal steps of volume passed, or why there are none."""
    passed = cumulative_volume_m3(np.maximum(np.nan_to_num(flow_m3_h), 0.0))
    step = volume_m3 / _STEPS
    count = int(passed[-1] / step)
    if passed[-1] < _NEEDED * volume_m3:
        return (
            f"only {passed[-1] / volume_m3:.1f} volumes of juice passed; "
            f"{_NEEDED:.0f} are needed, so give a longer period"
        )
    place = np.minimum((0.5 * (passed[1:] + passed[:-1]) / step).astype(np.int64), count - 1)
    moving = np.diff(passed) > 0.0
    means, known = [], np.ones(count, dtype=np.bool_)
    for signal in (inlet, outlet):
        mean, seen = _step_means(signal, place, moving, count)
        if seen.sum() < 0.5 * count:
            return "one of the two signals is missing for more than half of the juice"
        means.append(mean)
        known &= seen
    # Juice between two readings a minute apart may skip a step; that is no gap.
    known = np.convolve(known, np.ones(5), mode="same") > 0.0
    known &= np.arange(count) >= _BURN_IN * _STEPS
    return _Crossing(means[0], means[1], known, step)


def _step_means(
    signal: FloatArray, place: np.ndarray[tuple[int], np.dtype[np.int64]], moving: BoolArray, n: int
) -> tuple[FloatArray, BoolArray]:
    """Mean of a signal in each step of volume, straight across empty steps, and where it is."""
    valid = moving & np.isfinite(signal)
    number = np.bincount(place[valid], minlength=n)
    seen = number > 0
    if not seen.any():
        return np.zeros(n), seen
    total = np.bincount(place[valid], signal[valid], n)
    steps = np.arange(n)
    return np.interp(steps, steps[seen], total[seen] / number[seen]), seen


def _best_volume(crossing: _Crossing, tanks: int, nominal_m3: float) -> _Fit:
    """Least-squares volume for a number of tanks: a coarse search, refined, reweighted."""
    weights = np.ones(int(crossing.used.sum()))
    best = nominal_m3
    for _ in range(_ROUNDS):
        misfit = _Misfit(crossing, weights)
        low, high = _LEAST * nominal_m3, _MOST * nominal_m3
        for points in (29, 9, 9, 9):
            tried = np.linspace(low, high, points)
            misfits = [misfit.of(crossing.arriving(v, tanks)) for v in tried]
            best, width = float(tried[int(np.argmin(misfits))]), float(tried[1] - tried[0])
            low = max(best - width, _LEAST * nominal_m3)
            high = min(best + width, _MOST * nominal_m3)
        weights = _huber(_regress(crossing, best, tanks, weights)[2])
    return _with_errors(crossing, best, tanks, weights)


class _Misfit:
    """Weighted misfit of many signals, with the offset and the drift taken out once for all."""

    def __init__(self, crossing: _Crossing, weights: FloatArray) -> None:
        self._used, self._root = crossing.used, np.sqrt(weights)
        n = crossing.inlet.shape[0]
        beside = crossing.basis(np.zeros(n))[:, 1:] * self._root[:, None]
        self._beside = np.linalg.qr(beside)[0]
        self._outlet = self._without(crossing.outlet[self._used] * self._root)

    def of(self, signal: FloatArray) -> float:
        """Sum of weighted squares that the signal, an offset and a drift leave."""
        left = self._without(signal[self._used] * self._root)
        size = float(left @ left)
        rest = self._outlet - left * (float(left @ self._outlet) / size if size > 0.0 else 0.0)
        return float(rest @ rest)

    def _without(self, values: FloatArray) -> FloatArray:
        return np.asarray(values - self._beside @ (values @ self._beside))


def _regress(
    crossing: _Crossing, volume_m3: float, tanks: int, weights: FloatArray
) -> tuple[FloatArray, float, FloatArray]:
    """Coefficients, weighted misfit and residuals at a volume."""
    basis = crossing.basis(crossing.arriving(volume_m3, tanks))
    outlet = crossing.outlet[crossing.used]
    root = np.sqrt(weights)
    found = np.linalg.lstsq(basis * root[:, None], outlet * root, rcond=None)[0]
    residual = outlet - basis @ found
    return np.asarray(found), float(np.sum(weights * residual**2)), residual


def _huber(residual: FloatArray) -> FloatArray:
    """Weights that keep single wild readings from deciding."""
    spread = float(np.median(np.abs(residual - np.median(residual)))) / 0.6745
    return np.minimum(1.0, _HUBER * spread / np.maximum(np.abs(residual), 1e-12 + 1e-9 * spread))


def _with_errors(crossing: _Crossing, volume_m3: float, tanks: int, weights: FloatArray) -> _Fit:
    """Fit with standard errors that allow for residuals that hang together."""
    found, misfit, residual = _regress(crossing, volume_m3, tanks, weights)
    nudge = 0.02 * volume_m3
    ahead = crossing.arriving(volume_m3 + nudge, tanks)
    behind = crossing.arriving(volume_m3 - nudge, tanks)
    slope = found[0] * (ahead - behind)[crossing.used] / (2.0 * nudge)
    basis = crossing.basis(crossing.arriving(volume_m3, tanks))
    jacobian = np.column_stack((slope, basis)) * np.sqrt(weights)[:, None]
    scale = np.maximum(np.linalg.norm(jacobian, axis=0), 1e-12)
    inverse = np.linalg.pinv((jacobian / scale).T @ (jacobian / scale))
    score = (jacobian / scale) * (np.sqrt(weights) * residual)[:, None]
    covariance = inverse @ _long_run(score, _STEPS) @ inverse
    errors = _TOO_SMALL * np.sqrt(np.maximum(np.diag(covariance), 0.0)) / scale
    return _Fit(volume_m3, tanks, misfit, float(found[0]), float(errors[1]), float(errors[0]))


def _long_run(score: FloatArray, lags: int) -> FloatArray:
    """Sum of autocovariances with falling weights (Newey 1987)."""
    total = score.T @ score
    for lag in range(1, min(lags, score.shape[0] - 1) + 1):
        cross = score[lag:].T @ score[:-lag]
        total = total + (1.0 - lag / (lags + 1.0)) * (cross + cross.T)
    return np.asarray(total)


def _judged(fits: list[_Fit], steps: int, nominal_m3: float) -> EffectiveResidence:
    """Choose the number of tanks and say whether the transients settle the volume."""
    best = min(fits, key=lambda fit: fit.misfit)
    if best.gain <= _LEAST_T * best.gain_error:
        return EffectiveResidence(reason=_NO_TRANSIENT)
    if not _LEAST * 1.01 < best.volume_m3 / nominal_m3 < _MOST * 0.99:
        return EffectiveResidence(
            reason=f"the delay is outside {_LEAST:.1f} to {_MOST:.1f} nominal volumes; "
            "check volume, flow and whether both signals belong to this vessel"
        )
    # Residuals hang together over about a tenth of a volume: so many of them count as one.
    alike = 1.0 + 6.0 / max(steps * 10.0 / _STEPS, 1.0)
    rivals = [fit for fit in fits if fit.misfit <= alike * best.misfit]
    low = min(fit.volume_m3 - _Z90 * fit.volume_error_m3 for fit in rivals)
    high = max(fit.volume_m3 + _Z90 * fit.volume_error_m3 for fit in rivals)
    if high - low > 2.0 * _WIDEST * best.volume_m3:
        return EffectiveResidence(
            reason=f"the transients leave the volume open from {low:.0f} to {high:.0f} m3; "
            "take a longer period or one with sharper swings"
        )
    ratio = best.volume_m3 / nominal_m3
    return EffectiveResidence(best.volume_m3, low, high, best.tanks, ratio)
