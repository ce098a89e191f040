"""What changed: a night's day beside the days before it, and what was found in it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.report.days import Tally, within
from pipeline.report.view import Estimate, NightView
from pipeline.words import (
    NO_FINDING,
    bare_tonnes,
    day_span,
    joined,
    said,
    tonnes,
    within_line,
    words_of,
)

_NAMED_CAUSES: Final = 3


def _days(number: int) -> str:
    return said("day") if number == 1 else said("{number} days", number=number)


def changed(view: NightView, of_day: Tally | None, before: Tally | None) -> str:
    """Set the day beside the days before it, and name what was found in it."""
    if of_day is None or before is None or view.report.season is None:
        return said("There is no earlier day to set it beside.")
    usual, value = before.a_day.value, of_day.total.value
    days = view.report.season.filter(
        pl.col("day_local").is_between(view.day - timedelta(days=30), view.day - timedelta(days=1))
    ).drop_nulls("excess_t")
    worse = int((days["excess_t"] > value - of_day.microbes_t).sum())
    difference = abs(value - usual)
    spread = Estimate(difference, 0.0, 2 * difference)
    size = bare_tonnes(difference, spread.low, spread.high)
    side = said("more") if value > usual else said("less")
    text = said(
        "Above the unavoidable {size} {side} than the mean of the {days} before",
        size=size,
        side=side,
        days=_days(before.days),
    )
    text += said("; {rank}.", rank=_rank(worse, days.height))
    return said("{text} {found_in_it}", text=text, found_in_it=_found_in_it(view, value))


def _rank(worse: int, days: int) -> str:
    if worse == 0:
        return (
            said("none of those {days} days was worse", days=days)
            if days > 1
            else said("that day was better")
        )
    if worse == days:
        return (
            said("each of those {days} days was worse", days=days)
            if days > 1
            else said("that day was worse")
        )
    return said("more was lost on {worse} of those {days} days", worse=worse, days=days)


def _found_in_it(view: NightView, value: float) -> str:
    bounds = day_span(view.day, view.day, ZoneInfo(view.report.zone))
    rows = within(view.known, *bounds).sort("lost_t", descending=True)
    if rows.is_empty():
        return said("No finding lies in it.")
    causes = rows.group_by("cause", maintain_order=True).agg(
        pl.col("lost_t", "lost_t_low", "lost_t_high").sum()
    )
    named = [
        said(
            "{within_line} {mass}",
            within_line=within_line(words_of(row["cause"]).name),
            mass=_mass(row),
        )
        for row in causes.head(_NAMED_CAUSES).to_dicts()
    ]
    rest = value - float(causes["lost_t"].sum())
    outside = bare_tonnes(abs(rest), abs(rest) - 0.1, abs(rest) + 0.1)
    entries = said(
        "{no_finding} {outside}{rest}.",
        no_finding=NO_FINDING,
        outside=outside,
        rest="" if rest > 0 else said(" better than at the targets"),
    )
    text = said("In findings, above the usual: {named}", named=joined("; ", named))
    text += (
        said("; {height} more causes", height=causes.height - _NAMED_CAUSES)
        if causes.height > _NAMED_CAUSES
        else ""
    )
    return said("{text}. {entries}", text=text, entries=entries)


def _mass(row: dict[str, Any]) -> str:
    return tonnes(row["lost_t"], row["lost_t_low"], row["lost_t_high"])
