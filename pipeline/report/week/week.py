"""From the view of a week to the words of its review. Nothing here knows HTML or disk."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.charts import hatch
from pipeline.report.beyond import beyond_rows
from pipeline.report.days import Tally, tally_of
from pipeline.report.groups import STRICT, mark_words, verdict_words
from pipeline.report.levers import lever_lines, lever_rows
from pipeline.report.plausible import plausible_lines
from pipeline.report.runline import common_parts
from pipeline.report.season import season_of
from pipeline.report.season_head import head_of, inside_of
from pipeline.report.sensor_groups import gathered_sensors
from pipeline.report.tables import FindingRow, finding_rows
from pipeline.report.view import Estimate, WeekView
from pipeline.report.week.causes import cause_rows
from pipeline.report.week.control import controls
from pipeline.report.week.findings import fixes, offenders, verdicts_due
from pipeline.report.week.level import level_words
from pipeline.report.week.settling import settling
from pipeline.report.week.shift_rows import day_rows, shift_totals
from pipeline.words import (
    DEFINED,
    against_targets,
    amount,
    clean,
    day_words,
    moment_words,
    said,
    tonnes,
    worth_against_targets,
)


def compose_week(view: WeekView) -> dict[str, Any]:
    """Make everything the page, the PDF and the plain text of a week show."""
    report = view.report
    zone = ZoneInfo(report.zone)
    sensors = gathered_sensors(report)
    sums = _sums(view, 0)
    causes = cause_rows(view, sums, _sums(view, 1))
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
        "days": day_rows(view),
        "shift_totals": shift_totals(view),
        "week_total": "" if sums is None else against_targets(*_ends(sums.total)),
        "causes": causes,
        "hatched": any("url(#hatch)" in row.bar for row in causes),
        "rows": _found(view),
        "season": season_of(report, view.known),
        "defined": DEFINED,
        "strict": STRICT,
        "controls": controls(report),
        "kinetic": level_words(view),
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
    back = timedelta(days=7 * weeks_before)
    first, last = view.first - back, view.last - back
    return tally_of(view.report.season, view.known, first, last, view.report.zone)


def _season_sums(view: WeekView) -> Tally | None:
    season = view.report.season
    if season is None or season.is_empty():
        return None
    first = season["day_local"].sort()[0]
    return tally_of(season, view.known, first, view.last, view.report.zone)


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
    total, a_day, price = sums.total, sums.a_day, view.report.price_per_t
    currency = clean(view.report.currency)
    worth = worth_against_targets(
        price * total.value, price * total.low, price * total.high, currency
    )
    partly = (
        ""
        if sums.days == sums.asked
        else said(", {days} of {asked} days", days=sums.days, asked=sums.asked)
    )
    return {
        "name": name + partly,
        "computed": "yes",
        "mass": against_targets(*_ends(total)),
        "worth": worth,
        "worth_span": amount(currency, inside_of(worth)),
        "a_day": against_targets(*_ends(a_day)),
        "unavoidable": head_of(tonnes(sums.unavoidable_t, None, None)),
    }


def _ends(held: Estimate) -> tuple[float, float, float]:
    return held.value, held.low, held.high
