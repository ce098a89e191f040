"""A card for each tag and laboratory series: what it is taken for, what it shows, how sure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from markupsafe import Markup

from pipeline.describe.lab import KINDS, LabGuess
from pipeline.describe.sheet.traces import Traced, Traces
from pipeline.places import Guess, Sure, TagLook
from pipeline.words import (
    QUANTITIES,
    analyte_words,
    clean,
    count,
    duration_words,
    plain,
    point_words,
)

_SURE: Final[dict[Sure, str]] = {
    "likely": "likely",
    "perhaps": "perhaps: CONFIRM",
    "unsure": "unsure: CONFIRM",
}
#: A blank at which no line ends.
_FIRM: Final = "\u00a0"
_ROLES: Final = {"second": "second instrument", "set_point": "set-point"}


@dataclass(frozen=True, slots=True)
class Card:
    """What the page says of one tag; all texts are clean but not yet escaped.

    Attributes
    ----------
    name, what, keys : str
        Name as exported; meaning in words; and as the description writes it.
    sure : str
        Doubt in words; empty where none is told.
    confirm : bool
        Whether place or unit is to be confirmed.
    usual, span : str
        Usual value with the unit as exported; range of nearly all readings.
    no_unit : str
        What is said where the export names no unit.
    unit_confirm : bool
        Whether the unit then taken is to be confirmed.
    words : str
        What the exports say of it beside its name.
    why, run, readings : str
        Reason of the guess; how its value runs between readings; how many there are.
    role : str
        "set-point" or "second instrument" of the card it stands in; empty for a card's own tag.
    drawn : bool
        Whether it is drawn in the trace of the card it stands in.
    trace : Markup or None
    note : str
        Said below the trace, or in its place.
    partners : tuple of Card
        Set-points and second instruments.
    """

    name: str
    what: str
    keys: str
    sure: str
    confirm: bool
    usual: str
    span: str
    no_unit: str
    unit_confirm: bool
    words: str
    why: str
    run: str
    readings: str
    role: str = ""
    drawn: bool = False
    trace: Markup | None = None
    note: str = ""
    partners: tuple[Card, ...] = ()

    @property
    def confirms(self) -> int:
        """Tags to be confirmed: this one, and those that go with it."""
        return self.confirm + sum(partner.confirms for partner in self.partners)


def tag_card(guess: Guess, partners: Sequence[Guess], traces: Traces) -> Card:
    """Card of a tag, with those that go with it."""
    same = [p for p in partners if clean(p.tag.unit) in ("", clean(guess.tag.unit))]
    items = [_traced(guess), *(_traced(p) for p in same)]
    what = _what(guess)
    svg, note = traces.draw(items, f"Two weeks of {what}")
    inner = []
    for partner in partners:
        if svg is not None and partner in same:
            inner.append(_card(partner, None, "", drawn=True))
        else:
            own, said = traces.draw([_traced(partner)], f"Two weeks of its {_ROLES[partner.role]}")
            inner.append(_card(partner, own, said))
    return _card(guess, svg, note, tuple(inner))


def lab_card(guess: LabGuess, traces: Traces) -> Card:
    """Card of a laboratory series."""
    tag = guess.tag
    svg, note = traces.draw([Traced(tag)], "Two weeks of results")
    placed = guess.analyte is not None and guess.place is not None
    kind = None if guess.analyte is None else KINDS.get(guess.analyte)
    what, keys = "no analysis or no sampling point was recognised", ""
    if guess.analyte is not None and guess.place is not None:
        taken = f"composite over {guess.period_h:g} h" if guess.period_h > 0.0 else "grab"
        what = f"{analyte_words(guess.analyte, guess.basis)}, {taken}"
        keys = " · ".join(part for part in (guess.analyte, guess.place, guess.port) if part)
    usual, span = _levels(tag)
    no_unit = _no_unit(tag, kind.unit if kind is not None and placed else "")
    return Card(
        name=clean(tag.name),
        what=what,
        keys=keys,
        sure="",
        confirm=placed and bool(no_unit),
        usual=usual,
        span=span,
        no_unit=no_unit,
        unit_confirm=placed,
        words=clean(tag.words, 300),
        why=clean(guess.why, 300).rstrip("."),
        run="",
        readings=_readings(tag, "results"),
        trace=svg,
        note=note,
    )


def _traced(guess: Guess) -> Traced:
    held = guess.interpolation == "step" or guess.role == "set_point"
    return Traced(guess.tag, guess.role, held)


def _what(guess: Guess) -> str:
    point = guess.point
    if point is None:
        of = clean(guess.of, 60)
        return f"{_ROLES[guess.role]} of {of}" if guess.role in _ROLES else ""
    return point_words(point.quantity, point.place, point.port)


def _card(
    guess: Guess, svg: Markup | None, note: str, partners: tuple[Card, ...] = (), *,
    drawn: bool = False,
) -> Card:  # fmt: skip
    tag, point = guess.tag, guess.point
    goes_with = guess.role != "measured"
    placed = point is not None or goes_with
    no_unit = _no_unit(tag, "" if point is None else QUANTITIES[point.quantity][1])
    unit_confirm = bool(no_unit) and point is not None and guess.role != "set_point"
    usual, span = _levels(tag)
    keys = "" if point is None else f"{point.quantity} · {point.place}"
    return Card(
        name=clean(tag.name),
        what=_what(guess) or "no place in the station was found for it",
        keys=keys + (f" · {point.port}" if point is not None and point.port else ""),
        sure=_SURE[guess.sure] if placed else "",
        confirm=unit_confirm or (placed and guess.sure != "likely"),
        usual=usual,
        span=span,
        no_unit=no_unit,
        unit_confirm=unit_confirm,
        words=clean(tag.words, 300),
        why=clean(guess.why, 300).rstrip("."),
        run=_run(guess),
        readings=_readings(tag, "readings"),
        role=_ROLES.get(guess.role, ""),
        drawn=drawn,
        trace=svg,
        note=note,
        partners=partners,
    )


def _run(guess: Guess) -> str:
    if not guess.run and guess.interpolation == "linear":
        return ""
    how = "holds" if guess.interpolation == "step" else "runs straight"
    return f"Between two readings its value {how}" + (
        f": {clean(guess.run).rstrip('.')}" if guess.run else ""
    )


def _no_unit(tag: TagLook, usual: str) -> str:
    """Say that an export names no unit, and which one is taken; a pH needs none."""
    if tag.unit or usual == "pH":
        return ""
    return f"unit taken as {usual}: CONFIRM" if usual else "no unit in the export"


def _levels(tag: TagLook) -> tuple[str, str]:
    """Usual value with its unit, and the range of nearly all readings."""
    spread = tag.high - tag.low
    unit = clean(tag.unit, 30)
    size = spread if spread > 0.0 else abs(tag.middle) / 10.0
    if not all(map(math.isfinite, (tag.low, tag.middle, tag.high))):
        return "no number", ""
    tiny = 0.0 < size < 1e-5 or max(abs(tag.low), abs(tag.high)) >= 1e12
    decimals = 0 if size == 0.0 else max(0, min(6, 1 - math.floor(math.log10(size))))
    low, middle, high = (
        f"{value:.3g}" if tiny else plain(value, decimals)
        for value in (tag.low, tag.middle, tag.high)
    )
    return f"{middle} {unit}".rstrip(), "never moves" if spread == 0.0 else f"{low} to {high}"


def _readings(tag: TagLook, noun: str) -> str:
    bad = f", {count(tag.bad)} bad" if tag.bad else ""
    gap = tag.every_s
    if not 0.0 < gap < 1e8:
        return f"{count(tag.readings)} {noun}{bad}"
    every = f"{gap:.3g} s" if gap < 120.0 else duration_words(timedelta(seconds=gap))
    return f"{count(tag.readings)} {noun}{bad}, one every {every.replace(' ', _FIRM)}"
