"""The strip of the last thirty days on the sheet of a night."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.charts import NARROW_STRIP, WIDE_STRIP, DayBar, Drawing, Lane, strip
from pipeline.report.days import days_with_microbes
from pipeline.report.view import NightView
from pipeline.words import day_span, day_words, said, words_of

DAYS: Final = 30
#: Causes with a lane of their own; the rest share one.
_LANES: Final = 4
_LABEL: Final = said(
    "Sucrose lost above the unavoidable on each of the last 30 days, and the findings"
)
_OTHERS: Final = said("Other causes")


def last_days(view: NightView) -> Drawing:
    """Draw the days up to the one that is told of; a note where no day is known."""
    season = view.report.season
    first = view.day - timedelta(days=DAYS - 1)
    if season is None:
        return Drawing(note=said("The last 30 days are not shown: no daily sums were given."))
    held = season.filter(pl.col("day_local").is_between(first, view.day)).drop_nulls("excess_t")
    if held.height < 2:
        return Drawing(note=said("The last 30 days are not shown: there is no earlier day yet."))
    days = _bars(days_with_microbes(held, view.known, view.report.zone).to_dicts(), first, view.day)
    labels = [_short(first + timedelta(days=n)) for n in range(DAYS)]
    lanes = _lanes(view, *day_span(first, view.day, ZoneInfo(view.report.zone)))
    tongue = view.report.tongue
    wide, narrow = (
        strip(days, labels, lanes, _LABEL, s, tongue) for s in (WIDE_STRIP, NARROW_STRIP)
    )
    return Drawing(wide, narrow)


def _bars(rows: Sequence[dict[str, Any]], first: date, told: date) -> list[DayBar]:
    return [
        DayBar(
            (row["day_local"] - first).days,
            row["excess_t"],
            row["excess_low_t"],
            row["excess_high_t"],
            told=row["day_local"] == told,
        )
        for row in rows
    ]


def _short(day: date) -> str:
    """Day and month alone: ``6 Oct``."""
    return day_words(day, day.year).partition(" ")[2]


def _lanes(view: NightView, start: datetime, end: datetime) -> list[Lane]:
    """Findings of the days by cause, the costliest first."""
    found = view.known.filter(
        (pl.col("status") != "withdrawn")
        & (pl.col("started") < end)
        & (pl.col("ended").fill_null(end) > start)
    )
    sizes = found.group_by("cause").agg(pl.col("lost_t").sum()).sort("lost_t", "cause")
    ranked = sizes["cause"].to_list()[::-1]
    own = ranked if len(ranked) <= _LANES else ranked[: _LANES - 1]
    named = [
        (words_of(cause).name.partition(",")[0], found.filter(pl.col("cause") == cause))
        for cause in own
    ]
    if len(own) < len(ranked):
        named.append((_OTHERS, found.filter(~pl.col("cause").is_in(own))))
    return [Lane(name, tuple(_spans(rows, start, end))) for name, rows in named]


def _spans(rows: pl.DataFrame, start: datetime, end: datetime) -> list[tuple[float, float]]:
    one = timedelta(days=1)
    return [
        ((max(began, start) - start) / one, (min(over or end, end) - start) / one)
        for began, over in rows.select("started", "ended").iter_rows()
    ]
