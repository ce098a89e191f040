"""Levers of a season for reports, from what lies in the lake alone."""

from __future__ import annotations

from datetime import timedelta

from pipeline.mill import Mill
from pipeline.replay import Levers, change_words, levers_of, ph_words
from pipeline.report import LeverShown, SeasonLevers
from pipeline.words import day_words, said


def season_levers(mill: Mill) -> SeasonLevers | None:
    """Levers as far as they are kept; None where nothing is."""
    found = levers_of(mill)
    return None if found is None else shown_levers(found)


def shown_levers(found: Levers) -> SeasonLevers:
    """Levers as a report shows them."""
    mill = found.mill
    first, last = (
        mill.local_day(moment)
        for moment in (found.window.start, found.window.end - timedelta(minutes=1))
    )
    rows = tuple(
        LeverShown(
            what=change_words(step.change),
            saved_t=step.saved.mid,
            low_t=step.saved.low,
            high_t=step.saved.high,
            certain=step.certain,
            value=step.value,
            net_value=step.net_value,
            lime_t=step.lime_t,
            sugars_t=step.sugars_t,
            settling_pct=step.settling_pct,
        )
        for step in found.steps
    )
    return SeasonLevers(
        rows=rows,
        days=said(
            "{day_words} to {day_words2}",
            day_words=day_words(first, last.year),
            day_words2=day_words(last),
        ),
        ph=ph_words(found),
        missing_weeks=found.missing_weeks,
        currency=mill.currency,
    )
