"""From the view of a week to the words of its review. Nothing here knows HTML or disk."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import polars as pl
from markupsafe import Markup

from models.account import added_findings, pooled, with_bounds
from pipeline.charts import bar, hatch
from pipeline.report.beyond import beyond_rows
from pipeline.report.days import Tally, microbes_within, tally, within
from pipeline.report.groups import mark_words, verdict_words
from pipeline.report.levers import lever_lines, lever_rows
from pipeline.report.plausible import plausible_lines
from pipeline.report.runline import common_parts
from pipeline.report.season import level_log_sd, season_of
from pipeline.report.sensor_groups import gathered_sensors
from pipeline.report.tables import FindingRow, finding_rows
from pipeline.report.view import Estimate, WeekView
from pipeline.report.week.control import controls
from pipeline.report.week.findings import fixes, offenders, verdicts_due
from pipeline.report.week.level import level_words
from pipeline.report.week.settling import settling
from pipeline.report.week.sharpness import sharpness_rows
from pipeline.words import (
    clean,
    count,
    day_span,
    day_words,
    figure,
    moment_words,
    money,
    percent,
    said,
    tonnes,
    words_of,
)

_NO_FINDING: Final = said("In no finding: scatter, slow drift, losses too small to stand out")


@dataclass(frozen=True, slots=True)
class Cell:
    """Loss of a shift or a day, with its bar; `thin` says when hours lack."""

    mass: str
    bar: Markup
    thin: str


@dataclass(frozen=True, slots=True)
class DayRow:
    """A day of the week: its shifts in order, and the day."""

    day: str
    cells: tuple[Cell, ...]
    whole: Cell


@dataclass(frozen=True, slots=True)
class CauseRow:
    """A cause of the week: how much, its share, and what it adds up to with those before it."""

    name: str
    bar: Markup
    mass: str
    worth: str
    findings: str
    share: str
    together: str


def compose_week(view: WeekView) -> dict[str, Any]:
    """Make everything the page, the PDF and the plain text of a week show."""
    report = view.report
    zone = ZoneInfo(report.zone)
    sensors = gathered_sensors(report)
    sums = _sums(view, 0)
    return {
        **common_parts(report, view.run),
        "week": said(
            "{day_words} to {day_words2}",
            day_words=day_words(view.first, view.last.year),
            day_words2=day_words(view.last),
        ),
        "until": moment_words(view.run.data_end, zone),
        "hatch": hatch(),
        "lines": _lines(view, sums),
        "shift_names": [clean(name, 30) for name in view.shift_names],
        "days": _days(view),
        "shift_totals": _shift_totals(view),
        "causes": _causes(view, sums),
        "rows": _found(view),
        "season": season_of(report),
        "controls": controls(report),
        "kinetic": level_words(view),
        "sharpness": sharpness_rows(view),
        "due": verdicts_due(view),
        "offenders": offenders(view),
        "fixes": fixes(view),
        "sensors": sensors,
        "settling": settling(view),
        "levers": lever_rows(report.levers),
        "lever_lines": lever_lines(report.levers),
        "plausible": plausible_lines(view.plausible),
        "beyond": beyond_rows(report),
    }


def _found(view: WeekView) -> list[tuple[FindingRow, str, str]]:
    """Findings of the week that stand, with their verdicts and how far chance may explain them."""
    stored = {row["finding_id"]: row for row in view.report.findings.to_dicts()}
    return [
        (row, verdict_words(view.report, stored[row.raw_id]), mark_words(stored[row.raw_id]))
        for row in finding_rows(view.report)
        if not row.withdrawn
    ]


def _sums(view: WeekView, weeks_before: int) -> Tally | None:
    """Sums of the week, or of one some weeks before it."""
    if view.report.season is None:
        return None
    back = timedelta(days=7 * weeks_before)
    first, last = view.first - back, view.last - back
    bounds = day_span(first, last, ZoneInfo(view.report.zone))
    return tally(view.report.season, first, last, microbes_within(view.known, *bounds))


def _season_sums(view: WeekView) -> Tally | None:
    season = view.report.season
    if season is None or season.is_empty():
        return None
    first, last = season["day_local"].min(), view.last
    bounds = day_span(first, last, ZoneInfo(view.report.zone))  # type: ignore[arg-type]
    return tally(season, first, last, microbes_within(view.known, *bounds))  # type: ignore[arg-type]


def _lines(view: WeekView, sums: Tally | None) -> list[dict[str, str]]:
    """The week beside the week before and the season, each as a mean day too."""
    named = (
        (said("This week"), sums),
        (said("The week before"), _sums(view, 1)),
        (said("Season to date"), _season_sums(view)),
    )
    return [_line(view, name, held) for name, held in named]


def _line(view: WeekView, name: str, sums: Tally | None) -> dict[str, str]:
    if sums is None:
        none = said("not computed")
        row = {"mass": none, "worth": none, "a_day": none, "unavoidable": none}
        return {"name": name, "computed": "", **row}
    total, a_day = sums.total, sums.a_day
    partly = (
        ""
        if sums.days == sums.asked
        else said(", {days} of {asked} days", days=sums.days, asked=sums.asked)
    )
    return {
        "name": name + partly,
        "computed": "yes",
        "mass": _tonnes(total),
        "worth": _money(view, total),
        "a_day": _tonnes(a_day),
        "unavoidable": tonnes(sums.unavoidable_t, None, None).split(said(" ("), 1)[0],
    }


def _tonnes(held: Estimate) -> str:
    return tonnes(held.value, held.low, held.high)


def _money(view: WeekView, held: Estimate) -> str:
    price = view.report.price_per_t
    low, high = held.low * price, held.high * price
    return money(held.value * price, low, high, view.report.currency)


def _days(view: WeekView) -> list[DayRow] | None:
    """The week by day and shift; None when no shifts were given."""
    if view.shifts is None:
        return None
    held = view.shifts.filter(pl.col("day").is_between(view.first, view.last))
    season = view.report.season
    by_day = {} if season is None else {row["day_local"]: row for row in season.to_dicts()}
    by_shift = {(row["day"], row["order"]): row for row in held.to_dicts()}
    longest = max([0.0, *(row["excess_t"] or 0.0 for row in by_shift.values())])
    days = [view.first + timedelta(days=n) for n in range((view.last - view.first).days + 1)]
    top = max([0.0, *((by_day[day]["excess_t"] or 0.0) for day in days if day in by_day)])
    return [
        DayRow(
            day_words(day, view.last.year),
            tuple(
                _cell(by_shift.get((day, n)), longest, length)
                for n, length in enumerate(view.shift_minutes)
            ),
            _cell(by_day.get(day), top, sum(view.shift_minutes)),
        )
        for day in days
    ]


def _cell(row: dict[str, Any] | None, longest: float, length: int) -> Cell:
    if row is None or not row.get("minutes", length):
        return Cell(said("not computed"), bar(0.0, 1.0), "")
    mass = tonnes(row["excess_t"], row["excess_low_t"], row["excess_high_t"])
    share = 100.0 * row.get("minutes", length) / length
    thin = said("{share} % of its hours", share=figure(share, ".0f")) if share < 95 else ""
    return Cell(mass, bar(row["excess_t"], longest), thin or _unread(row, length))


def _unread(row: dict[str, Any], length: int) -> str:
    """Say when a sum rests on the mill's usual values rather than on readings."""
    read = 100.0 * row.get("measured", length) / length
    return said("{read} % with all readings", read=figure(read, ".0f")) if read < 90 else ""


def _shift_totals(view: WeekView) -> list[str]:
    """Sum of each shift over the week."""
    if view.shifts is None:
        return []
    held = view.shifts.filter(pl.col("day").is_between(view.first, view.last))
    names = ("excess_t", "excess_low_t", "excess_high_t")
    sums = {row["order"]: row for row in with_bounds(pooled(held, ["order"])).to_dicts()}
    return [
        tonnes(*(sums[n][name] for name in names)) if n in sums else said("not computed")
        for n in range(len(view.shift_names))
    ]


def _causes(view: WeekView, sums: Tally | None) -> list[CauseRow]:
    """Pareto of the week: causes by tonnes, and last what lies in no finding."""
    bounds = day_span(view.first, view.last, ZoneInfo(view.report.zone))
    added = (
        (cause, found.height, Estimate(*added_findings(found, level_log_sd(view.report))))
        for (cause,), found in within(view.known, *bounds)
        .partition_by("cause", as_dict=True)
        .items()
    )
    rows = sorted(added, key=lambda row: (-row[2].value, row[0]))
    found = sum(held.value for _, _, held in rows)
    rest = None if sums is None else sums.total.value - found
    whole = found + max(0.0, rest or 0.0)
    longest = max([rest or 0.0, *(held.value for _, _, held in rows)], default=0.0)
    made, together = [], 0.0
    for cause, n, held in rows:
        together += held.value
        made.append(
            CauseRow(
                words_of(cause).name,
                bar(held.value, longest),
                _tonnes(held),
                _money(view, held),
                count(n),
                percent(100 * held.value / whole),
                said("{together} %", together=figure(100 * together / whole, ".0f")),
            )
        )
    return made if rest is None else [*made, _rest(view, rest, whole, longest)]


def _rest(view: WeekView, rest: float, whole: float, longest: float) -> CauseRow:
    price, code = view.report.price_per_t, view.report.currency
    if rest <= 0:
        mass = said(
            "{rest} less than at the targets",
            rest=tonnes(-rest, None, None).split(said(" ("), 1)[0],
        )
        return CauseRow(_NO_FINDING, bar(0.0, 1.0), mass, "", "", "", "")
    share = 100 * rest / whole if whole > 0 else None
    return CauseRow(
        _NO_FINDING,
        bar(rest, longest, hatched=True),
        tonnes(rest, None, None),
        money(rest * price, None, None, code),
        "",
        percent(share),
        "100 %",
    )
