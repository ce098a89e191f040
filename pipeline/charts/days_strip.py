"""Thirty days in one strip: what each day lost, its interval, and the findings below.

Drawn by hand as small SVG: the sheet of a night is read at five in the morning and made in seconds.
A bar below the line at zero is a day better than at the targets, and open.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from markupsafe import Markup, escape

from pipeline.tongue import ENGLISH, Tongue
from pipeline.words import figure

_TOP, _TALL, _LANE, _FOOT = 6.0, 84.0, 15.0, 17.0
_INK, _SOFT, _PALE = "#1c1c1c", "#4a4a4a", "#b9b4a7"
#: Width of a letter in the mean, as a share of its size.
_LETTER: Final = 0.57
#: With less room at the left [px] names stand above their lanes.
_ABOVE: Final = 100.0
#: Room for names is at least this share of the usual, at most this share of the drawing.
_LEAST_ROOM: Final = 0.6
_MOST_ROOM: Final = 0.42
#: Room above the tallest bar, as a share of it.
_ROOM: Final = 1.25
_TICKS: Final = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class DayBar:
    """A day: place from the left [days], loss with its 90 % interval [t]; None where not known."""

    at: int
    value: float | None
    low: float
    high: float
    told: bool = False


@dataclass(frozen=True, slots=True)
class Lane:
    """Findings of one cause: its name, and from when to when each lasted [days from the left]."""

    name: str
    spans: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class StripSize:
    """Width of the drawing and of the names left of it, and size of its letters [px].

    Without room at the left, names stand above their lanes.
    """

    name: str
    width: float
    gutter: float
    font: float
    every: int


WIDE_STRIP: Final = StripSize("wide", 860.0, 250.0, 11.5, 5)
NARROW_STRIP: Final = StripSize("narrow", 350.0, 34.0, 11.0, 10)


def strip(
    days: Sequence[DayBar],
    labels: Sequence[str],
    lanes: Sequence[Lane],
    label: str,
    size: StripSize,
    tongue: Tongue = ENGLISH,
) -> Markup:
    """Draw the strip.

    Parameters
    ----------
    days : sequence of DayBar
    labels : sequence of str
        Name of each place from the left.
    lanes : sequence of Lane
    label : str
        What it shows, for readers who hear the page.
    size : StripSize
    tongue : Tongue
        What its words are said in.
    """
    size = _with_room(lanes, size, tongue)
    scale = _Scale(days, len(labels), size, tongue)
    above = 0.0 if size.gutter > _ABOVE else size.font + 2.0
    parts = [*_axis(scale, labels, size), *(_bar(day, scale) for day in days)]
    top = _TOP + _TALL + _FOOT
    for lane in lanes:
        parts += _lane(lane, top, above, scale, size)
        top += _LANE + above
    return Markup(
        f'<svg class="strip" viewBox="0 0 {size.width:.0f} {top + 2:.0f}" role="img" '
        f'aria-label="{escape(tongue(label))}" font-size="{size.font:g}" fill="{_INK}">'
        f"{''.join(parts)}</svg>"
    )


def _with_room(lanes: Sequence[Lane], size: StripSize, tongue: Tongue) -> StripSize:
    """As much room left of the lanes as their names take: some tongues need more than others."""
    if size.gutter <= _ABOVE:
        return size
    longest = max((len(tongue(lane.name)) for lane in lanes), default=0)
    room = (longest + 1) * _LETTER * size.font
    return replace(size, gutter=min(max(room, _LEAST_ROOM * size.gutter), _MOST_ROOM * size.width))


class _Scale:
    """From days and tonnes to the drawing."""

    def __init__(
        self, days: Sequence[DayBar], places: int, size: StripSize, tongue: Tongue
    ) -> None:
        self.tongue = tongue
        known = [day.value for day in days if day.value is not None]
        # By what was lost, not by how far an interval reaches: one doubtful day flattens all.
        self.high = _ROOM * max([0.05, *known])
        self.low = min([0.0, *(_ROOM * value for value in known)])
        self.left, self.each = size.gutter, (size.width - size.gutter) / max(places, 1)

    def x(self, day: float) -> float:
        """Days from the left to the drawing."""
        return self.left + day * self.each

    def y(self, tonnes: float) -> float:
        """Tonnes to the drawing."""
        within = min(max(tonnes, self.low), self.high)
        return _TOP + _TALL * (self.high - within) / (self.high - self.low)

    def text(self, x: float, y: float, words: str, anchor: str) -> str:
        """Something written."""
        told = escape(self.tongue(words))
        return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{told}</text>'


def _axis(scale: _Scale, labels: Sequence[str], size: StripSize) -> list[str]:
    step = _step(scale.high - scale.low)
    first, last = math.ceil(scale.low / step), math.floor(scale.high / step)
    parts = []
    for n in range(first, last + 1):
        y, ink = scale.y(n * step), _INK if n == 0 else _PALE
        parts.append(
            f'<line x1="{scale.left:.1f}" x2="{size.width:.1f}" y1="{y:.1f}" y2="{y:.1f}" '
            f'stroke="{ink}" stroke-width="{1 if n == 0 else 0.5}"/>'
            + scale.text(scale.left - 4, y + size.font / 3, figure(abs(n * step), "g"), "end")
        )
    y = _TOP + _TALL + size.font + 1
    places = range(0, len(labels), size.every)
    return [*parts, *(scale.text(scale.x(at), y, labels[at], "start") for at in places)]


def _step(span: float) -> float:
    """Distance of the marks of an axis that gets two to four of them."""
    decade = 10.0 ** math.floor(math.log10(span / 2.0))
    return next(n * decade for n in _TICKS if n * decade >= span / 4.0)


def _bar(day: DayBar, scale: _Scale) -> str:
    if day.value is None:
        return ""
    x, wide = scale.x(day.at + 0.15), 0.7 * scale.each
    top, foot = scale.y(max(day.value, 0.0)), scale.y(min(day.value, 0.0))
    fill = "#fff" if day.value < 0 else _INK if day.told else _PALE
    middle = x + wide / 2
    return (
        f'<rect x="{x:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{max(foot - top, 0.5):.1f}" '
        f'fill="{fill}" stroke="{_INK}" stroke-width="{1.2 if day.told else 0.5}"/>'
        f'<line x1="{middle:.1f}" x2="{middle:.1f}" y1="{scale.y(day.low):.1f}" '
        f'y2="{scale.y(day.high):.1f}" stroke="{_SOFT if not day.told else "#767676"}"/>'
    )


def _short(name: str, scale: _Scale, size: StripSize) -> str:
    """A name cut between words to the room left of its lane, where it takes more than there is."""
    most = int(size.gutter / (_LETTER * size.font))
    told = str(scale.tongue(name))
    return told if len(told) <= most else textwrap.shorten(told, most, placeholder=" …")


def _lane(lane: Lane, top: float, above: float, scale: _Scale, size: StripSize) -> list[str]:
    y = top + above + _LANE / 2
    name = (
        scale.text(scale.left, top + size.font - 1, lane.name, "start")
        if above
        else scale.text(scale.left - 6, y + size.font / 3, _short(lane.name, scale, size), "end")
    )
    ends = f'x1="{scale.left:.1f}" x2="{size.width:.1f}" y1="{y:.1f}" y2="{y:.1f}"'
    parts = [name, f'<line {ends} stroke="{_PALE}" stroke-width="0.5"/>']
    for start, end in lane.spans:
        wide = max(scale.x(end) - scale.x(start), 2.0)
        parts.append(
            f'<rect x="{scale.x(start):.1f}" y="{y - 4:.1f}" width="{wide:.1f}" height="8" '
            f'fill="{_INK}"/>'
        )
    return parts
