"""From the view to the words of the page. Nothing here knows HTML or disk."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.charts import Drawing, in_hours, season_chart
from pipeline.report.beyond import beyond_rows
from pipeline.report.data_lines import data_lines
from pipeline.report.days import MICROBES, Tally, days_with_microbes, tally_of
from pipeline.report.finding_chart import finding_chart, has_judged_loss
from pipeline.report.groups import STRICT
from pipeline.report.levers import lever_lines, lever_rows
from pipeline.report.season_head import foot_of, head_of, headline, total_of
from pipeline.report.sensor_groups import gathered_sensors
from pipeline.report.tables import (
    FindingRow,
    finding_rows,
    notice_rows,
    source_rows,
    tag_rows,
)
from pipeline.report.view import ReportView
from pipeline.words import (
    DEFINED,
    Evidence,
    Said,
    against_targets,
    caution_label,
    clean,
    clocks_change,
    confidence_key,
    day_words,
    joined,
    percent,
    price_words,
    quantity,
    read_evidence,
    said,
    span_words,
)


@dataclass(frozen=True, slots=True)
class Card:
    """A finding with its evidence and chart, and whether that shows the rate of the loss."""

    row: FindingRow
    evidence: Evidence
    drawing: Drawing
    cautions: str
    shows_loss: bool


@dataclass(frozen=True, slots=True)
class Season:
    """The season's chart and its totals, one row each: name, tonnes, share of sucrose fed."""

    drawing: Drawing
    totals: tuple[tuple[str, str, str], ...]
    days: str


def compose(view: ReportView, top: int) -> dict[str, Any]:
    """Make everything the template shows.

    Parameters
    ----------
    view : ReportView
        What is known; its columns have been checked.
    top : int
        Number of findings that get a card of their own.
    """
    rows = finding_rows(view)
    whole = total_of(view)
    standing = [row for row in rows if not row.withdrawn]
    zone = ZoneInfo(view.zone)
    return {
        "mill": clean(view.mill),
        "zone": view.zone,
        "period": span_words(view.period_start, view.period_end, zone),
        "clocks_change": clocks_change(view.period_start, view.period_end, zone),
        "price": price_words(view.price_per_t, view.currency),
        "headline": headline(view, rows, whole),
        "foot": foot_of(view, whole),
        "defined": DEFINED,
        "rows": rows,
        "cards": [_card(view, row) for row in standing[:top]],
        "confidence_key": confidence_key(),
        "season": season_of(view, view.findings),
        "levers": lever_rows(view.levers),
        "lever_lines": lever_lines(view.levers),
        "notices": notice_rows(view),
        "has_notices": view.notices is not None,
        "noted": [k.words for k in in_hours(view.known, view.period_start, view.period_end)],
        "sources": source_rows(view),
        "tags": tag_rows(view),
        "sensors": gathered_sensors(view),
        "data_lines": data_lines(view),
        "dossiers": view.dossiers,
        "strict": STRICT,
        "missing_tags": [clean(tag, 80) for tag in view.missing_tags],
        "gaps": gaps_of(view),
        "beyond": beyond_rows(view),
        "multiplier": _multiplier(view),
        "level": level_of(view),
        "loss_basis": _loss_basis(view),
        "run": [(_harmless(name, 60), _harmless(value, 300)) for name, value in view.run.items()],
    }


def _card(view: ReportView, row: FindingRow) -> Card:
    label = said(
        "The hours around finding {finding_id}: {name}, {when}",
        finding_id=row.finding_id,
        name=row.cause.name,
        when=row.when,
    )
    microbes = row.code == MICROBES
    drawing = finding_chart(
        view, row.section, row.started, row.ended, row.anchor, label, microbes=microbes
    )
    cautions = joined(", ", dict.fromkeys(caution_label(line) for line in row.cause.cautions))
    return Card(row, read_evidence(row.evidence), drawing, cautions, not microbes)


def season_of(view: ReportView, findings: pl.DataFrame) -> Season | None:
    """Chart and totals of the season; None when no daily sums were given.

    Parameters
    ----------
    view : ReportView
    findings : polars.DataFrame
        All of the season: what microbes ate is known by them alone.
    """
    frame = view.season
    if frame is None:
        return None
    held = frame.drop_nulls(["day_local", "sucrose_fed_t", "unavoidable_t", "excess_t"])
    if held.is_empty():
        drawn = season_chart(frame, "", view.known, ZoneInfo(view.zone), view.tongue)
        return Season(drawn, (), "")
    first, last = held["day_local"].sort()[0], held["day_local"].sort()[-1]
    sums = tally_of(held, findings, first, last, view.zone)
    without = frame.height - held.height
    days = said(
        "{height} days, {day_words} to {day_words2}",
        height=held.height,
        day_words=day_words(first),
        day_words2=day_words(last),
    ) + (
        said("; {without} more could not be computed and are left out", without=without)
        if without
        else ""
    )
    label = said("Sucrose lost each day of the season: unavoidable, and above the unavoidable")
    drawn = season_chart(
        days_with_microbes(frame, findings, view.zone),
        label,
        view.known,
        ZoneInfo(view.zone),
        view.tongue,
    )
    return Season(drawn, () if sums is None else _totals(sums), days)


def _totals(sums: Tally) -> tuple[tuple[str, str, str], ...]:
    """Rows of the season's table: name, tonnes, share of the sucrose fed."""
    fed, total = sums.sucrose_fed_t, sums.total
    lost = against_targets(total.value, total.low, total.high)
    return (
        (
            said("Sucrose fed"),
            head_of(quantity(fed, None, None, "t")),
            said("{share} %", share=100),
        ),
        (
            said("Unavoidable loss"),
            head_of(quantity(sums.unavoidable_t, None, None, "t")),
            _of_fed(sums.unavoidable_t, fed),
        ),
        (said("Above the unavoidable"), lost, _of_fed(abs(total.value), fed)),
    )


def _of_fed(mass_t: float, fed_t: float) -> str:
    return percent(100 * mass_t / fed_t) if fed_t > 0 else said("not computed")


def gaps_of(view: ReportView) -> list[tuple[str, str]]:
    """Say what the report lacks: what the view names, and every part that was not given."""
    absent = (
        (
            view.station_minutes,
            said("pH in the charts"),
            said("no minute data of the station were given"),
        ),
        (
            view.zone_minutes,
            said("Temperature, residence time and loss rate in the charts"),
            said("no minute data of the vessels were given"),
        ),
        (
            view.lab,
            said("Laboratory grabs in the charts"),
            said("no laboratory results were given"),
        ),
        (view.season, said("The season's loss by day"), said("no daily sums were given")),
        (view.multiplier, said("The mill's own kinetic multiplier"), said("it was not given")),
        (view.notices, said("Odd events without loss"), said("no list of notices was given")),
        (
            view.sources,
            said("Rows read, kept and refused"),
            said("no record of the pull was given"),
        ),
        (view.tags, said("Bad readings per tag"), said("no count per tag was given")),
    )
    named = [(clean(gap.what, 200), clean(gap.why, 600)) for gap in view.not_computed]
    return named + [(what, why) for part, what, why in absent if part is None]


def _loss_basis(view: ReportView) -> str:
    """Say what the loss rate in the charts is computed from."""
    if has_judged_loss(view.station_minutes):
        return said("The loss rate uses the corrected pH and the mill's multiplier.")
    if view.multiplier is None:
        return said("The loss rate uses the pH as read and multiplier 1.")
    return said("The loss rate uses the pH as read and the mill's multiplier.")


def _multiplier(view: ReportView) -> tuple[str, str] | None:
    held = view.multiplier
    if held is None:
        return None
    return quantity(held.value, held.low, held.high, ""), clean(held.source, 400)


def level_of(view: ReportView) -> str:
    """Say that the level of the loss rests on the description; empty where it does not."""
    return "" if view.multiplier is None else clean(view.multiplier.beware, 600)


def _harmless(text: str, most: int) -> str:
    """Text as it may be shown; what was said here is harmless, and stays to be said anew."""
    return text if isinstance(text, Said) else clean(text, most)
