"""A first look at readings that nobody has described: units, levels, and how values run."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Tags drafted at most: a whole plant's historian is not one station.
MOST_TAGS: Final = 2000
#: Readings of a tag kept as they came.
MOST_RAW: Final = 3000


@dataclass(frozen=True, slots=True)
class TagLook:
    """What the exports show of one tag.

    Attributes
    ----------
    name, unit : str
        As exported (untrusted text); the unit is empty where none is given.
    readings, bad : int
    every_s : float
        Usual time between readings [s].
    low, middle, high : float
        1st, 50th and 99th percentile of the minute means, in the exported unit.
    minute, count, value : ndarray
        Minutes since 1970 with a good reading, rising; readings in each, and their mean.
    raw_s, raw_value : ndarray
        Times [s since 1970] and values of its first good readings as they came, at most
        `MOST_RAW`, rising.
    words : str
        What the exports or a list of tags say of it beside its name (untrusted text).
    """

    name: str
    unit: str
    readings: int
    bad: int
    every_s: float
    low: float
    middle: float
    high: float
    minute: NDArray[np.int64]
    count: NDArray[np.int64]
    value: Floats
    raw_s: Floats = field(default_factory=lambda: np.empty(0))
    raw_value: Floats = field(default_factory=lambda: np.empty(0))
    words: str = ""


class Looks:
    """What readings show of each tag, added up file by file in bounded memory."""

    def __init__(self) -> None:
        self._minutes: list[pl.DataFrame] = []
        self._gaps: list[pl.DataFrame] = []
        self._raw: dict[str, list[pl.DataFrame]] = {}
        self._kept: dict[str, int] = {}

    def add(self, readings: pl.DataFrame) -> None:
        """Add ts_utc, tag, value and bad of some readings."""
        if readings.is_empty():
            return
        self._gaps.append(_gaps(readings))
        self._minutes.append(_by_minute(readings.lazy()))
        self._keep_raw(readings.filter(~pl.col("bad")))

    def merge(self) -> None:
        """Add up what one file gave."""
        self._minutes = [_merge(self._minutes)] if self._minutes else []

    def tags(self, units: Mapping[str, str], words: Mapping[str, str]) -> list[TagLook]:
        """Tags by name; those without a single number are left out."""
        if not self._minutes:
            return []
        return list(self._tags(_merge(self._minutes), units, words))

    def _keep_raw(self, readings: pl.DataFrame) -> None:
        for (tag,), part in readings.group_by("tag", maintain_order=True):
            left = MOST_RAW - self._kept.get(str(tag), 0)
            if left > 0:
                first = part.select("ts_utc", "value").sort("ts_utc").head(left)
                self._raw.setdefault(str(tag), []).append(first)
                self._kept[str(tag)] = self._kept.get(str(tag), 0) + first.height

    def _tags(
        self, minutes: pl.DataFrame, units: Mapping[str, str], words: Mapping[str, str]
    ) -> Iterator[TagLook]:
        gaps = pl.concat(self._gaps).group_by("tag").agg(pl.col("gap_s").median())
        gap_s = dict(gaps.iter_rows())
        for part in minutes.sort("tag", "minute").partition_by("tag", maintain_order=True):
            good = part.filter(pl.col("good") > 0)
            if good.is_empty():
                continue
            value = (good["total"] / good["good"]).to_numpy().astype(np.float64)
            name = part["tag"][0]
            readings = int(part["readings"].sum())
            low, middle, high = np.quantile(value, [0.01, 0.5, 0.99])
            raw = pl.concat(self._raw[name]).sort("ts_utc")
            yield TagLook(
                name=name,
                unit=units.get(name, ""),
                readings=readings,
                bad=readings - int(part["good"].sum()),
                every_s=float(gap_s.get(name, 60.0)),
                low=float(low),
                middle=float(middle),
                high=float(high),
                minute=good["minute"].to_numpy().astype(np.int64),
                count=good["readings"].to_numpy().astype(np.int64),
                value=value,
                raw_s=raw["ts_utc"].dt.epoch("us").to_numpy() / 1e6,
                raw_value=raw["value"].to_numpy(),
                words=words.get(name, ""),
            )


def _by_minute(readings: pl.LazyFrame) -> pl.DataFrame:
    """Sums by tag and minute: what a guess needs, bounded however long the record."""
    return (
        readings.group_by("tag", minute=pl.col("ts_utc").dt.epoch("s") // 60)
        .agg(
            total=pl.col("value").filter(~pl.col("bad")).sum(),
            good=(~pl.col("bad")).sum().cast(pl.Int64),
            readings=pl.len().cast(pl.Int64),
        )
        .collect()
    )


def _merge(parts: Iterable[pl.DataFrame]) -> pl.DataFrame:
    return pl.concat(parts).group_by("tag", "minute").agg(pl.col("total", "good", "readings").sum())


def _gaps(readings: pl.DataFrame) -> pl.DataFrame:
    """Median time between readings of each tag in a batch [s]."""
    return (
        readings.sort("tag", "ts_utc")
        .group_by("tag")
        .agg(gap_s=pl.col("ts_utc").diff().dt.total_milliseconds().median() / 1000.0)
        .drop_nulls()
    )
