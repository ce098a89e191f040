"""The sentence that names it: what moved, where, when and by how much, and what that explains."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np

from models.account import (
    FLOCCULANT_PER_JUICE,
    LIME_PER_JUICE,
    PROBE_ERROR,
    Moved,
    Named,
    Tracked,
)
from pipeline.period.moves import Around, Told
from pipeline.words import (
    QUANTITIES,
    clean,
    figure,
    joined,
    moment_words,
    plain,
    point_words,
    said,
    unit_words,
)

_RATIOS: Final = {
    LIME_PER_JUICE: said("milk of lime per juice"),
    FLOCCULANT_PER_JUICE: said("flocculant per juice"),
}
_PER_JUICE: Final = "L/m3"
#: Juice below this is where microbes of hot juice thrive (memory: best at 55 to 62 degC).
_COLD_DEGC: Final = 60.0
#: Moments are told to five minutes.
_STEP_MIN: Final = 5
#: Shares from here on are told as all of it; below, as next to none.
_ALL: Final = 0.95
_NONE: Final = 0.05
#: Changes of at least this share are told in per cent, too.
_TELLING_SHARE: Final = 0.02
_IN_PER_CENT: Final = frozenset({*_RATIOS, "flow", "cane_rate", "imbibition_flow", "lime_flow"})


def unit_of(signal: Tracked) -> tuple[str, int]:
    """Unit and decimals of a signal."""
    if signal.quantity in _RATIOS:
        return _PER_JUICE, 2
    if signal.quantity == PROBE_ERROR:
        return "pH", 2
    _, unit, decimals = QUANTITIES[signal.quantity]
    return unit, decimals


def what_of(signal: Tracked) -> str:
    """What a signal is: ``temperature out of the primary heater``."""
    if signal.quantity in _RATIOS:
        return _RATIOS[signal.quantity]
    if signal.quantity == PROBE_ERROR:
        return said(
            "error of the {point_words} probe",
            point_words=point_words("ph", signal.place, signal.port),
        )
    return point_words(signal.quantity, signal.place, signal.port)


def tags_of(signal: Tracked) -> str:
    """Tags behind a signal, made printable."""
    return joined(said(" over "), (clean(tag, 60) for tag in signal.tags))


def sentence_of(told: Told, known: Around) -> str:
    """Write what moved first and what followed; empty where nothing that could drive a loss moved.

    Parameters
    ----------
    told : Told
    known : Around
    """
    named = told.named
    if named is None:
        return ""
    text = joined("; ", [_first(named, told, known), *_second(named, known)]) + "."
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def explained(share: float | None, lost: str) -> str:
    """Say how far it explains a loss; empty where that is not known.

    Parameters
    ----------
    share : float or None
        Share of the loss that this kind of driving made, 0 to 1.
    lost : str
        The loss in words: ``3.6 t``.
    """
    if share is None or not math.isfinite(share):
        return ""
    if share >= _ALL:
        return said("That explains all of the {lost}.", lost=lost)
    if share < _NONE:
        return said("That explains next to nothing of the {lost}.", lost=lost)
    return said(
        "That explains about {share} % of the {lost}.",
        share=figure(100.0 * share, ".0f"),
        lost=lost,
    )


def named_as_data(told: Told, known: Around) -> dict[str, Any] | None:
    """What is named first, for programs; None where nothing is."""
    if told.named is None:
        return None
    row = moved_as_data(told.named.first, told, known)
    return row | {"weak": told.named.weak, "kind": told.named.family}


def moved_as_data(item: Moved, told: Told, known: Around) -> dict[str, Any]:
    """One signal that moved, for programs: times in UTC, by the clock at the tag."""
    signal, change = item.signal, item.departure
    unit, _ = unit_of(signal)
    return {
        "tags": list(signal.tags),
        "what": what_of(signal),
        "quantity": signal.quantity,
        "place": signal.place,
        "port": signal.port,
        "unit": unit,
        "usual": round(change.usual, 4),
        "during": round(change.during, 4),
        "at": known.at(_clock_min(item, told)).isoformat(),
        "entered": known.at(change.onset_min).isoformat(),
        "spread_min": round(change.spread_min, 1),
        "before_the_period": change.open_start,
    }


def _first(named: Named, told: Told, known: Around) -> str:
    item, change = named.first, named.first.departure
    signal, when = item.signal, moment_of_move(item, told, known)
    weak = said(", no more than an everyday swing") if named.weak else ""
    if signal.quantity == PROBE_ERROR:
        side = "high" if change.change > 0 else "low"
        probe = said(
            "{point_words} probe {tags_of}",
            point_words=point_words("ph", signal.place, signal.port),
            tags_of=tags_of(signal),
        )
        size = (
            said("{change} pH higher", change=figure(abs(change.change), ".2f"))
            if side == "high"
            else ""
        )
        size = size or said("{change} pH lower", change=figure(abs(change.change), ".2f"))
        return said(
            "{probe} read {size} against the laboratory than usual, {when}{weak}",
            probe=probe,
            size=size,
            when=when,
            weak=weak,
        )
    return said(
        "{what_of} ({tags_of}) {change} {when}{weak}",
        what_of=what_of(signal),
        tags_of=tags_of(signal),
        change=_change(item),
        when=when,
        weak=weak,
    )


def _change(item: Moved) -> str:
    """How a signal changed: ``fell by 25 %, from 12.04 to 9.05 L/m3``."""
    unit, decimals = unit_of(item.signal)
    change = item.departure
    low, high = (plain(v, decimals) for v in (change.usual, change.during))
    verb = said("rose") if change.change > 0 else said("fell")
    share = abs(change.change / change.usual) if change.usual else 0.0
    if item.signal.quantity in _IN_PER_CENT and share >= _TELLING_SHARE:
        return said(
            "{verb} by {share} %, from {low} to {high} {unit_words}",
            verb=verb,
            share=figure(_short_of_all(100.0 * share, change.change, change.during), ".0f"),
            low=low,
            high=high,
            unit_words=unit_words(unit),
        )
    return said(
        "{verb} from {low} to {high} {unit_words}",
        verb=verb,
        low=low,
        high=high,
        unit_words=unit_words(unit),
    )


def _short_of_all(share_pct: float, change: float, left: float) -> float:
    """A fall that leaves something is told as 99 % at most: of 100 % nothing would be left."""
    return min(share_pct, 99.0) if change < 0.0 < left else share_pct


def moment_of_move(item: Moved, told: Told, known: Around) -> str:
    """When a signal moved, by the clock at its tag, with the error of that moment."""
    zone = known.mill.tz
    year = known.start.astimezone(zone).year
    words = moment_words(known.at(_clock_min(item, told)), zone, year)
    if item.departure.open_start:
        return said("since before {words}", words=words)
    spread = max(math.ceil(item.departure.spread_min / _STEP_MIN) * _STEP_MIN, _STEP_MIN)
    error = (
        said("{spread} min", spread=spread)
        if spread < 120
        else said("{spread} h", spread=figure(spread / 60, ".0f"))
    )
    return said("at {words} (± {error})", words=words, error=error)


def _clock_min(item: Moved, told: Told) -> float:
    entered = item.departure.onset_min
    return entered if told.on_clock else item.signal.seen_at(entered)


def _second(named: Named, known: Around) -> list[str]:
    """What followed: the one that tells most, and for how long juice stood cold."""
    follows = [m for m in named.follows if not set(m.signal.tags) & set(named.first.signal.tags)]
    if named.first.signal.quantity == LIME_PER_JUICE or named.family == "cold":
        follows = list(named.follows)
    if named.first.signal.quantity == PROBE_ERROR:
        follows = [m for m in named.follows if m.signal.quantity == LIME_PER_JUICE] or follows
    if named.family == "feed":
        follows = [m for m in follows if m.signal.quantity == "flow"] or follows
    follows = [m for m in follows if m.signal.quantity != PROBE_ERROR]
    parts = []
    if follows:
        item = follows[0]
        parts.append(
            said(
                "{what_of} ({tags_of}) followed: {change}",
                what_of=what_of(item.signal),
                tags_of=tags_of(item.signal),
                change=_change(item),
            )
        )
    if named.family == "cold":
        last = [m for m in (named.first, *follows) if m.signal.quantity == "temperature"]
        parts += _stood_cold(last[-1], known) if last else []
    return parts


def _stood_cold(item: Moved, known: Around) -> list[str]:
    """For how long the juice furthest down the line stood in the warmth that microbes like."""
    values = item.signal.by_clock[slice(*known.period)]
    hours = float(np.sum(values < _COLD_DEGC)) / 60.0
    if hours < 0.5:
        return []
    return [
        said(
            "it stood below {cold_degc} °C for {hours} h",
            cold_degc=figure(_COLD_DEGC, ".0f"),
            hours=figure(hours, ".1f"),
        )
    ]
