"""A replay in words: the answer first, then costs, vessels and what to know."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from models.account import Tonnes
from models.replay import Cost
from pipeline.replay.answered import Replay
from pipeline.replay.for_programs import replay_as_data
from pipeline.replay.words import change_words
from pipeline.words import (
    bare_tonnes,
    duration_words,
    joined,
    money,
    plain,
    said,
    section_words,
    span_words,
    stored,
    tonnes,
    unit_words,
)

#: Vessels that change by less than this are not told [t].
_LEAST_T: Final = 0.001
#: A change of the settling margin below this would be told as 0.0 % [%].
_LEAST_PCT: Final = 0.05


def replay_json(found: Replay) -> str:
    """The answer as JSON."""
    return json.dumps(replay_as_data(found), indent=2, ensure_ascii=True, allow_nan=False)


@dataclass(frozen=True, slots=True)
class Told:
    """A replay in words, part by part.

    Attributes
    ----------
    hours, change, saved, sums, worth : str
        Sentences: what was run again, with what, what it saved, lost both ways, and the money.
    costs : tuple of str
    net : str
        Worth less costs; empty where nothing has a price.
    vessels : tuple of (str, str, str)
        Name, lost as recorded and worked out anew [t]: those that change, all the others in one,
        and the sum of them.
    notes : tuple of str
        What comes later, and what to mind.
    """

    hours: str
    change: str
    saved: str
    sums: str
    worth: str
    costs: tuple[str, ...]
    net: str
    vessels: tuple[tuple[str, str, str], ...]
    notes: tuple[str, ...]


def replay_told(found: Replay) -> Told:
    """The answer in words, as a page sets it out."""
    saving, zone, currency = found.saving, found.mill.tz, found.mill.currency
    changes = joined("; ", (change_words(c) for c in found.changes)) or said("nothing changed")
    saved, price = saving.saved, found.mill.price_per_t
    net = ""
    if any(c.value for c in saving.costs):
        net = money(found.net_value, None, None, currency).removesuffix(said(" (no interval)"))
        net = said("Worth less costs: {net}, with the middle of the interval.", net=net)
    return Told(
        hours=said(
            "{span} ({duration_words}), plant time",
            span=span_words(found.window.start, found.window.end, zone),
            duration_words=duration_words(found.window.end - found.window.start),
        ),
        change=said("With {changes}:", changes=changes),
        saved=_saved(saved),
        sums=said(
            "Lost as recorded: {bare_tonnes}; replayed: ",
            bare_tonnes=bare_tonnes(saving.recorded_t, None, None),
        )
        + bare_tonnes(saving.replayed_t, None, None),
        worth=said(
            "Worth: {mid}",
            mid=money(saved.mid * price, saved.low * price, saved.high * price, currency),
        ),
        costs=tuple(_cost(cost, currency) for cost in saving.costs),
        net=net,
        vessels=tuple(_vessels(found)),
        notes=tuple(_notes(found)),
    )


def replay_lines(found: Replay) -> Iterator[str]:
    """The answer in lines for a person."""
    told = replay_told(found)
    yield from (told.hours, told.change, told.saved, told.sums, told.worth)
    yield said("Costs beside it, more than recorded:")
    for cost in told.costs:
        yield said("  {cost}", cost=cost)
    if told.net:
        yield told.net
    yield said("By vessel: lost as recorded, replayed")
    for name, was, now in told.vessels:
        yield said(
            "  {section_words}: {was}, {now}",
            section_words=name,
            was=said("{recorded_t} t", recorded_t=was),
            now=said("{replayed_t} t", replayed_t=now),
        )
    yield from told.notes


def _saved(saved: Tonnes) -> str:
    verb = said("would have been saved") if saved.mid >= 0.0 else said("more would have been lost")
    by = (saved.mid, saved.low, saved.high)
    mid, low, high = by if saved.mid >= 0.0 else (-saved.mid, -saved.high, -saved.low)
    return said("{mid} of sucrose {verb}, 90 % interval.", mid=tonnes(mid, low, high), verb=verb)


def _vessels(found: Replay) -> Iterator[tuple[str, str, str]]:
    """Vessels that change; the others together, lest the sum be short; the sum."""
    saving = found.saving
    kinds = {v.name: str(v.kind) for v in found.mill.station.vessels}
    other = [saving.recorded_t, saving.replayed_t]
    for part in saving.by_vessel:
        if abs(part.recorded_t - part.replayed_t) >= _LEAST_T:
            other = [other[0] - part.recorded_t, other[1] - part.replayed_t]
            name = section_words(part.zone, kinds)
            yield name, plain(part.recorded_t, 3), plain(part.replayed_t, 3)
    if max(other) >= 0.5 * _LEAST_T:
        yield said("all the others"), plain(other[0], 3), plain(other[1], 3)
    yield said("all together"), plain(saving.recorded_t, 3), plain(saving.replayed_t, 3)


def _notes(found: Replay) -> Iterator[str]:
    if abs(found.saving.later_t) >= _LEAST_T:
        yield said(
            "After the period, in juice still on its way: {later_t} t besides.",
            later_t=plain(found.saving.later_t, 3),
        )
    for warning in found.warnings:
        yield said("Mind: {warning}", warning=warning)


def _cost(cost: Cost, currency: str) -> str:
    if cost.unit == "%" and abs(cost.amount) < _LEAST_PCT:
        return said("{what}: as before", what=stored(cost.what))
    if cost.unit == "%":
        more = said("more") if cost.amount > 0.0 else said("less")
        return said(
            "{what}: {amount} % {more} load the settler could take",
            what=stored(cost.what),
            amount=plain(abs(cost.amount), 1),
            more=more,
        )
    text = said(
        "{what}: {amount} {unit_words}",
        what=stored(cost.what),
        amount=plain(cost.amount, 2),
        unit_words=unit_words(cost.unit),
    )
    if cost.value is None:
        return text
    return said(
        "{text}, {value}",
        text=text,
        value=money(cost.value, None, None, currency).removesuffix(said(" (no interval)")),
    )
