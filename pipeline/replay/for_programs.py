"""The answer of a replay for programs: tonnes, times in UTC."""

from __future__ import annotations

from typing import Any

from features.replay import Change
from pipeline.replay.answered import Replay


def replay_as_data(found: Replay) -> dict[str, Any]:
    """The answer as plain numbers, words and lists: tonnes [t], times in UTC.

    ``saved_t`` is ``recorded_t`` less ``replayed_t``; bounds are of its 90 % interval. Of a cost,
    ``amount`` is how much more of it there would have been, ``value`` what that costs.
    """
    saving = found.saving
    return {
        "from": found.window.start.isoformat(),
        "to": found.window.end.isoformat(),
        "zone": found.mill.zone,
        "set": [_change(change) for change in found.changes],
        "recorded_t": saving.recorded_t,
        "replayed_t": saving.replayed_t,
        "saved_t": saving.saved.mid,
        "saved_t_low": saving.saved.low,
        "saved_t_high": saving.saved.high,
        "saved_later_t": saving.later_t,
        "fed_share": saving.fed_share,
        "currency": found.mill.currency,
        "value": found.value,
        "value_low": saving.saved.low * found.mill.price_per_t,
        "value_high": saving.saved.high * found.mill.price_per_t,
        "net_value": found.net_value,
        "costs": [
            {"what": c.what, "amount": c.amount, "unit": c.unit, "value": c.value}
            for c in saving.costs
        ],
        "by_vessel": [
            {"vessel": z.zone, "recorded_t": z.recorded_t, "replayed_t": z.replayed_t}
            for z in saving.by_vessel
        ],
        "warnings": list(found.warnings),
    }


def _change(change: Change) -> dict[str, Any]:
    return {"key": change.key, "how": change.how, "amount": change.amount, "unit": change.unit}
