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
from pipeline.errors import ConfigError, DataError
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


def lake_of(mill: Mill) -> Lake:
    """Lake of a mill."""
    return Lake(mill.lake_path)


def midnight(day: date, later: int = 0) -> datetime:
    """First instant of a UTC day, or of one some days later."""
    return datetime.combine(day + later * ONE_DAY, time(), tzinfo=UTC)


def choose_window(mill: Mill, lake: Lake, store: Store, first: date | None) -> Window:
    """Choose what to judge, with the findings of the store as those known; see `window_for`."""
    known = store.findings().select("started", "ended").rows() if store.path.exists() else []
    return window_for(mill, lake, known, first)


def window_for(
    mill: Mill, lake: Lake, known: Sequence[tuple[datetime, datetime]], first: date | None
) -> Window:
    """Choose what to judge: the look-back at least, and no known finding cut by its start.

    A shorter window would have too little to learn the usual loss and the multiplier from, and
    would withdraw what a longer one found.

    Parameters
    ----------
    known : sequence of (datetime, datetime)
        Start and end of the findings known so far.
    first : date, optional
        Local day to start from.

    Raises
    ------
    DataError
        Nothing was worked out yet.
    ConfigError
        The first day lies after the end of data.
    """
    days = _unbroken(lake.feature_days(STATION))
    if not days:
        raise DataError(
            "Nothing was worked out yet, so there is nothing to search.",
            str(mill.lake_path),
            "Pull exports with lostpol pull, then run lostpol backfill.",
        )
    begin, end = data_bounds(mill, lake, days)
    start = end - mill.detection.look_back_days * ONE_DAY
    if first is not None:
        asked = mill.day_start_utc(first)
        start = asked if asked >= end else min(start, asked)
    while cut := [started for started, ended in known if started < start < ended]:
        start = min(cut) - ONE_DAY
    start = max(start.replace(hour=0, minute=0, second=0, microsecond=0), begin)
    if start >= end:
        raise ConfigError(
            f"The window starts on {first}, after the end of data.",
            f"data end at {end.astimezone(mill.tz):%Y-%m-%d %H:%M} local time",
            "Give an earlier first day, or pull newer exports.",
        )
    return Window(start, end)


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
    edges = []
    for day, last in ((days[0], False), (days[-1], True)):
        times = lake.read_readings(day, day, [s.tag for s in mill.station.signals])["ts_utc"]
        edge = times.max() if last else times.min()
        edges.append(edge if isinstance(edge, datetime) else midnight(day, int(last)))
    begin, end = (edge.replace(second=0, microsecond=0) for edge in edges)
    closed = edges[1] == midnight(days[-1], 1)
    return begin, end if closed else end + timedelta(minutes=1)


def describe_run(mill: Mill, flow: str, window: Window) -> dict[str, Any]:
    """Describe a run. Its name depends on readings, description, code and window, on no clock."""
    inputs = lake_of(mill).readings_hash(*window.days)
    versions = {name: version(name) for name in _PACKAGES}
    span = (window.start.isoformat(), window.end.isoformat())
    return {
        "run_id": _short_hash([inputs, mill.config_hash, versions["lostpol"], *span]),
        "flow": flow,
        "window_start": window.start,
        "window_end": window.end,
        "as_of": window.end,
        "config_hash": mill.config_hash,
        "inputs_hash": inputs,
        "versions": versions | {"python": platform.python_version()},
        "started_at": now(),
    }


def _short_hash(parts: Iterable[str]) -> str:
    return hashlib.sha256("\x1f".join(parts).encode()).hexdigest()[:16]


def now() -> datetime:
    """Wall clock; no result depends on it: it dates runs and tells stale readings."""
    return datetime.now(UTC)
