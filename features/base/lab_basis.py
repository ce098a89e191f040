"""Reducing sugars brought to one basis: told per solids or per pol, they become per juice.

A mill that tells reducing sugars on Brix or on pol tells a ratio of two analyses of one sample.
The balances need the share of the juice, so the other analysis of that sample is put back in.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: A result stands for the juice at most this long [h]; common practice is a sample a shift.
LONGEST_HOLD_H: Final = 12.0
_MICROSECONDS_A_HOUR: Final = 3.6e9
#: The analysis that reducing sugars on another basis are a share of.
COMPANION: Final = {"solids": "brix", "pol": "pol"}


def on_juice(results: pl.DataFrame) -> pl.DataFrame:
    """Reducing sugars of every basis as a share of the juice.

    Parameters
    ----------
    results : polars.DataFrame
        Columns ts_utc, analyte, place, port, value [%], sd [%], period_h, and basis (juice, solids
        or pol), sorted by time.

    Returns
    -------
    polars.DataFrame
        The same rows, those of basis juice first; value and sd are null where no Brix or pol of the
        same point is near enough.

    Notes
    -----
    rs on juice = rs on solids x Brix / 100, or rs on pol x pol / 100: "reducing sugars % Brix" and
    the "reducing sugar ratio" turned round (common practice). Brix and pol are read off a straight
    line between results at most `LONGEST_HOLD_H` apart; where there is no such line the nearest one
    stands, at most half as far away. A composite takes the composite of the same hours, or else
    the mean of the grabs in them. Errors of both analyses are joined as independent ones.
    """
    told = results.filter(pl.col("basis") != "juice")
    if told.is_empty():
        return results
    parts = [results.filter(pl.col("basis") == "juice")]
    keys = ["place", "port", "basis", "period_h"]
    for part in told.partition_by(keys, maintain_order=True):
        place, port, basis, period_h = part.select(keys).row(0)
        whole = results.filter(
            pl.col("analyte") == COMPANION[basis],
            pl.col("place") == place,
            pl.col("port") == port,
            pl.col("value") > 0.0,
        )
        share, share_sd = _share(hours(part["ts_utc"]), whole, period_h)
        value, sd = part["value"].to_numpy(), part["sd"].to_numpy()
        parts.append(
            part.with_columns(
                value=pl.Series(value * share / 100.0).fill_nan(None),
                sd=pl.Series(np.hypot(sd * share, value * share_sd) / 100.0).fill_nan(None),
            )
        )
    return pl.concat(parts)


def hours(times_utc: pl.Series) -> Floats:
    """Hours since 1970."""
    return times_utc.dt.epoch("us").to_numpy() / _MICROSECONDS_A_HOUR


def _share(now_h: Floats, whole: pl.DataFrame, period_h: float) -> tuple[Floats, Floats]:
    """Brix or pol that belongs to each result, and its error [%]; NaN where none is near."""
    grabs = _arrays(whole.filter(pl.col("period_h") == 0.0))
    if period_h == 0.0:
        return _near(now_h, *grabs)
    same = _arrays(whole.filter(pl.col("period_h") == period_h))
    found = [_over(start, period_h, same, grabs) for start in now_h]
    return np.array([value for value, _ in found]), np.array([sd for _, sd in found])


def _arrays(part: pl.DataFrame) -> tuple[Floats, Floats, Floats]:
    return hours(part["ts_utc"]), part["value"].to_numpy(), part["sd"].to_numpy()


def _near(now_h: Floats, at_h: Floats, value: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """Straight line between results, or the nearest one."""
    if len(at_h) == 0:
        return np.full(len(now_h), np.nan), np.full(len(now_h), np.nan)
    last = len(at_h) - 1
    before = np.clip(np.searchsorted(at_h, now_h, side="right") - 1, 0, last)
    after = np.clip(np.searchsorted(at_h, now_h, side="left"), 0, last)
    between = (at_h[before] <= now_h) & (now_h <= at_h[after])
    between &= at_h[after] - at_h[before] <= LONGEST_HOLD_H
    away = np.abs(np.stack([at_h[before], at_h[after]]) - now_h)
    nearest = np.where(away[0] <= away[1], before, after)
    near = away.min(axis=0) <= LONGEST_HOLD_H / 2.0

    def read(what: Floats) -> Floats:
        held = np.where(near, what[nearest], np.nan)
        return np.where(between, np.interp(now_h, at_h, what), held)

    return read(value), read(sd)


def _over(
    start_h: float,
    period_h: float,
    same: tuple[Floats, Floats, Floats],
    grabs: tuple[Floats, Floats, Floats],
) -> tuple[float, float]:
    """Mean over the hours of one composite: of the composite of these hours, else of grabs."""
    twin = np.flatnonzero(np.abs(same[0] - start_h) < 1e-6)
    if twin.size:
        return float(same[1][twin[0]]), float(same[2][twin[0]])
    at_h, value, sd = grabs
    inside = (at_h >= start_h) & (at_h < start_h + period_h)
    stops = np.concatenate([[start_h], at_h[inside], [start_h + period_h]])
    if not inside.any() or np.diff(stops).max() > LONGEST_HOLD_H:
        return np.nan, np.nan
    n = int(inside.sum())
    analysed = float(np.linalg.norm(sd[inside])) / n
    # What the grabs scatter counts where it is more than their analyses claim.
    scattered = float(np.std(value[inside], ddof=1)) / n**0.5 if n > 1 else 0.0
    return float(value[inside].mean()), max(analysed, scattered)
