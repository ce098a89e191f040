"""What a run judges and what it is called: windows, the end of data, and run names."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from importlib.metadata import version
from typing import Any, Final

import polars as pl

from pipeline.config import Mill
from pipeline.errors import DataError
from pipeline.lake import Lake
from pipeline.store import Store

#: Kinds of features in the lake.
GRID: Final = "grid"
STATION: Final = "station"
ZONES: Final = "zones"
LOSSES: Final = "losses"
NOTICES: Final = "notices"
DAILY: Final = "daily"
HEALTH: Final = "health"
SENSORS: Final = "sensors"
ONE_DAY: Final = timedelta(days=1)
_PACKAGES: Final = ("lostpol", "duckdb", "numpy", "polars", "ruptures", "scikit-learn", "scipy")


@dataclass(frozen=True, slots=True)
class Window:
    """What a run judges: start (included) and end (excluded) in UTC, and the end of data."""

    start: datetime
    end: datetime

    @property
    def days(self) -> tuple[date, date]:
        """First and last UTC day touched."""
        return self.start.date(), (self.end - timedelta(microseconds=1)).date()


def store_of(mill: Mill) -> Store:
    """Findings store of a mill."""
    return Store(mill.database_path, mill.key)


def published_store_of(mill: Mill) -> Store:
    """Findings store of a mill as it was last published: for what only reads, and may be slow."""
    return store_of(mill).as_published()


def lake_of(mill: Mill) -> Lake:
    """Lake of a mill."""
    return Lake(mill.lake_path)


def midnight(day: date, later: int = 0) -> datetime:
    """First instant of a UTC day, or of one some days later."""
    return datetime.combine(day + later * ONE_DAY, time(), tzinfo=UTC)


def worked_out(mill: Mill, lake: Lake) -> list[date]:
    """UTC days that can be searched: the last ones worked out that follow one another.

    Raises
    ------
    DataError
        Nothing was worked out yet.
    """
    days = _unbroken(lake.feature_days(STATION))
    if not days:
        raise DataError(
            "Nothing was worked out yet, so there is nothing to search.",
            str(mill.lake_path),
            "Pull exports with lostpol pull, then run lostpol backfill.",
        )
    return days


def _unbroken(days: Sequence[date]) -> list[date]:
    """Keep the last days that follow one another: a search needs every minute."""
    kept: list[date] = []
    for day in sorted(days, reverse=True):
        if kept and kept[-1] - day != ONE_DAY:
            break
        kept.append(day)
    return kept[::-1]


def tag_health(mill: Mill, first: date, last: date) -> pl.DataFrame:
    """Count readings and bad ones of every tag of the mill over some UTC days.

    Returns
    -------
    polars.DataFrame
        tag, readings, bad, reasons (bad ones by reason in words, most frequent first); a tag
        without readings has zeros.
    """
    counts = lake_of(mill).read_features(HEALTH, first, last)
    if counts.is_empty():
        counts = pl.DataFrame(schema={"tag": pl.String, "reason": pl.String, "readings": pl.Int64})
    by_reason = (
        counts.group_by("tag", "reason")
        .agg(pl.col("readings").sum())
        .sort("readings", "reason", descending=[True, False])
    )
    words = pl.format("{} {}", "readings", pl.col("reason").str.replace_all("_", " ", literal=True))
    is_bad = pl.col("reason") != "good"
    totals = by_reason.group_by("tag", maintain_order=True).agg(
        pl.col("readings").sum(),
        bad=pl.col("readings").filter(is_bad).sum(),
        reasons=words.filter(is_bad).str.join(", "),
    )
    known = pl.DataFrame({"tag": sorted(mill.unit_changes)}, schema={"tag": pl.String})
    return known.join(totals, on="tag", how="left", maintain_order="left").with_columns(
        pl.col("readings", "bad").fill_null(0), pl.col("reasons").fill_null("")
    )


def data_bounds(mill: Mill, lake: Lake, days: Sequence[date]) -> tuple[datetime, datetime]:
    """First minute with a reading, and the end of the last one, among days worked out."""
    tags = [s.tag for s in mill.station.signals]
    first = last = None
    for day in days:
        if isinstance(first := lake.read_readings(day, day, tags)["ts_utc"].min(), datetime):
            break
    for day in reversed(days):  # the laboratory may be days ahead of the plant's exports
        if isinstance(last := lake.read_readings(day, day, tags)["ts_utc"].max(), datetime):
            break
    if not isinstance(first, datetime) or not isinstance(last, datetime):
        return midnight(days[0]), midnight(days[-1], 1)
    begin, end = (edge.replace(second=0, microsecond=0) for edge in (first, last))
    return begin, end + timedelta(minutes=1)


def stamp_of(mill: Mill) -> str:
    """Hash of all but readings that a finding depends on: description and versions."""
    versions = versions_here()
    return short_hash(
        [mill.config_hash, *(f"{name} {versions[name]}" for name in sorted(versions))]
    )


def describe_run(mill: Mill, flow: str, window: Window, inputs: str) -> dict[str, Any]:
    """Describe a run. Its name depends on readings, description, code and window, on no clock.

    Parameters
    ----------
    inputs : str
        Hash of the readings.
    """
    versions = versions_here()
    span = (window.start.isoformat(), window.end.isoformat())
    return {
        "run_id": short_hash([inputs, mill.config_hash, versions["lostpol"], *span]),
        "flow": flow,
        "window_start": window.start,
        "window_end": window.end,
        "as_of": window.end,
        "config_hash": mill.config_hash,
        "inputs_hash": inputs,
        "versions": versions | {"python": platform.python_version()},
        "started_at": now(),
    }


def versions_here() -> dict[str, str]:
    """Version of each package that a digit may depend on."""
    return {name: version(name) for name in _PACKAGES}


def short_hash(parts: Iterable[str]) -> str:
    """Sixteen characters that tell lists of words apart."""
    return hashlib.sha256("\x1f".join(parts).encode()).hexdigest()[:16]


def now() -> datetime:
    """Wall clock; no result depends on it: it dates runs and tells stale readings."""
    return datetime.now(UTC)
