"""The level of the kinetics week by week, and what the laboratory's methods are off by."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any, Final
from zoneinfo import ZoneInfo

from pipeline.report.view import WeekView
from pipeline.words import (
    clean,
    count,
    day_words,
    figure,
    quantity,
    said,
    stream_words,
)

#: Weeks shown, the newest of the season.
_WEEKS: Final = 10
_METHODS: Final = {"rs": said("Reducing sugars")}


@dataclass(frozen=True, slots=True)
class LevelWords:
    """What the weekly review says of the level: its course, the methods, and steps in words."""

    weeks: tuple[tuple[str, str], ...]
    methods: tuple[tuple[str, str, str, str], ...]
    steps: tuple[str, ...]
    moved: str


def level_words(view: WeekView) -> LevelWords | None:
    """Course and methods up to the week's end; None where no search kept them."""
    if view.level is None or view.level.is_empty():
        return None
    zone = ZoneInfo(view.report.zone)
    rows = view.level.sort("ts_utc").tail(_WEEKS).to_dicts()
    weeks = tuple((_day(row["ts_utc"], zone), _factor(row)) for row in rows)
    told = [] if view.methods is None else view.methods.to_dicts()
    standing = tuple(_method(row) for row in told if not row.get("since_utc"))
    steps = tuple(_step(row, zone) for row in told if row.get("since_utc"))
    return LevelWords(weeks, standing, steps, _moved(rows, zone))


def _day(moment: datetime, zone: ZoneInfo) -> str:
    # Knots are whole weeks apart: an hour that the clocks went back would tell the day before.
    return day_words((moment.astimezone(zone) + timedelta(hours=1)).date())


def _factor(row: dict[str, Any]) -> str:
    return quantity(row["multiplier"], row["low"], row["high"], "")


def _moved(rows: list[dict[str, Any]], zone: ZoneInfo) -> str:
    """The week in which it moved most, where the first and the last interval do not overlap."""
    first, last = rows[0], rows[-1]
    if first["low"] <= last["high"] and last["low"] <= first["high"]:
        return ""
    before, after = max(
        pairwise(rows), key=lambda pair: abs(pair[1]["multiplier"] / pair[0]["multiplier"] - 1.0)
    )
    return said(
        "It moved from {multiplier} to {multiplier2}, most between {day} and "
        "{day2}: other cane, another reagent or method, or a volume or meter that"
        " changed then.",
        multiplier=figure(first["multiplier"], ".2f"),
        multiplier2=figure(last["multiplier"], ".2f"),
        day=_day(before["ts_utc"], zone),
        day2=_day(after["ts_utc"], zone),
    )


def _method(row: dict[str, Any]) -> tuple[str, str, str, str]:
    surely = row["high_pct_low"] * row["high_pct_high"] > 0.0
    way = said("high") if row["high_pct"] > 0.0 else said("low")
    way = way if surely else said("cannot be told from zero")
    return (
        _METHODS.get(row["analyte"], clean(row["analyte"], 40)),
        stream_words(row["place"], "out"),
        count(row["samples"]),
        said(
            "{high_pct}: {way}",
            high_pct=quantity(row["high_pct"], row["high_pct_low"], row["high_pct_high"], "%"),
            way=way,
        ),
    )


def _step(row: dict[str, Any], zone: ZoneInfo) -> str:
    return said(
        "{method} stepped by {high_pct} on {day}, when another reagent or method was noted ("
        "{samples} results since); it is not taken for inversion.",
        method=_METHODS.get(row["analyte"], clean(row["analyte"], 40)),
        high_pct=quantity(row["high_pct"], row["high_pct_low"], row["high_pct_high"], "%"),
        day=_day(row["since_utc"], zone),
        samples=count(row["samples"]),
    )
