"""What the panels of one finding share: its minutes, the clock of its left edge, its lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

import polars as pl

from pipeline.charts import Point, Series, Size, Window, envelope
from pipeline.report.view import ReportView
from pipeline.words import as_utc

_LEAST_MARGIN: Final = timedelta(hours=6)


@dataclass(frozen=True, slots=True)
class Scope:
    """What one finding's panels need: minutes of the window and the clock of its left edge."""

    view: ReportView
    section: str
    window: tuple[datetime, datetime]
    shift_ms: int
    size: Size

    @property
    def utc(self) -> Window:
        """Window in epoch milliseconds, UTC."""
        return epoch_ms(self.window[0]), epoch_ms(self.window[1])

    def local(self, points: Sequence[Point]) -> list[Point]:
        """Points moved to the clock of the left edge."""
        return [(t + self.shift_ms, v) for t, v in points]

    def minutes(self, frame: pl.DataFrame | None) -> pl.DataFrame | None:
        """Rows of a minute frame inside the window."""
        if frame is None:
            return None
        start, end = self.window
        return frame.filter(pl.col("ts_utc").is_between(start, end, closed="left"))


def chart_window(
    started: datetime, ended: datetime, bounds: tuple[datetime, datetime] | None
) -> tuple[datetime, datetime]:
    """Window drawn around a finding: some time either side, no further than there are data."""
    margin = max(_LEAST_MARGIN, 0.6 * (ended - started))
    start, end = started - margin, ended + margin
    if bounds is not None:
        start = max(start, min(bounds[0], started))
        end = min(end, max(bounds[1], ended))
    return start, end


def data_bounds(view: ReportView) -> tuple[datetime, datetime] | None:
    """First and last minute (end exclusive) of the minute frames."""
    edges = [
        edge
        for frame in (view.station_minutes, view.zone_minutes)
        if frame is not None and not frame.is_empty()
        for edge in (frame["ts_utc"].min(), frame["ts_utc"].max())
        if isinstance(edge, datetime)
    ]
    return (as_utc(min(edges)), as_utc(max(edges)) + timedelta(minutes=1)) if edges else None


def epoch_ms(moment: datetime) -> int:
    """Epoch milliseconds of a moment."""
    return round(as_utc(moment).timestamp() * 1000)


def lines_of(
    frame: pl.DataFrame | None, styles: Mapping[str, Series], scope: Scope
) -> list[Series]:
    """Decimated lines for the columns of `styles` that the frame has and that hold readings."""
    if frame is None:
        return []
    held = [
        name for name in styles if name in frame.columns and frame[name].null_count() < frame.height
    ]
    budget = scope.size.points // max(1, len(held))
    return [
        replace(
            styles[name],
            points=scope.local(envelope(frame, name, scope.utc, budget)),
            usual=_usual(frame[name]),
        )
        for name in held
    ]


def _usual(values: pl.Series) -> tuple[float, float] | None:
    """Range of nearly all readings: one wild reading must not flatten the panel."""
    low, high = values.quantile(0.003), values.quantile(0.997)
    return None if low is None or high is None else (low, high)
