"""From the view to the words of the page. Nothing here knows HTML or disk."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from models.account import added_findings, multiplier_log_sd, pooled, with_bounds
from pipeline.charts import Drawing, season_chart
from pipeline.report.beyond import beyond_rows
from pipeline.report.finding_chart import finding_chart, has_judged_loss
from pipeline.report.levers import lever_lines, lever_rows
from pipeline.report.tables import (
    FindingRow,
    computed_share,
    finding_rows,
    notice_rows,
    sensor_rows,
    source_rows,
    tag_rows,
)
from pipeline.report.view import Estimate, ReportView
from pipeline.words import (
    Evidence,
    bare_tonnes,
    clean,
    clocks_change,
    confidence_key,
    day_words,
    money,
    percent,
    plain,
    quantity,
    read_evidence,
    said,
    span_words,
    tonnes,
)


@dataclass(frozen=True, slots=True)
class Headline:
    """The first thing read: how much, what it is worth, how many findings, the worst one."""

    mass: str
    mass_span: str
    worth: str
    worth_span: str
    basis: str
    counted: str
    worst: str
    cover: str
    beware: str


@dataclass(frozen=True, slots=True)
class Card:
    """A finding with its evidence and chart."""

    row: FindingRow
    evidence: Evidence
    drawing: Drawing


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
    standing = [row for row in rows if not row.withdrawn]
    zone = ZoneInfo(view.zone)
    return {
        "mill": clean(view.mill),
        "zone": view.zone,
        "period": span_words(view.period_start, view.period_end, zone),
        "clocks_change": clocks_change(view.period_start, view.period_end, zone),
        "currency": clean(view.currency),
        "price": money(view.price_per_t, view.price_per_t, view.price_per_t, view.currency).split(
            said(" ("), 1
        )[0],
        "headline": headline(view, rows),
        "rows": rows,
        "cards": [_card(view, row) for row in standing[:top]],
        "confidence_key": confidence_key(),
        "season": season_of(view),
        "levers": lever_rows(view.levers),
        "lever_lines": lever_lines(view.levers),
        "notices": notice_rows(view),
        "has_notices": view.notices is not None,
        "sources": source_rows(view),
        "tags": tag_rows(view),
        "sensors": sensor_rows(view),
        "missing_tags": [clean(tag, 80) for tag in view.missing_tags],
        "gaps": gaps_of(view),
        "beyond": beyond_rows(view),
        "multiplier": _multiplier(view),
        "level": level_of(view),
        "loss_basis": _loss_basis(view),
        "run": [(clean(name, 60), clean(value, 300)) for name, value in view.run.items()],
    }


def period_excess(view: ReportView, rows: Sequence[FindingRow]) -> tuple[Estimate | None, str]:
    """Loss above the unavoidable in the period [t] and, in words, what it rests on.

    Added findings share the error of the mill's kinetic level; what else makes each uncertain is
    its own.
    """
    if view.period_excess is not None:
        return view.period_excess, ""
    counted = [row for row in rows if not row.withdrawn and row.lost_t is not None]
    sizes = pl.DataFrame(
        [(row.lost_t, row.low_t, row.high_t) for row in counted],
        schema=dict.fromkeys(("lost_t", "lost_t_low", "lost_t_high"), pl.Float64),
        orient="row",
    )
    total = Estimate(*added_findings(sizes, level_log_sd(view)))
    basis = said(
        "Sum of the findings below, which share the error of the kinetic level; "
        "what else makes each uncertain is its own."
    )
    return (total if counted else None), basis


def level_log_sd(view: ReportView) -> float:
    """Log standard error of the kinetic level that all findings of a report share [-]."""
    held = view.multiplier
    return math.inf if held is None else multiplier_log_sd(held.low, held.high)


def headline(view: ReportView, rows: Sequence[FindingRow]) -> Headline:
    """Write the first lines of the report."""
    standing = [row for row in rows if not row.withdrawn]
    total, basis = period_excess(view, rows)
    cover, beware = _cover(view)
    counted = {0: said("No finding"), 1: said("One finding")}.get(
        len(standing), said("{standing} findings", standing=len(standing))
    )
    if total is None:
        return Headline(
            mass=said("No loss found"),
            mass_span=said("above the unavoidable, as far as the data reach"),
            worth="",
            worth_span="",
            basis="",
            counted=said("{counted} in this period.", counted=counted),
            worst="",
            cover=cover,
            beware=beware,
        )
    price = view.price_per_t
    mass = tonnes(total.value, total.low, total.high)
    worth = money(total.value * price, total.low * price, total.high * price, view.currency)
    nothing = said(" The interval reaches zero, so it may be nothing.") if total.low <= 0 else ""
    return Headline(
        mass=mass.split(said(" ("), 1)[0],
        mass_span=_inside(mass) + said(" t"),
        worth=worth.split(said(" ("), 1)[0],
        worth_span=_inside(worth),
        basis=(basis + nothing).strip(),
        counted=f"{counted}.",
        worst=_worst(standing),
        cover=cover,
        beware=beware,
    )


def _inside(text: str) -> str:
    return text.split(said(" ("), 1)[1].rstrip(")")


def _worst(standing: Sequence[FindingRow]) -> str:
    """Name the first in rank: a large but doubtful one must not lead the morning."""
    worst = next((row for row in standing if row.lost_t is not None), None)
    if worst is None:
        return ""
    mass = bare_tonnes(worst.lost_t, worst.low_t, worst.high_t)
    what = said(
        "{name} ({where}), {when}: {mass}, {confidence}",
        name=worst.cause.name,
        where=worst.where,
        when=worst.when,
        mass=mass,
        confidence=worst.confidence,
    )
    return said("{what}; finding {finding_id}.", what=what, finding_id=worst.finding_id)


def _cover(view: ReportView) -> tuple[str, str]:
    """Say how much of the period could be computed, and warn when it is not nearly all."""
    share = computed_share(view)
    if share is None:
        return "", said(
            "How much of the period could be computed is not known: minute data are missing."
        )
    phrase = said(
        "{share} % of the period could be computed.",
        share=plain(share, 1 if 99 < share < 100 else 0),
    )
    if share >= 95:
        return phrase, ""
    return phrase, said("Hours without data are not hours without loss: see “What is missing”.")


def _card(view: ReportView, row: FindingRow) -> Card:
    label = said(
        "pH, temperature, residence time and loss rate around finding {finding_id}: {name}, {when}",
        finding_id=row.finding_id,
        name=row.cause.name,
        when=row.when,
    )
    drawing = finding_chart(view, row.section, row.started, row.ended, row.anchor, label)
    return Card(row, read_evidence(row.evidence), drawing)


def season_of(view: ReportView) -> Season | None:
    """Chart and totals of the season; None when no daily sums were given."""
    frame = view.season
    if frame is None:
        return None
    held = frame.drop_nulls(["day_local", "sucrose_fed_t", "unavoidable_t", "excess_t"])
    if held.is_empty():
        return Season(season_chart(frame, "", view.tongue), (), "")
    sums = with_bounds(pooled(held)).row(0, named=True)
    fed = sums["sucrose_fed_t"]
    without = frame.height - held.height
    first, last = (day_words(held["day_local"].sort()[i]) for i in (0, -1))
    days = said("{height} days, {first} to {last}", height=held.height, first=first, last=last) + (
        said("; {without} more could not be computed and are left out", without=without)
        if without
        else ""
    )
    totals = (
        (said("Sucrose fed"), quantity(fed, None, None, "t").split(said(" ("), 1)[0], "100 %"),
        _total(said("Unavoidable loss"), sums["unavoidable_t"], None, fed),
        _total(
            said("Loss above the unavoidable"),
            sums["excess_t"],
            (sums["excess_low_t"], sums["excess_high_t"]),
            fed,
        ),
    )
    label = said("Sucrose lost each day of the season: unavoidable, and above the unavoidable")
    return Season(season_chart(frame, label, view.tongue), totals, days)


def _total(
    name: str, mass: float, bounds: tuple[float, float] | None, fed: float
) -> tuple[str, str, str]:
    share = percent(100 * mass / fed) if fed > 0 else said("not computed")
    if bounds is None:
        return name, quantity(mass, None, None, "t").split(said(" ("), 1)[0], share
    return name, tonnes(mass, *bounds), share


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
