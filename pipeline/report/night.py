"""From the view of a night to the words of its page. Nothing here knows HTML or disk."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from pipeline.charts import Drawing
from pipeline.report.days import Tally, tally_of
from pipeline.report.days_strip import last_days
from pipeline.report.finding_tile import finding_tile
from pipeline.report.groups import Item, items_of
from pipeline.report.night_changed import changed
from pipeline.report.night_cover import cover
from pipeline.report.plausible import plausible_short
from pipeline.report.runline import common_parts, said_first
from pipeline.report.season_head import head_of, inside_of
from pipeline.report.sensor_groups import gathered_sensors
from pipeline.report.tables import notice_rows
from pipeline.report.view import Estimate, NightView
from pipeline.words import (
    UNAVOIDABLE,
    USUAL,
    Evidence,
    against_targets,
    amount,
    caution_label,
    clean,
    clock_words,
    counted,
    day_words,
    headline_words,
    joined,
    moment_words,
    quantity,
    read_evidence,
    said,
    share_against_targets,
    within_line,
    worth_against_targets,
)

#: Findings with a card and a chart of their own; the rest stand in a table.
CARDS: Final = 3
_FACTS: Final = 3
_SENSORS: Final = 4
_BEFORE: Final = (7, 30)
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
        "changed": changed(view, of_day, before[-1]),
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
    span = amount(clean(view.report.currency), inside_of(worth))
    parts |= {"worth": head_of(worth), "worth_span": span}
    return parts | {"against": headline_words(mass)}, nothing


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
