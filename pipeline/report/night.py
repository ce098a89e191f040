"""From the view of a night to the words of its page. Nothing here knows HTML or disk."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.charts import Drawing
from pipeline.report.days import Tally, tally_of, within
from pipeline.report.days_strip import last_days
from pipeline.report.finding_tile import finding_tile
from pipeline.report.groups import Item, items_of
from pipeline.report.night_cover import cover
from pipeline.report.plausible import plausible_short
from pipeline.report.runline import common_parts, said_first
from pipeline.report.season_head import head_of, inside_of
from pipeline.report.sensor_groups import gathered_sensors
from pipeline.report.tables import notice_rows
from pipeline.report.view import Estimate, NightView
from pipeline.words import (
    NO_FINDING,
    UNAVOIDABLE,
    USUAL,
    Evidence,
    against_targets,
    bare_tonnes,
    caution_label,
    clock_words,
    counted,
    day_span,
    day_words,
    headline_words,
    joined,
    moment_words,
    quantity,
    read_evidence,
    said,
    share_against_targets,
    tonnes,
    within_line,
    words_of,
    worth_against_targets,
)

#: Findings with a card and a chart of their own; the rest stand in a table.
CARDS: Final = 3
_FACTS: Final = 3
_SENSORS: Final = 4
_BEFORE: Final = (7, 30)
_NAMED_CAUSES: Final = 3
#: How many findings there are of each state.
_COUNTED: Final[dict[str, Callable[[int], str]]] = {
    "new": lambda n: counted(n, "{n} new", "{n} new"),
    "open": lambda n: counted(n, "{n} still open", "{n} still open"),
    "ended": lambda n: counted(n, "{n} ended", "{n} ended"),
    "withdrawn": lambda n: counted(n, "{n} taken back", "{n} taken back"),
}
#: How the sheet may be set, ever closer: the more findings, the closer it begins.
_CLOSER: Final = ("large", "roomy", "plain", "fuller", "fullest", "bare")
#: The same for a browser that prints the page, which cannot try; by the number of cards.
_BY_BROWSER: Final = ("roomy", "roomy", "plain", "bare")


@dataclass(frozen=True, slots=True)
class Card:
    """A finding with what carries it, what to check and its chart."""

    item: Item
    facts: tuple[str, ...]
    problem: str
    alternatives: str
    cautions: str
    drawing: Drawing


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the comparison: what it covers, and what was lost."""

    name: str
    excess: str
    worth: str
    unavoidable: str
    share: str


def compose_night(view: NightView) -> dict[str, Any]:
    """Make everything the page, the PDF and the plain text of a night show."""
    report = view.report
    zone = ZoneInfo(report.zone)
    items = items_of(view)
    ranked = [item for item in items if item.state != "withdrawn"]
    chosen = sorted(ranked, key=lambda item: item.row.number)[:CARDS]
    cards = [_card(view, item) for item in ranked if item in chosen]
    sensors = gathered_sensors(report)
    return {
        **common_parts(report, view.run),
        "day": day_words(view.day),
        "until": moment_words(report.period_end, zone),
        **_headline(view),
        "counts": _counts(items),
        "cards": cards,
        "others": [item for item in ranked if item not in chosen],
        "withdrawn": [item for item in items if item.state == "withdrawn"],
        "cautions": _cautions(cards),
        "sensors": None if sensors is None else sensors[:_SENSORS],
        "more_sensors": 0 if sensors is None else max(0, len(sensors) - _SENSORS),
        "notices": notice_rows(report),
        "plausible": plausible_short(view.plausible),
        "strip": last_days(view),
        "lever": view.lever,
        "closer": joined(" ", _CLOSER[max(0, len(cards) - 1) :]),
        "browser": _BY_BROWSER[len(cards)],
        "unavoidable": UNAVOIDABLE,
        "usual": USUAL,
    }


def _tally(view: NightView, first: date, last: date) -> Tally | None:
    return tally_of(view.report.season, view.known, first, last, view.report.zone)


def _headline(view: NightView) -> dict[str, Any]:
    """First lines: what the day lost, beside the days before it, and what changed."""
    one = timedelta(days=1)
    of_day = _tally(view, view.day, view.day)
    before = [_tally(view, view.day - n * one, view.day - one) for n in _BEFORE]
    today = _tally(view, view.day + one, view.day + one)
    # A day that readings end with is called yesterday only where it is.
    name = day_words(view.day) if said_first(view.report) else said("Yesterday")
    columns = [_column(view, name, of_day)]
    if today is not None and today.minutes > 0:
        until = clock_words(view.report.period_end, ZoneInfo(view.report.zone))
        columns.append(_column(view, said("Today until {until}", until=until), today))
    for n, sums in zip(_BEFORE, before, strict=True):
        columns.append(_column(view, _mean_of(n, sums), sums, mean=True))
    lead, nothing = _lead(view, of_day)
    return {
        "lead": lead,
        "nothing": nothing,
        "columns": columns,
        "changed": _changed(view, of_day, before[-1]),
        "cover": cover(view, of_day, today),
        "microbes": "" if of_day is None or of_day.microbes_t <= 0 else _microbes(of_day),
    }


def _against_money(view: NightView, held: Estimate) -> str:
    price = view.report.price_per_t
    bounds = (held.value * price, held.low * price, held.high * price)
    return worth_against_targets(*bounds, view.report.currency)


def _lead(view: NightView, of_day: Tally | None) -> tuple[dict[str, str], str]:
    if of_day is None:
        when = "on" if said_first(view.report) else said("yesterday,")
        return {}, said(
            "What was lost {when} {day_words}, could not be computed.",
            when=when,
            day_words=day_words(view.day),
        )
    total = of_day.total
    mass = against_targets(total.value, total.low, total.high)
    parts = {"mass": head_of(mass), "mass_span": inside_of(mass)}
    if parts["mass"].endswith("better"):
        return parts | {"against": headline_words(mass), "worth": "", "worth_span": ""}, ""
    worth = _against_money(view, total)
    nothing = said("The interval reaches zero: it may be nothing.") if total.low <= 0 else ""
    parts |= {"worth": head_of(worth), "worth_span": inside_of(worth)}
    return parts | {"against": headline_words(mass)}, nothing


def _days(number: int) -> str:
    return said("day") if number == 1 else said("{number} days", number=number)


def _mean_of(days: int, sums: Tally | None) -> str:
    if sums is None or sums.days == days:
        return said("Mean of the {days} days before", days=days)
    return said(
        "Mean of {days} of the {days2} days before (all there are)", days=sums.days, days2=days
    )


def _column(view: NightView, name: str, sums: Tally | None, *, mean: bool = False) -> Column:
    if sums is None:
        return Column(name, "not computed", "not computed", "not computed", "not computed")
    total = sums.a_day if mean else sums.total
    days = sums.days if mean else 1
    return Column(
        name,
        against_targets(total.value, total.low, total.high),
        _against_money(view, total),
        quantity(sums.unavoidable_t / days, None, None, "t").split(" (", 1)[0],
        _share(sums),
    )


def _share(sums: Tally) -> str:
    """Loss as a share of the sucrose fed, with the digits that its interval allows."""
    if sums.sucrose_fed_t <= 0:
        return said("not computed")
    total = sums.total
    value, low, high = (
        100 * mass / sums.sucrose_fed_t for mass in (total.value, total.low, total.high)
    )
    return head_of(share_against_targets(value, low, high))


def _changed(view: NightView, of_day: Tally | None, before: Tally | None) -> str:
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


def _microbes(of_day: Tally) -> str:
    eaten = quantity(of_day.microbes_t, None, None, "t").split(said(" ("), 1)[0]
    return said("{eaten} of it was eaten by microbes, by the finding below.", eaten=eaten)


def _counts(items: Sequence[Item]) -> str:
    told = []
    for state, words in _COUNTED.items():
        if n := sum(item.state == state for item in items):
            told.append(words(n))
    return joined(", ", told)


def _card(view: NightView, item: Item) -> Card:
    evidence = read_evidence(item.row.evidence)
    labels = list(dict.fromkeys(caution_label(line) for line in item.row.cause.cautions))
    return Card(
        item=item,
        facts=evidence.facts[:_FACTS],
        problem=evidence.problem,
        alternatives=_alternatives(evidence),
        cautions=joined(", ", labels),
        drawing=finding_tile(view.report, item.row, f"tile-{item.row.number}"),
    )


def _alternatives(evidence: Evidence) -> str:
    return joined("; ", (within_line(name) for name in evidence.alternatives))


def _cautions(cards: Sequence[Card]) -> list[tuple[str, str]]:
    """Full words of every caution the cards name, each once."""
    lines = dict.fromkeys(line for card in cards for line in card.item.row.cause.cautions)
    return [(caution_label(line), line) for line in lines]
