"""Everything a dossier is made of, read from the store and the lake in one go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np
import polars as pl

from features.base import Station, lab_results
from models.base import Array, Minutes, to_minutes
from pipeline.charts import Known, in_hours
from pipeline.lake import GRID, LOSSES, STATION, ZONES, lake_of
from pipeline.mill import Mill
from pipeline.period import known_of
from pipeline.store import published_store_of
from pipeline.words import parsed_evidence

#: Least time drawn on either side of a finding, and as a share of its length.
_LEAST_AROUND: Final = timedelta(hours=12)
_AROUND_SHARE: Final = 0.6
#: Minutes read before and after what is drawn: noise is judged, and juice followed, further back.
_BEFORE: Final = timedelta(days=3)
_AFTER: Final = timedelta(days=1)


@dataclass(frozen=True)
class Material:
    """What is known around one finding.

    Attributes
    ----------
    mill : Mill
    finding : dict
        Row of the findings table.
    evidence : dict
        Its evidence; empty where it cannot be read.
    run : dict or None
        Row of the run that wrote it.
    drawn : tuple of datetime
        Hours drawn, UTC: whole minutes, end excluded.
    grid, losses : polars.DataFrame
        One row a minute of a wider span, every minute once; null where nothing is known.
    minutes : Minutes or None
        Derived minutes of the same span; None where none were worked out.
    biases : tuple of ndarray
        Reading minus truth of the limed- and the clear-juice probe in these minutes [pH].
    lab : polars.DataFrame
        Laboratory results in the hours drawn.
    sensors : polars.DataFrame
        Health of every tag on the days of the finding.
    others : list of dict
        All standing findings of the mill, this one included.
    verdicts : list of dict
        Verdicts that people gave, in order.
    noted : tuple of Known
        What was noted beforehand of the hours drawn.
    """

    mill: Mill
    finding: dict[str, Any]
    evidence: dict[str, Any]
    run: dict[str, Any] | None
    drawn: tuple[datetime, datetime]
    grid: pl.DataFrame
    losses: pl.DataFrame
    minutes: Minutes | None
    biases: tuple[Array, Array]
    lab: pl.DataFrame
    sensors: pl.DataFrame
    others: list[dict[str, Any]]
    verdicts: list[dict[str, Any]]
    noted: tuple[Known, ...] = ()

    @property
    def station(self) -> Station:
        """The mill's station."""
        return self.mill.station

    @property
    def account(self) -> Mapping[str, Any] | None:
        """Account of the tonnes, or None where none was kept."""
        held = self.evidence.get("account")
        return held if isinstance(held, dict) and "kind" in held else None

    def index_of(self, when: datetime) -> int:
        """Row of `grid` and `losses` that holds a moment; may lie outside."""
        start: datetime = self.grid["ts_utc"][0]
        return int((when - start).total_seconds() // 60)


def gather(mill: Mill, finding: dict[str, Any]) -> Material:
    """Read what belongs to one finding."""
    store, lake = published_store_of(mill), lake_of(mill)
    days = lake.feature_days(STATION)
    drawn = _drawn(finding["started"], finding["ended"])
    first, last = drawn[0] - _BEFORE, drawn[1] + _AFTER
    if days:
        first = max(first, datetime.combine(days[0], datetime.min.time(), first.tzinfo))
        last = min(last, datetime.combine(days[-1], datetime.min.time(), first.tzinfo) + _AFTER)
    first, last = min(first, drawn[0]), max(last, drawn[1])
    span = (first.date(), last.date())
    axis = pl.datetime_range(first, last, "1m", eager=True, closed="left", time_unit="us")
    times = pl.DataFrame({"ts_utc": axis})
    station, zones, losses, grid = (
        lake.read_features(kind, *span) for kind in (STATION, ZONES, LOSSES, GRID)
    )
    losses = _on_axis(times, losses)
    minutes = _minutes(times, station, zones)
    # A day's composite that reaches into the hours drawn began on the day before.
    readings = lake.read_readings(
        span[0] - timedelta(days=1), span[1], [s.tag for s in mill.station.lab]
    )
    lab = lab_results(readings, mill.station)
    runs = store.runs().filter(pl.col("run_id") == finding["run_id"])
    return Material(
        mill=mill,
        finding=finding,
        evidence=parsed_evidence(finding["evidence"]),
        run=runs.row(0, named=True) if runs.height else None,
        drawn=drawn,
        grid=_on_axis(times, grid),
        losses=losses,
        minutes=minutes,
        biases=(_bias(minutes, losses, "limed"), _bias(minutes, losses, "clear")),
        lab=lab.filter(speaks_of(*drawn)),
        sensors=store.sensors(finding["started"].date(), finding["ended"].date()),
        others=store.findings().to_dicts(),
        verdicts=store.verdicts().to_dicts(),
        noted=in_hours(known_of(mill), *drawn),
    )


def speaks_of(start: datetime, end: datetime) -> pl.Expr:
    """Tell whether a laboratory result is of a period: drawn in it, or gathered in part in it."""
    until = pl.col("ts_utc") + pl.duration(seconds=pl.col("period_h") * 3600.0)
    return (pl.col("ts_utc") < end) & ((pl.col("ts_utc") >= start) | (until > start))


def _drawn(started: datetime, ended: datetime) -> tuple[datetime, datetime]:
    around = max(_LEAST_AROUND, _AROUND_SHARE * (ended - started))
    start, end = (m.replace(second=0, microsecond=0) for m in (started - around, ended + around))
    return start, end


def _on_axis(times: pl.DataFrame, frame: pl.DataFrame) -> pl.DataFrame:
    """Every minute once; null where the frame has none."""
    if frame.is_empty():
        return times
    return times.join(
        frame.unique("ts_utc", keep="first"), on="ts_utc", how="left", maintain_order="left"
    )


def _minutes(times: pl.DataFrame, station: pl.DataFrame, zones: pl.DataFrame) -> Minutes | None:
    if station.is_empty() or zones.is_empty():
        return None
    whole = [
        _on_axis(times, part).with_columns(zone=pl.lit(part["zone"][0]))
        for part in zones.partition_by("zone", maintain_order=True)
    ]
    return to_minutes(_on_axis(times, station), pl.concat(whole))


def _bias(minutes: Minutes | None, losses: pl.DataFrame, point: str) -> Array:
    """Error of a probe by minute [pH]: what was read less what the search took for true."""
    n = losses.height
    if minutes is None or f"ph_{point}_true" not in losses.columns:
        return np.zeros(n)
    true = losses[f"ph_{point}_true"].cast(pl.Float64).fill_null(float("nan")).to_numpy()
    bias = minutes.station[f"ph_{point}"] - true
    known = np.flatnonzero(np.isfinite(bias))
    # The error wanders slowly, so it is carried over minutes without a reading.
    return np.interp(np.arange(n), known, bias[known]) if len(known) else np.zeros(n)
