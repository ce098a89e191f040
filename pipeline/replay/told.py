"""A replay in words: the answer first, then costs, vessels and what to know."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Final

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


def replay_json(found: Replay) -> str:
    """The answer as JSON."""
    return json.dumps(replay_as_data(found), indent=2, ensure_ascii=True, allow_nan=False)


def replay_lines(found: Replay) -> Iterator[str]:
    """The answer in lines for a person."""
    saving, zone, currency = found.saving, found.mill.tz, found.mill.currency
    kinds = {v.name: str(v.kind) for v in found.mill.station.vessels}
    span = span_words(found.window.start, found.window.end, zone)
    yield said(
        "{span} ({duration_words}), plant time",
        span=span,
        duration_words=duration_words(found.window.end - found.window.start),
    )
    changes = joined("; ", (change_words(c) for c in found.changes)) or said("nothing changed")
    yield said("With {changes}:", changes=changes)
    saved = saving.saved
    verb = said("would have been saved") if saved.mid >= 0.0 else said("more would have been lost")
    by = (saved.mid, saved.low, saved.high)
    mid, low, high = by if saved.mid >= 0.0 else (-saved.mid, -saved.high, -saved.low)
    yield said("{mid} of sucrose {verb}, 90 % interval.", mid=tonnes(mid, low, high), verb=verb)
    yield said(
        "Lost as recorded: {bare_tonnes}; replayed: ",
        bare_tonnes=bare_tonnes(saving.recorded_t, None, None),
    ) + bare_tonnes(saving.replayed_t, None, None)
    price = found.mill.price_per_t
    yield said(
        "Worth: {mid}",
        mid=money(saved.mid * price, saved.low * price, saved.high * price, currency),
    )
    yield said("Costs beside it, more than recorded:")
    for cost in saving.costs:
        yield said("  {cost}", cost=_cost(cost, currency))
    if any(c.value for c in saving.costs):
        net = money(found.net_value, None, None, currency).removesuffix(said(" (no interval)"))
        yield said("Worth less costs: {net}, with the middle of the interval.", net=net)
    yield said("By vessel: lost as recorded, replayed")
    for part in saving.by_vessel:
        if abs(part.recorded_t - part.replayed_t) >= _LEAST_T:
            was, now = (
                said("{recorded_t} t", recorded_t=plain(part.recorded_t, 3)),
                said("{replayed_t} t", replayed_t=plain(part.replayed_t, 3)),
            )
            yield said(
                "  {section_words}: {was}, {now}",
                section_words=section_words(part.zone, kinds),
                was=was,
                now=now,
            )
    if abs(saving.later_t) >= _LEAST_T:
        yield said(
            "After the period, in juice still on its way: {later_t} t besides.",
            later_t=plain(saving.later_t, 3),
        )
    for warning in found.warnings:
        yield said("Mind: {warning}", warning=warning)


def _cost(cost: Cost, currency: str) -> str:
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
