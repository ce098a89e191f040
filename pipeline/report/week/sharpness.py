"""What the physics buys, in the weekly review: how much calmer what the search looks at is."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from pipeline.report.view import WeekView, vessel_kinds
from pipeline.words import (
    CHANNELS,
    MISSING,
    channel_words,
    clean,
    figure,
    joined,
    known,
    plain,
    said,
    section_words,
)

#: Variances of this ratio are told apart over some weeks; nearer to 1 they are called alike.
_APART: Final = 1.25
#: Beyond this the ratio says no more than that the raw signal tells nothing of the feature.
_MOST: Final = 100.0
_SHIFT: Final = "smallest_8h"
#: Features that set one signal against another, as the search calls them.
_PAIRED: Final[Mapping[str, str]] = {
    "pH drop across the settler": said("pH drop across the settler"),
    "lime per juice": said("lime per juice"),
    "flocculant per juice": said("flocculant per juice"),
}


@dataclass(frozen=True, slots=True)
class SharpnessRow:
    """One derived feature beside its raw signal."""

    name: str
    where: str
    raw: str
    left: str
    smallest: str
    text: str


def sharpness_rows(view: WeekView) -> list[SharpnessRow] | None:
    """Features in the order of the search; None when none were kept."""
    frame = view.sharpness
    if frame is None or frame.is_empty():
        return None
    kinds = vessel_kinds(view.report)
    return [_row(row, kinds) for row in frame.to_dicts()]


def sharpness_lead(view: WeekView) -> str:
    """How much the physics buys and what is hardest to see, in two sentences."""
    rows = [] if view.sharpness is None else view.sharpness.to_dicts()
    calmer = sum((known(row["ratio"]) or 0.0) >= _APART for row in rows)
    text = said(
        "{calmer} of {count} things watched are calmer than their raw signal, so a change in them "
        "shows sooner.",
        calmer=calmer,
        count=len(rows),
    )
    losses = [row for row in rows if row["feature"] in CHANNELS and known(row[_SHIFT]) is not None]
    if not losses:
        return text
    kinds = vessel_kinds(view.report)
    hardest = _row(max(losses, key=lambda row: float(row[_SHIFT])), kinds)
    return joined(
        " ",
        [
            text,
            said(
                "Hardest to see: {name}, {where}; in 8 h it shows from {smallest}.",
                name=hardest.name,
                where=hardest.where,
                smallest=hardest.smallest,
            ),
        ],
    )


def _row(row: Mapping[str, Any], kinds: Mapping[str, str]) -> SharpnessRow:
    name = str(row["feature"])
    text = (
        said("loss by {channel_words}", channel_words=channel_words(name))
        if name in CHANNELS
        else _PAIRED.get(name, clean(name, 60))
    )
    return SharpnessRow(
        text,
        section_words(str(row["section"]), kinds),
        _swing(row["lrv_raw"], row["unit"], squared=True),
        _swing(row["lrv_residual"], row["unit"], squared=True),
        _swing(row[_SHIFT], row["unit"]),
        _verdict(known(row["ratio"])),
    )


def _swing(value: object, unit: object, *, squared: bool = False) -> str:
    """A spread with its unit; of a logarithm as the percentage it amounts to."""
    held = known(value)
    if held is None or held < 0:
        return MISSING
    size = math.sqrt(held) if squared else held
    if unit == "log":
        return said("{two_digits} %", two_digits=_two_digits(100 * size))
    return said("{two_digits} {unit}", two_digits=_two_digits(size), unit=clean(unit, 12)).rstrip()


def _two_digits(size: float) -> str:
    return plain(size, 1 - math.floor(math.log10(size))) if size > 0 else "0"


def _verdict(ratio: float | None) -> str:
    if ratio is None:
        return said("not computed: too few quiet hours")
    if ratio > _MOST:
        return said("calmer: over {most} times less variance", most=figure(_MOST, ".0f"))
    if ratio >= _APART:
        return said("calmer: {two_digits} times less variance", two_digits=_two_digits(ratio))
    if ratio > 1 / _APART:
        return said("no calmer than the raw signal")
    return said("less calm: {two_digits} times the variance", two_digits=_two_digits(1 / ratio))
