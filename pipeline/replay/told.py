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
    money,
    plain,
    section_words,
    span_words,
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
    yield f"{span} ({duration_words(found.window.end - found.window.start)}), plant time"
    yield "With " + ("; ".join(change_words(c) for c in found.changes) or "nothing changed") + ":"
    saved = saving.saved
    verb = "would have been saved" if saved.mid >= 0.0 else "more would have been lost"
    by = (saved.mid, saved.low, saved.high)
    mid, low, high = by if saved.mid >= 0.0 else (-saved.mid, -saved.high, -saved.low)
    yield f"{tonnes(mid, low, high)} of sucrose {verb}, 90 % interval."
    yield f"Lost as recorded: {bare_tonnes(saving.recorded_t, None, None)}; replayed: " + (
        f"{bare_tonnes(saving.replayed_t, None, None)}"
    )
    price = found.mill.price_per_t
    yield f"Worth: {money(saved.mid * price, saved.low * price, saved.high * price, currency)}"
    yield "Costs beside it, more than recorded:"
    for cost in saving.costs:
        yield f"  {_cost(cost, currency)}"
    if any(c.value for c in saving.costs):
        net = money(found.net_value, None, None, currency).removesuffix(" (no interval)")
        yield f"Worth less costs: {net}, with the middle of the interval."
    yield "By vessel: lost as recorded, replayed"
    for part in saving.by_vessel:
        if abs(part.recorded_t - part.replayed_t) >= _LEAST_T:
            was, now = f"{plain(part.recorded_t, 3)} t", f"{plain(part.replayed_t, 3)} t"
            yield f"  {section_words(part.zone, kinds)}: {was}, {now}"
    if abs(saving.later_t) >= _LEAST_T:
        yield f"After the period, in juice still on its way: {plain(saving.later_t, 3)} t besides."
    for warning in found.warnings:
        yield f"Mind: {warning}"


def _cost(cost: Cost, currency: str) -> str:
    if cost.unit == "%":
        more = "more" if cost.amount > 0.0 else "less"
        return f"{cost.what}: {plain(abs(cost.amount), 1)} % {more} load the settler could take"
    text = f"{cost.what}: {plain(cost.amount, 2)} {unit_words(cost.unit)}"
    if cost.value is None:
        return text
    return f"{text}, {money(cost.value, None, None, currency).removesuffix(' (no interval)')}"
