"""First lines of the season's report, and how its findings add up to them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final
from zoneinfo import ZoneInfo

import polars as pl

from models.account import multiplier_log_sd
from pipeline.report.days import tally_of, within
from pipeline.report.made_of import MadeOf, made_of
from pipeline.report.tables import FindingRow, computed_share
from pipeline.report.view import Estimate, ReportView
from pipeline.words import (
    NO_FINDING,
    NO_FINDING_WHY,
    against_targets,
    amount,
    bare_tonnes,
    clean,
    headline_words,
    plain,
    said,
    worth_against_targets,
)

_MOMENT: Final = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class Headline:
    """The first thing read: how much, what it is worth, how many findings, the worst one."""

    counted: str
    cover: str
    beware: str
    mass: str = said("No loss found")
    mass_span: str = said("above the unavoidable, as far as the data reach")
    against: str = ""
    worth: str = ""
    worth_span: str = ""
    nothing: str = ""
    worst: str = ""


def total_of(view: ReportView) -> MadeOf:
    """Loss above the unavoidable in the period, and what it is made of."""
    zone = ZoneInfo(view.zone)
    first = view.period_start.astimezone(zone).date()
    last = (view.period_end - _MOMENT).astimezone(zone).date()
    sums = tally_of(view.season, view.findings, first, last, view.zone)
    found = within(view.findings, view.period_start, view.period_end)
    return made_of(found, None if sums is None else sums.total, level_log_sd(view))


def level_log_sd(view: ReportView) -> float:
    """Log standard error of the kinetic level that all findings of a report share [-]."""
    held = view.multiplier
    return math.inf if held is None else multiplier_log_sd(held.low, held.high)


def headline(view: ReportView, rows: Sequence[FindingRow], whole: MadeOf) -> Headline:
    """Write the first lines of the report."""
    standing = [row for row in rows if not row.withdrawn]
    cover, beware = _cover(view)
    counted = {0: said("No finding"), 1: said("One finding")}.get(
        len(standing), said("{standing} findings", standing=len(standing))
    )
    total = whole.total or (whole.found if whole.findings else None)
    if total is None:
        return Headline(
            counted=said("{counted} in this period.", counted=counted), cover=cover, beware=beware
        )
    price = view.price_per_t
    mass = against_targets(total.value, total.low, total.high)
    worth = worth_against_targets(
        total.value * price, total.low * price, total.high * price, view.currency
    )
    parts = {"mass": head_of(mass), "mass_span": inside_of(mass) + said(" t")}
    if not parts["mass"].endswith("better"):
        span = amount(clean(view.currency), inside_of(worth))
        parts |= {"worth": head_of(worth), "worth_span": span}
    nothing = said("The interval reaches zero, so it may be nothing.") if total.low <= 0 else ""
    return Headline(
        **parts,
        against=headline_words(mass) if whole.total else said("of sucrose lost above the usual"),
        nothing=nothing if total.value > 0 else "",
        counted=said("{counted}.", counted=counted),
        worst=_worst(standing),
        cover=cover,
        beware=beware,
    )


@dataclass(frozen=True, slots=True)
class Foot:
    """Last rows below the findings: name, tonnes, worth."""

    name: str
    mass: str
    worth: str
    role: str


def foot_of(view: ReportView, whole: MadeOf) -> list[Foot]:
    """How the findings add up to the headline."""
    if not whole.findings and whole.total is None:
        return []
    beyond = view.findings.filter(
        (pl.col("started") < view.period_start) | (pl.col("ended") > view.period_end)
    )
    inside = "" if beyond.is_empty() else said(", with their hours in this period")
    found = whole.found
    rows = [
        Foot(
            said("All findings, above the usual{inside}", inside=inside),
            *_both(view, found),
            "part",
        )
    ]
    if whole.rest_t is not None and whole.total is not None:
        rows.append(
            Foot(
                said(
                    "{no_finding}: {no_finding_why}",
                    no_finding=NO_FINDING,
                    no_finding_why=NO_FINDING_WHY,
                ),
                *_bare(view, whole.rest_t),
                "part",
            )
        )
        rows.append(
            Foot(said("Above the unavoidable, all together"), *_both(view, whole.total), "total")
        )
    return rows


def _both(view: ReportView, held: Estimate) -> tuple[str, str]:
    price = view.price_per_t
    bounds = (held.value * price, held.low * price, held.high * price)
    return (
        against_targets(held.value, held.low, held.high),
        worth_against_targets(*bounds, view.currency),
    )


def _bare(view: ReportView, mass_t: float) -> tuple[str, str]:
    """Tonnes and worth without an interval: what is left of two numbers has none of its own."""
    worth = worth_against_targets(mass_t * view.price_per_t, None, None, view.currency)
    return head_of(against_targets(mass_t, None, None)), head_of(worth)


def head_of(text: str) -> str:
    """A quantity without its interval."""
    return text.split(said(" ("), 1)[0]


def inside_of(text: str) -> str:
    """The interval of a quantity, without its brackets."""
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
