"""The residual vector of the station: one column a physical quantity, near zero when usual."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.base import MINUTES_PER_BLOCK, Array, Minutes, block_means, running_median


def residual_vectors(minutes: Minutes, quiet: NDArray[np.bool_]) -> tuple[Array, tuple[str, ...]]:
    """15-minute residuals of everything physical, less each one's slow baseline.

    Parameters
    ----------
    minutes : Minutes
    quiet : ndarray of bool, shape (n,)
        Minutes nothing is known to have happened in.

    Returns
    -------
    residuals : ndarray, shape (blocks, k)
        NaN where missing or where the station stood.
    names : tuple of str
    """
    columns = _columns(minutes)
    calm = block_means(quiet.astype(float), MINUTES_PER_BLOCK) > 0.5
    half = 3 * 24 * 60 // MINUTES_PER_BLOCK
    running = ~minutes.stopped
    kept, names = [], []
    for name, values in columns.items():
        blocks = block_means(np.where(running, values, np.nan), MINUTES_PER_BLOCK)
        if np.isfinite(blocks).any():
            kept.append(blocks - running_median(blocks, calm, half, half // 6))
            names.append(name)
    shape = (len(calm), 0)
    return (np.stack(kept, axis=1) if kept else np.empty(shape)), tuple(names)


def _columns(minutes: Minutes) -> dict[str, Array]:
    station = minutes.station
    flow = np.where(station["flow_feed_m3_h"] > 0, station["flow_feed_m3_h"], np.nan)
    found = {
        "ph_limed": station["ph_limed"],
        "ph_drop_settler": station["ph_drop_settler"],
        "ph_mixed": station["ph_mixed"],
        "lime_per_juice": station["lime_l_h"] / flow,
        "flocculant_per_juice": station["flocculant_l_h"] / flow,
        "log_turbidity": _log(station["turbidity_clear"]),
        "log_flow": _log(flow),
        "brix": station["brix_feed_pct"],
    }
    for zone, column in minutes.zones.items():
        found[f"log_heat_{zone}"] = _log(column["f_temp"])
        found[f"log_volume_{zone}"] = _log(column["f_volume"])
    return found


def _log(values: Array) -> Array:
    return np.log(np.where(values > 0, values, np.nan))
