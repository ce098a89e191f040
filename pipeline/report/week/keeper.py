"""A page beside the weekly review for those who keep the tool: how sharp the search is."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from pipeline.report.view import WeekView
from pipeline.report.week.sharpness import sharpness_lead, sharpness_rows
from pipeline.words import clean, day_words, moment_words, said


def compose_keeper(view: WeekView) -> dict[str, Any]:
    """Make everything the page shows."""
    return {
        "mill": clean(view.report.mill),
        "week": said(
            "{day_words} to {day_words2}",
            day_words=day_words(view.first, view.last.year),
            day_words2=day_words(view.last),
        ),
        "until": moment_words(view.run.data_end, ZoneInfo(view.report.zone)),
        "lead": sharpness_lead(view),
        "sharpness": sharpness_rows(view),
    }
