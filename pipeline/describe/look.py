"""A first look at exports that nobody has described: their tags, units, times and values."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.base import DataError, Progress, silent
from pipeline.exports import Evidence, export_readings
from pipeline.files import ExportFile
from pipeline.lake import Tally
from pipeline.layouts import Plan
from pipeline.mill import UnitChange

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


@dataclass(slots=True)
class FileLook:
    """What is known of one table: its name, its shape, and how its times are written."""

    name: str
    shape: str
    times: str


@dataclass(slots=True)
class _Anyone:
    """A mill that knows these tags in the units they come in, and remembers those units."""

    zone: str
    unit_changes: dict[str, UnitChange] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    ambiguous: str = "first"
    missing: str = "shift_forward"

    def change_from(self, tag: str, unit: str) -> UnitChange | None:
        """Leave every value as exported."""
        self.units.setdefault(tag, unit)
        return UnitChange()


def look(
    files: Sequence[Path], zone: str, progress: Progress = silent
) -> tuple[list[TagLook], list[FileLook]]:
    """Read exports twice: for their tags, then for what these show.

    Parameters
    ----------
    files : sequence of Path
    zone : str
        Zone of times written without one.

    Returns
    -------
    tags : list of TagLook
        By name; tags without a single number are left out.
    files : list of FileLook

    Raises
    ------
    DataError
        A file cannot be read, or holds no readings, or more tags than a station has.
    """
    tally = Tally()
    looks: list[FileLook] = []
    for number, path in enumerate(files):
        progress(f"Looking at {path.name}", number, 2 * len(files))
        for _ in export_readings(path, None, _Anyone(zone), tally, partial(_note_table, looks)):
            pass
    names = sorted(tally.unknown_tags)
    if not names or len(names) > MOST_TAGS:
        raise DataError(
            f"These files hold {len(names)} tags; a description is drafted for 1 to {MOST_TAGS}.",
            ", ".join(str(path) for path in files),
            "Name exports of the clarification station and its laboratory.",
        )
    anyone = _Anyone(zone, dict.fromkeys(names, UnitChange()))
    minutes: list[pl.DataFrame] = []
    gaps: list[pl.DataFrame] = []
    for number, path in enumerate(files, start=len(files)):
        progress(f"Reading {path.name}", number, 2 * len(files))
        for readings in export_readings(path, None, anyone, Tally()):
            gaps.append(_gaps(readings))
            minutes.append(_by_minute([readings.lazy()]))
        minutes = [_merge(minutes)] if minutes else []
    tags = list(_tags(_merge(minutes), pl.concat(gaps), anyone.units))
    return tags, looks


def _by_minute(parts: Iterable[pl.LazyFrame]) -> pl.DataFrame:
    """Sums by tag and minute: what a guess needs, bounded however long the record."""
    return (
        pl.concat(list(parts))
        .group_by("tag", minute=pl.col("ts_utc").dt.epoch("s") // 60)
        .agg(
            total=pl.col("value").filter(~pl.col("bad")).sum(),
            good=(~pl.col("bad")).sum().cast(pl.Int64),
            readings=pl.len().cast(pl.Int64),
        )
        .collect()
    )


def _merge(parts: list[pl.DataFrame]) -> pl.DataFrame:
    return pl.concat(parts).group_by("tag", "minute").agg(pl.col("total", "good", "readings").sum())


def _gaps(readings: pl.DataFrame) -> pl.DataFrame:
    """Median time between readings of each tag in a batch [s]."""
    return (
        readings.sort("tag", "ts_utc")
        .group_by("tag")
        .agg(
            gap_s=pl.col("ts_utc").diff().dt.total_milliseconds().median() / 1000.0, weight=pl.len()
        )
        .drop_nulls()
    )


def _tags(minutes: pl.DataFrame, gaps: pl.DataFrame, units: dict[str, str]) -> Iterator[TagLook]:
    gap_s = dict(gaps.group_by("tag").agg(pl.col("gap_s").median()).iter_rows())
    for part in minutes.sort("tag", "minute").partition_by("tag", maintain_order=True):
        good = part.filter(pl.col("good") > 0)
        if good.is_empty():
            continue
        value = (good["total"] / good["good"]).to_numpy().astype(np.float64)
        name = part["tag"][0]
        readings = int(part["readings"].sum())
        low, middle, high = np.quantile(value, [0.01, 0.5, 0.99])
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
        )


def _note_table(
    looks: list[FileLook], table: ExportFile, plan: Plan, raw: pl.DataFrame, _: Evidence
) -> None:
    """Note how a table is laid out, and whether its times name a zone."""
    times = raw[plan.time]
    kind = times.dtype
    if isinstance(kind, pl.Datetime) and kind.time_zone:
        text = f"times are stored in {kind.time_zone}"
    elif plan.time_zone is not None:
        text = f"times are said to be in {plan.time_zone}"
    elif kind == pl.String and _share_with_offset(times) > 0.5:
        text = "times are written with their offset from UTC"
    else:
        text = "times are written without a zone"
    looks.append(FileLook(Path(table.where).name, plan.shape, text))


def _share_with_offset(times: pl.Series) -> float:
    head = times.drop_nulls().head(1000)
    if head.is_empty():
        return 0.0
    return float(head.str.contains(r"(?:[Zz]|[+-]\d{2}:?\d{2})$").sum()) / len(head)
