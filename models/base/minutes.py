"""The derived minutes as arrays: one time axis, one set of columns per zone."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.base.series import Array

MINUTES_PER_BLOCK = 15


@dataclass(frozen=True)
class Minutes:
    """Station and zone columns on one 1-minute axis without holes.

    Attributes
    ----------
    start_utc : datetime
        Start of the first minute.
    station : dict of ndarray, each shape (n,)
        Columns of the station minutes, NaN where missing.
    zones : dict of dict of ndarray
        Columns of each zone, in flow order.
    drifting : ndarray of bool, shape (n,), optional
        True while a probe is known to have drifted: no hours from which to learn what is usual.
    """

    start_utc: datetime
    station: dict[str, Array]
    zones: dict[str, dict[str, Array]]
    drifting: NDArray[np.bool_] | None = None

    @property
    def n(self) -> int:
        """Number of minutes."""
        return len(self.station["sucrose_feed_kg_h"])

    @property
    def stopped(self) -> NDArray[np.bool_]:
        """True in minutes without feed."""
        return self.station["stopped"] > 0.5

    @property
    def usual(self) -> NDArray[np.bool_]:
        """True in minutes with feed from which the usual may be learnt."""
        return ~self.stopped if self.drifting is None else ~self.stopped & ~self.drifting

    @property
    def hours(self) -> Array:
        """Hours since the start, at the start of each minute."""
        return np.arange(self.n) / 60.0

    def at(self, index: int) -> datetime:
        """Start of a minute (or the end of the last one for ``n``)."""
        return self.start_utc + timedelta(minutes=int(index))

    def index_of(self, when: datetime) -> int:
        """Minute that holds `when`; may lie outside ``0..n``."""
        return int((when - self.start_utc).total_seconds() // 60)


def in_order(
    station_minutes: pl.DataFrame, zone_minutes: pl.DataFrame, lab: pl.DataFrame, zones: list[str]
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Rows in the one order that every sum is made in, however they came.

    Parameters
    ----------
    station_minutes, zone_minutes, lab : DataFrame
        As for ``models.find.find_losses``, rows in any order.
    zones : list of str
        Names of the vessels, in flow order; a vessel's own zone comes before its mud.
    """
    by_zone = {
        str(name): rows
        for (name,), rows in zone_minutes.partition_by(
            "zone", maintain_order=True, as_dict=True
        ).items()
    }
    step = {name: number for number, name in enumerate(zones)}
    flow = sorted(by_zone, key=lambda name: (step.get(name.split(":")[0], len(zones)), name))
    ordered = [_by_time(by_zone[name]) for name in flow]
    return (
        _by_time(station_minutes),
        pl.concat(ordered) if ordered else zone_minutes,
        lab.sort("ts_utc", "analyte", "place", "port", "value"),
    )


def _by_time(frame: pl.DataFrame) -> pl.DataFrame:
    """Rows in order of time; those of a lake are already, and sorting them anew takes long."""
    return frame if frame["ts_utc"].is_sorted() else frame.sort("ts_utc")


def to_minutes(station_minutes: pl.DataFrame, zone_minutes: pl.DataFrame) -> Minutes:
    """Turn the two derived frames into arrays.

    Raises
    ------
    ValueError
        If the station frame is empty or its minutes have holes or repeats.
    """
    if station_minutes.is_empty():
        raise ValueError("station_minutes is empty: derive at least one minute first")
    axis = station_minutes["ts_utc"]
    expected = axis[0] + timedelta(minutes=len(axis) - 1)
    if axis[-1] != expected or not axis.is_sorted() or axis.n_unique() != len(axis):
        raise ValueError("station_minutes must hold every minute once, in order")
    zones = {str(part["zone"][0]): _columns(part) for part in _by_zone(zone_minutes)}
    for name, columns in zones.items():
        if len(columns["loss_kg_h"]) != len(axis):
            raise ValueError(f"zone {name!r} does not cover the same minutes as the station")
    return Minutes(axis[0], _columns(station_minutes), zones)


def _by_zone(zone_minutes: pl.DataFrame) -> list[pl.DataFrame]:
    """Minutes of each zone; those in order are only cut, which takes no time."""
    runs = zone_minutes["zone"].rle().struct.unnest()
    if runs["value"].n_unique() < runs.height:
        return zone_minutes.partition_by("zone", maintain_order=True)
    lengths = runs["len"].to_list()
    begins = [0, *itertools.accumulate(lengths)]
    return [
        zone_minutes.slice(begin, length) for begin, length in zip(begins, lengths, strict=False)
    ]


def _columns(frame: pl.DataFrame) -> dict[str, Array]:
    return {
        name: frame[name].cast(pl.Float64).fill_null(float("nan")).to_numpy()
        for name, kind in frame.schema.items()
        if kind.is_numeric() or kind == pl.Boolean
    }
