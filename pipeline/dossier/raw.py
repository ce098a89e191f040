"""Readings as they were exported, to stand behind the lanes of a short window.

A lane is drawn from means of a minute, made of what was thought sound. What was read, and what of
it was not used, shows whether a spike or a probe off line made it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Final

import numpy as np
import polars as pl

from features.signal import screen
from models.base import Array
from pipeline.base import ONE_DAY
from pipeline.dossier.gather import Material
from pipeline.dossier.lanes import Lane, Raw
from pipeline.lake import lake_of

#: Longer windows show minutes alone: dots would lie upon one another.
_LONGEST: Final = timedelta(days=4)
#: Most readings of a lane, and most of those that were not used.
_MOST, _MOST_BAD = 3000, 400


def with_raw(material: Material, lanes: Sequence[Lane]) -> list[Lane]:
    """Lanes with what was exported behind them, where the window drawn is short enough."""
    start, end = material.drawn
    signals = [lane.signal for lane in lanes if lane.signal is not None]
    if end - start > _LONGEST or not signals:
        return list(lanes)
    # A day on either side tells what each tag's habits are.
    days = ((start - ONE_DAY).date(), (end + ONE_DAY).date())
    readings = lake_of(material.mill).read_readings(*days, [s.tag for s in signals])
    inside = pl.col("ts_utc").is_between(start, end, closed="left")
    screened = screen(readings, signals).filter(inside & pl.col("value").is_finite())
    by_tag = screened.partition_by("tag", as_dict=True)
    return [
        lane
        if lane.signal is None or (lane.signal.tag,) not in by_tag
        else replace(lane, raw=_raw_of(by_tag[(lane.signal.tag,)], material))
        for lane in lanes
    ]


def _raw_of(part: pl.DataFrame, material: Material) -> Raw:
    at = (part["ts_utc"] - material.drawn[0]).dt.total_milliseconds().to_numpy() / 60_000.0
    values, unused = part["value"].to_numpy(), part["bad"].to_numpy()
    kept = np.sort(np.concatenate([_extremes(values, ~unused, _MOST),
                                   _extremes(values, unused, _MOST_BAD)]))  # fmt: skip
    return Raw(at[kept], values[kept], unused[kept], len(values) - len(kept))


def _extremes(values: Array, wanted: np.ndarray, most: int) -> np.ndarray:
    """Places of the readings wanted; of too many, lowest and highest of stretches alike long."""
    places = np.flatnonzero(wanted)
    if len(places) <= most:
        return places
    found = []
    for part in np.array_split(places, most // 2):
        found += [part[values[part].argmin()], part[values[part].argmax()]]
    return np.unique(found)
