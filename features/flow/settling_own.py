"""What a mill's own turbidity tells of its settler: how load and thinner juice change it.

Clear juice grows turbid as the settler nears its limit. How much thinner juice relieves it, in the
same turbidity, says how far dilution acts at this mill as the trade's settling times have it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from features.base import FloatArray

#: Hours needed, and standard errors by which turbidity must rise with load.
_LEAST_HOURS, _LEAST_T = 120, 3.0
#: Hours below this share of the usual load are stops and starts, and speak of other things.
_LEAST_LOAD = 0.6
#: Hours over which what is left of turbidity hangs together.
_LAGS = 24
#: Standard errors that allow for residuals that hang together come out too small on a few weeks.
_TOO_SMALL = 1.35
#: Rounds of reweighting against wild hours, and where it begins [robust standard deviations].
_ROUNDS, _HUBER = 5, 2.0


@dataclass(frozen=True, slots=True)
class OwnSettling:
    """What turbidity tells; numbers are None where it tells nothing.

    Attributes
    ----------
    power, power_sd : float or None
        Turbidity goes with this power of the load [-], and its standard error.
    by_water, by_water_sd : float or None
        How far thinner juice relieves the settler: 0 through viscosity alone, 1 as the trade's
        times of diluted juice have it [-]; None where Brix hardly moved.
    hours : int
        Hours behind it.
    reason : str
        Why there is no answer; empty where there is one.
    """

    power: float | None = None
    power_sd: float | None = None
    by_water: float | None = None
    by_water_sd: float | None = None
    hours: int = 0
    reason: str = ""

    @property
    def doubling_pct(self) -> float | None:
        """Load that doubles the turbidity [% above the usual]."""
        return None if self.power is None else 100.0 * (2.0 ** (1.0 / self.power) - 1.0)


def own_settling(
    load_m_h: FloatArray,
    by_viscosity: FloatArray,
    by_crowd: FloatArray,
    turbidity: FloatArray,
    mud_level_pct: FloatArray | None = None,
) -> OwnSettling:
    """Fit turbidity to load, juice and mud level.

    Parameters
    ----------
    load_m_h : ndarray, shape (n,)
        Overflow velocity, hourly means while running [m/h].
    by_viscosity, by_crowd : ndarray, shape (n,)
        Factors on the settling speed by viscosity alone, and by all that dilution does beyond it
        [-]; see `features.flow.settling_correction`.
    turbidity : ndarray, shape (n,)
        Of clear juice in the same hours [any unit].
    mud_level_pct : ndarray, shape (n,), optional
        Mud level [%]; taken into account where it is read.

    Returns
    -------
    OwnSettling

    Raises
    ------
    ValueError
        If the arrays differ in length.

    Notes
    -----
    Least squares of logarithms with Huber weights; standard errors allow for residuals that hang
    together for a day (Newey 1987).
    """
    columns = [load_m_h, by_viscosity, by_crowd, turbidity]
    columns += [] if mud_level_pct is None else [mud_level_pct]
    if len({c.shape for c in columns}) != 1:
        raise ValueError("own_settling: arrays differ in length; give hourly means of each")
    known = np.isfinite(columns).all(axis=0) & (np.min(columns[:4], axis=0) > 0.0)
    if known.any():
        known &= load_m_h >= _LEAST_LOAD * np.median(load_m_h[known])
    hours = int(known.sum())
    if hours < _LEAST_HOURS:
        return OwnSettling(hours=hours, reason=f"only {hours} h with turbidity, load and Brix")
    load, thin, crowd = (np.log(c[known]) for c in columns[:3])
    basis = [np.ones(hours), load - thin, np.linspace(-1.0, 1.0, hours)]
    swings = float(np.std(crowd)) > 0.02
    basis += [crowd] if swings else []
    if mud_level_pct is not None and float(np.std(mud_level_pct[known])) > 0.1:
        basis.append(mud_level_pct[known] / 100.0)
    found, covariance = _fitted(np.column_stack(basis), np.log(turbidity[known]))
    power, sd = float(found[1]), float(np.sqrt(covariance[1, 1]))
    if power < _LEAST_T * sd:
        return OwnSettling(hours=hours, reason="turbidity does not follow the load of the settler")
    if not swings:
        return OwnSettling(power, sd, hours=hours)
    share = -float(found[3]) / power
    slope = np.array([share, 1.0]) / power
    pair = covariance[np.ix_([1, 3], [1, 3])]
    return OwnSettling(power, sd, share, float(np.sqrt(slope @ pair @ slope)), hours)


def _fitted(basis: FloatArray, seen: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Coefficients and their covariance."""
    weights = np.ones(len(seen))
    for _ in range(_ROUNDS):
        root = np.sqrt(weights)
        found = np.linalg.lstsq(basis * root[:, None], seen * root, rcond=None)[0]
        left = seen - basis @ found
        spread = float(np.median(np.abs(left - np.median(left)))) / 0.6745
        weights = np.minimum(1.0, _HUBER * spread / np.maximum(np.abs(left), 1e-12))
    inverse = np.linalg.pinv((basis * weights[:, None]).T @ basis)
    score = basis * (weights * left)[:, None]
    total = score.T @ score
    for lag in range(1, min(_LAGS, len(seen) - 1) + 1):
        cross = score[lag:].T @ score[:-lag]
        total = total + (1.0 - lag / (_LAGS + 1.0)) * (cross + cross.T)
    return np.asarray(found, dtype=np.float64), _TOO_SMALL**2 * (inverse @ total @ inverse)
