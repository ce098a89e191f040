"""The head of a draft: the mill itself, and what its exports say of time."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from pipeline.cells import folded
from pipeline.intake import quoted
from pipeline.places import TagLook

#: Readings in an hour, and how many times them, that tell a clock change (estimates).
_TELLING: Final = 10
_DOUBLED: Final = 1.5


@dataclass(frozen=True, slots=True)
class Money:
    """Worth of a tonne of sucrose, and its currency; None where nobody said it."""

    price_per_t: float | None = None
    currency: str | None = None


def mill_lines(name: str, zone: str | None, money: Money) -> list[str]:
    """The section of the mill."""
    name = name.strip()[:80].strip() or "My mill"
    key = re.sub(r"[^a-z0-9]+", "_", folded(name)).strip("_")[:40] or "mill"
    key = key if key[0].isalpha() else f"mill_{key}"[:40]
    return [
        "# Drafted by lostpol describe from exports alone. Read every line; what is marked CONFIRM",
        "# was guessed and changes the tonnes. configs/template.toml explains every key.",
        "",
        "[mill]",
        f"name = {quoted(name)}",
        f'key = "{key}"',
        f'zone = "{zone or "UTC"}"' + ("" if zone else "  # CONFIRM: the plant's IANA time zone"),
        f'store = "lostpol_store/{key}"',
        f"sucrose_price_per_t = {500.0 if money.price_per_t is None else float(money.price_per_t)}"
        + ("  # CONFIRM" if money.price_per_t is None else ""),
        f'currency = "{money.currency or "USD"}"' + ("" if money.currency else "  # CONFIRM"),
    ]


def time_lines(tags: Sequence[TagLook], zone: str | None) -> list[str]:
    """What the exports say of time, as comments."""
    first = datetime.fromtimestamp(60 * min(int(t.minute[0]) for t in tags), UTC)
    last = datetime.fromtimestamp(60 * max(int(t.minute[-1]) for t in tags), UTC)
    local = ZoneInfo(zone or "UTC")
    span = " to ".join(f"{t.astimezone(local):%Y-%m-%d %H:%M}" for t in (first, last))
    lines = [f"# Readings reach from {span} ({zone or 'UTC'}); times without a zone are taken so."]
    return lines + (_clock_change_lines(tags, local, first, last) if zone else [])


def _clock_change_lines(
    tags: Sequence[TagLook], zone: ZoneInfo, first: datetime, last: datetime
) -> list[str]:
    """Whether the hour that clocks repeat comes twice, and the one they skip not at all.

    Read as local time, a repeated hour holds the readings of both its passes, in one of them or in
    each its own, and readings of a skipped hour land in the one after it; times that follow no
    clock change do the opposite.
    """
    hours = np.arange(int(first.timestamp()) // 3600, int(last.timestamp()) // 3600)
    offsets = [datetime.fromtimestamp(3600 * int(h), zone).utcoffset() for h in hours]
    lines = []
    for k, (before, after) in enumerate(pairwise(offsets)):
        if before is None or after is None or before == after:
            continue
        back = after < before
        start = 60 * int(hours[k] if back else hours[k + 1])
        usual = sum(_readings_in(t, start - 180, 60) for t in tags)
        if usual < _TELLING:
            continue
        length = 120 if back else 60
        twice = sum(_readings_in(t, start, length) for t in tags) > _DOUBLED * usual
        day = datetime.fromtimestamp(60 * start, zone)
        words = "local time, as taken" if twice == back else "not local time, but UTC or the like"
        lines.append(f"# The clock change of {day:%Y-%m-%d} speaks for {words}.")
    return lines


def _readings_in(tag: TagLook, start: int, length: int) -> int:
    return int(tag.count[(tag.minute >= start) & (tag.minute < start + length)].sum())
