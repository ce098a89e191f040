"""What the weekly review says of findings: verdicts due, what comes back, whether fixes held."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import polars as pl

from models.account import added_findings
from pipeline.report.groups import verdict_words
from pipeline.report.season_head import level_log_sd
from pipeline.report.view import Estimate, WeekView, vessel_kinds
from pipeline.report.week.fixes import FixCheck, check_fix
from pipeline.words import (
    as_utc,
    clean,
    confidence_words,
    count,
    day_words,
    figure,
    moment_words,
    money,
    quantity,
    said,
    section_words,
    span_words,
    tonnes,
    words_of,
)

_DUE_SHOWN: Final = 10
_OFFENDERS_SHOWN: Final = 8


@dataclass(frozen=True, slots=True)
class DueRow:
    """A finding that nobody has judged yet, or that went on after it was judged."""

    finding_id: str
    what: str
    where: str
    when: str
    mass: str
    confidence: str
    why: str


@dataclass(frozen=True, slots=True)
class Due:
    """The most pressing ones, and how many more there are."""

    rows: tuple[DueRow, ...]
    more: int


@dataclass(frozen=True, slots=True)
class OffenderRow:
    """A cause that came more than once at the same place."""

    what: str
    where: str
    times: str
    mass: str
    worth: str
    last: str
    this_week: bool


@dataclass(frozen=True, slots=True)
class FixRow:
    """A finding that people call fixed, and whether its loss stopped."""

    finding_id: str
    what: str
    where: str
    since: str
    before: str
    during: str
    after: str
    fell: str
    outcome: str
    text: str


def verdicts_due(view: WeekView) -> Due | None:
    """Findings without a verdict, best ranked first; None when the store keeps no verdicts."""
    if "verdict" not in view.known.columns:
        return None
    known = _standing(view.known).filter(pl.col("started") < view.report.period_end)
    due = known.filter(pl.col("verdict").is_null() | (pl.col("verdict") == "look_again"))
    due = due.sort("rank", "started", nulls_last=True)
    rows = tuple(_due(view, row) for row in due.head(_DUE_SHOWN).to_dicts())
    return Due(rows, max(0, due.height - _DUE_SHOWN))


def _due(view: WeekView, row: dict[str, Any]) -> DueRow:
    return DueRow(
        clean(row["finding_id"], 20),
        *_what_where(view, row),
        span_words(
            as_utc(row["started"]), as_utc(row["ended"]), ZoneInfo(view.report.zone), view.last.year
        ),
        tonnes(row["lost_t"], row["lost_t_low"], row["lost_t_high"]),
        confidence_words(row["confidence"]),
        verdict_words(view.report, row) or said("no verdict yet"),
    )


def _standing(findings: pl.DataFrame) -> pl.DataFrame:
    return findings.filter((pl.col("status") != "withdrawn") & pl.col("lost_t").is_not_null())


def _what_where(view: WeekView, row: dict[str, Any]) -> tuple[str, str]:
    where = section_words(str(row["section"] or ""), vessel_kinds(view.report))
    return words_of(str(row["cause"] or "")).name, where


def offenders(view: WeekView) -> list[OffenderRow]:
    """Causes that came to the same place more than once this season, most costly first."""
    known = _standing(view.known).filter(pl.col("started") < view.report.period_end)
    if "verdict" in known.columns:
        known = known.filter(pl.col("verdict").fill_null("") != "dismissed")
    places = known.partition_by("cause", "section")
    repeated = sorted(
        (rows for rows in places if rows.height > 1),
        key=lambda rows: (-rows["lost_t"].sum(), *rows.select("cause", "section").row(0)),
    )
    return [_offender(view, rows) for rows in repeated[:_OFFENDERS_SHOWN]]


def _offender(view: WeekView, rows: pl.DataFrame) -> OffenderRow:
    price = view.report.price_per_t
    # Added as the desk and the season add them: one sum has one interval wherever it stands.
    value, low, high = added_findings(rows, level_log_sd(view.report))
    row = rows.sort("started").row(-1, named=True) | {"last": rows["started"].max()}
    return OffenderRow(
        *_what_where(view, row),
        count(rows.height),
        tonnes(value, low, high),
        money(price * value, price * low, price * high, view.report.currency),
        day_words(row["last"].astimezone(ZoneInfo(view.report.zone)), view.last.year),
        row["last"] >= view.report.period_start,
    )


def fixes(view: WeekView) -> list[FixRow] | None:
    """Before and after of findings called fixed; None when the store keeps no verdicts."""
    given = view.report.verdicts
    if "verdict" not in view.known.columns or given is None:
        return None
    standing = _standing(view.known).filter(
        pl.col("verdict").is_in(["fixed", "look_again"])
        & pl.col("finding_id").is_in(
            given.filter(pl.col("verdict") == "fixed")["finding_id"].to_list()
        )
    )
    rows = []
    for row in standing.sort("started", descending=True).to_dicts():
        last = given.filter(
            (pl.col("finding_id") == row["finding_id"]) & (pl.col("verdict") == "fixed")
        ).row(-1, named=True)
        if view.minutes is None:
            continue
        end = view.run.data_end
        checked = check_fix(row, last["given_at"], view.minutes, view.known, end)
        rows.append(_fix(view, row, checked))
    return rows


def _fix(view: WeekView, row: dict[str, Any], checked: FixCheck) -> FixRow:
    what, where = _what_where(view, row)
    outcome, text = _outcome(checked)
    return FixRow(
        finding_id=clean(row["finding_id"], 20),
        what=what,
        where=where,
        since=moment_words(checked.since, ZoneInfo(view.report.zone), view.last.year),
        before=_rate(checked, checked.before),
        during=_rate(checked, checked.during),
        after=_rate(checked, checked.after),
        fell=_rate(checked, checked.fell),
        outcome=outcome,
        text=text,
    )


def _rate(checked: FixCheck, held: Estimate | None) -> str:
    if checked.outcome == "not seen by kinetics":
        return ""
    return (
        said("not computed") if held is None else quantity(held.value, held.low, held.high, "kg/h")
    )


def _outcome(checked: FixCheck) -> tuple[str, str]:
    hours = timedelta(hours=checked.hours)
    judged = said(
        "{hours} days since could be judged", hours=figure(hours / timedelta(days=1), ".1f")
    )
    back = {
        0: said("it has not come back as a finding"),
        1: said("it has come back as a finding once"),
    }.get(checked.again, said("it has come back as a finding {again} times", again=checked.again))
    names = {
        "stopped": said("The loss stopped"),
        "fell": said("The loss fell, but not surely to what it was"),
        "goes on": said("The loss goes on"),
        "cannot be told": said("Cannot be told from the scatter yet"),
        "too early": said("Too early to tell"),
        "not seen by kinetics": said("Kinetics do not see this loss"),
    }
    name = names[checked.outcome]
    if checked.again and checked.outcome == "stopped":
        name = said("The loss stopped, then came back")
    return name, said("{judged}; {back}.", judged=judged, back=back)
