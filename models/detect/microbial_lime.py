"""Acid that lime had to answer for: evidence of microbes in the tags alone."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from models.base import Array, Minutes, block_means, runs_of
from models.detect.microbial_line import BUFFER_LOG_SD, Line, Tank

#: After a stop the lime loop is still settling [min] (judgement).
_SETTLES_MIN = 60
_SHORTEST_STOP_MIN = 5
#: With less rise of pH than this the juice is not limed there [pH].
_LEAST_RISE = 0.3
_LEAST_HOURS = 24
#: Lime saved for each kelvin that it goes into warmer juice, one standard error about none [1/K]:
#: 10-20 % between 30 and 75 degC (memory).
_LIME_PER_K = 0.003


def lime_line(tank: Tank, temp_degc: Array, bias: Mapping[str, Array]) -> Line | None:
    """Lime beside what the pH of mixed and limed juice and their dry matter ask for.

    Lime per juice is set against the rise of pH and Brix. A loop that holds pH spends more; where
    lime is held, pH rises less: either way lime per unit of pH goes up.

    Hot liming takes less lime than cold liming by some tenth to fifth (memory): how much of that a
    tank cooler by some kelvin spends is an error of this line.

    Parameters
    ----------
    tank : Tank
        A liming tank.
    temp_degc : ndarray, shape (n,)
        Its temperature without gaps.
    bias : mapping of str to ndarray, shape (n,)
        Reading minus truth of the pH probes at ``mixed`` and ``limed`` [pH]; may be empty.

    Returns
    -------
    Line or None
        Hourly means; None without a lime tag. A weaker milk of lime looks the same: that it comes
        and goes is in the line's noise.
    """
    minutes, targets = tank.minutes, tank.station.targets
    data = minutes.station
    flow, lime = data["flow_feed_m3_h"], data["lime_l_h"]
    limed = _or_target(data["ph_limed"] - bias.get("limed", 0.0), targets.ph_limed)
    mixed = _or_target(data["ph_mixed"] - bias.get("mixed", 0.0), targets.ph_mixed)
    brix = _or_target(data["brix_feed_pct"], targets.brix_pct)
    usable = _settled(minutes) & (flow > 0.0) & (lime > 0.0) & (limed - mixed > _LEAST_RISE)

    def hourly(values: Array) -> Array:
        return block_means(np.where(usable, values, np.nan), 60)

    spent, juice, rise, dry = (hourly(v) for v in (lime, flow, limed - mixed, brix))
    known = np.isfinite(spent) & np.isfinite(juice) & np.isfinite(rise) & np.isfinite(dry)
    if known.sum() < _LEAST_HOURS:
        return None
    # In proportion: a slope fitted to these series would fall with the noise of the pH readings.
    asked = np.log(spent[known] / (juice[known] * rise[known] * dry[known]))
    extra = np.expm1(asked - np.median(asked))
    pct_of_lime = float(np.median(rise[known])) * tank.pct_per_ph
    hours = np.asarray(np.flatnonzero(known) + 0.5)
    warm = block_means(temp_degc, 60)[known]
    by_temp = _LIME_PER_K * pct_of_lime * (np.median(warm) - warm)
    none = np.zeros(len(hours))
    return Line("lime", hours, pct_of_lime * extra, none, True, BUFFER_LOG_SD, by_temp)


def _or_target(values: Array, target: float) -> Array:
    """A series, or its target where nothing was measured at all."""
    return values if np.isfinite(values).any() else np.full(len(values), target)


def _settled(minutes: Minutes) -> NDArray[np.bool_]:
    """Minutes with juice, and not just after a stop."""
    running = ~minutes.stopped & np.isfinite(minutes.station["stopped"])
    for start, end in runs_of(~running):
        if end - start >= _SHORTEST_STOP_MIN:
            running[start : end + _SETTLES_MIN] = False
    return np.asarray(running)
