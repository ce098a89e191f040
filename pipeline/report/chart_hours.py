"""The axis of a finding's charts: its hours shaded, and what was known beforehand marked."""

from __future__ import annotations

from datetime import datetime

from pipeline.charts import TimeAxis, in_hours, marks_of
from pipeline.report.scope import epoch_ms
from pipeline.report.view import ReportView


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
