"""What the physics buys: how much calmer each residual is than the signal it was derived from.

A shift is found where it exceeds the long-run variance, so the ratio of the two long-run variances,
not a share of variance explained, says what a derived feature is worth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Column, Columns, polars_schema
from models.amount import Excess
from models.base import MINUTES_PER_BLOCK, Array, Minutes, block_means, long_run_variance
from models.detect.channels import Channel
from models.search import residual_of

#: What `lrv_ratios` gives.
SHARPNESS_COLUMNS: Columns = {
    "feature": Column.text("Channel of the search, or feature in words."),
    "section": Column.text("Where."),
    "unit": Column.text("Unit of the signals; log is a natural logarithm."),
    "lrv_raw": Column.number("unit squared", "Long-run variance of the raw signal."),
    "lrv_residual": Column.number("unit squared", "The same of what is watched."),
    "ratio": Column.number("1", "lrv_raw over lrv_residual: above 1, physics helps."),
    "smallest_8h": Column.number("unit", "Least change of eight hours that shows."),
}
_SHIFT_H = 8.0


def lrv_ratios(
    minutes: Minutes,
    channels: Sequence[Channel],
    excess: Excess,
    multiplier: float,
    quiet: NDArray[np.bool_],
) -> pl.DataFrame:
    """Long-run variance of each raw signal over that of the feature derived from it.

    Parameters
    ----------
    minutes : Minutes
    channels : sequence of Channel
        Loss channels; the raw signal of one is the whole loss of its zones, and its residual what
        the search looks at. Channels of stops have none and are left out.
    excess : Excess
        At multiplier 1.
    multiplier : float
        The mill's kinetic multiplier.
    quiet : ndarray of bool, shape (n,)
        Minutes nothing is known to have happened in; only they count.

    Returns
    -------
    DataFrame
        ``feature``, ``section``, ``unit`` of the signals, ``lrv_raw`` and ``lrv_residual`` [unit
        squared, of 15-minute means], ``ratio`` (null where either is not known or zero), and
        ``smallest_8h``: the 8-hour shift of the residual that pays for two change points under the
        limit ``L d**2 / LRV > 4 log n`` [unit].
    """
    rows = []
    for channel in channels:
        if not np.isfinite(channel.kg_h[quiet]).any():
            continue
        loss = sum((excess.loss_kg_h[z] for z in channel.zones), np.zeros(minutes.n))
        rows.append(
            _row(channel.name, channel.section, "kg/h", multiplier * loss, channel.kg_h, quiet)
        )
    rows += [_row(*feature, quiet) for feature in _station_features(minutes)]
    return pl.DataFrame(rows, schema=polars_schema(SHARPNESS_COLUMNS), orient="row")


def _station_features(minutes: Minutes) -> list[tuple[str, str, str, Array, Array]]:
    """Features that set one signal against another, beside the bare signal."""
    station = minutes.station
    found = [
        ("pH drop across the settler", "settler", "pH", station["ph_clear"], "ph_drop_settler")
    ]
    features = [(n, s, u, raw, station[derived]) for n, s, u, raw, derived in found]
    flow = _log(station["flow_feed_m3_h"])
    for name, column in (("lime", "lime_l_h"), ("flocculant", "flocculant_l_h")):
        raw = _log(station[column])
        features.append((f"{name} per juice", "train", "log", raw, raw - flow))
    return [f for f in features if np.isfinite(f[3]).any() and np.isfinite(f[4]).any()]


def _log(values: Array) -> Array:
    return np.log(np.where(values > 0.0, values, np.nan))


def _row(
    name: str, section: str, unit: str, raw: Array, derived: Array, quiet: NDArray[np.bool_]
) -> tuple[str, str, str, float | None, float | None, float | None, float | None]:
    before = _wander(np.where(quiet, raw, np.nan))
    after = residual_of(np.where(quiet, derived, np.nan), quiet).lrv_block
    known = math.isfinite(before) and before > 0.0 and after > 0.0
    blocks = len(raw) / MINUTES_PER_BLOCK
    length = _SHIFT_H * 60.0 / MINUTES_PER_BLOCK
    smallest = math.sqrt(4.0 * math.log(max(blocks, 2.0)) * after / length)
    return (
        *(name, section, unit),
        *(before if known else None, after if known else None),
        *(before / after if known else None, smallest if known else None),
    )


def _wander(values: Array) -> float:
    """Long-run variance as the search takes it: over 4 h and over 12 h, the larger."""
    blocks = block_means(values, MINUTES_PER_BLOCK)
    return max(long_run_variance(blocks, size) for size in (16, 48))
