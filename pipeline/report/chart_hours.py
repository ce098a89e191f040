"""The hours that a finding's charts draw, and what is marked on them."""

from __future__ import annotations

from datetime import datetime, timedelta

from pipeline.charts import TimeAxis, in_hours, marks_of
from pipeline.report.view import ReportView
from pipeline.words import as_utc

_LEAST_MARGIN = timedelta(hours=6)


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


def time_axis(
    view: ReportView,
    window: tuple[datetime, datetime],
    shaded: tuple[datetime, datetime],
    shift_ms: int,
) -> TimeAxis:
    """Axis of a finding's charts: its hours shaded, and marks of what was noted beforehand."""

    def at(moment: datetime) -> int:
        return epoch_ms(moment) + shift_ms

    marks = marks_of(in_hours(view.known, *window), at)
    return TimeAxis((at(window[0]), at(window[1])), (at(shaded[0]), at(shaded[1])), marks)
