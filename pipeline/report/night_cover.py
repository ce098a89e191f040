"""How much of a night's day, and of the hours since, rests on readings."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

from pipeline.report.days import Tally
from pipeline.report.view import NightView
from pipeline.words import day_span, figure, said


def cover(view: NightView, of_day: Tally | None, today: Tally | None) -> tuple[str, bool]:
    """Say how much of day and morning rests on readings; True when that is little of the day."""
    if of_day is None or view.day_minutes <= 0 or of_day.minutes <= 0:
        return said("How much of the day could be computed is not known."), True
    judged = min(100.0, 100.0 * of_day.minutes / view.day_minutes)
    measured = min(100.0, 100.0 * of_day.measured / view.day_minutes)
    text = said(
        "{judged} % of the day's minutes computed, {measured} % with all readings",
        judged=figure(judged, ".0f"),
        measured=figure(measured, ".0f"),
    )
    text += _cover_today(view, today)
    if judged >= 95 and measured >= 90:
        return text, False
    lacking = said("Where readings lack, the mill's usual value stands in, and a loss may not show")
    return said("{text} {lacking}; see below.", text=text, lacking=lacking), True


def _cover_today(view: NightView, today: Tally | None) -> str:
    """The same of the hours since, where any were computed."""
    _, begun = day_span(view.day, view.day, ZoneInfo(view.report.zone))
    minutes = (view.report.period_end - begun) / timedelta(minutes=1)
    if today is None or today.minutes <= 0 or minutes <= 0:
        return "."
    judged, measured = (min(100.0, 100.0 * n / minutes) for n in (today.minutes, today.measured))
    return said(
        "; of today's so far {judged} % and {measured} %.",
        judged=figure(judged, ".0f"),
        measured=figure(measured, ".0f"),
    )
