"""What a stack of panels is made of: sizes, lines, dots, panels and their ranges.

Series differ in dash and weight as well as in colour, so a black-and-white print and a
colour-blind reader see the same. Colours are from the palette of Okabe and Ito (Color
Universal Design, 2008; memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pipeline.charts.decimate import Point, Window

if TYPE_CHECKING:
    from altair import Scale

INK = "#1c1c1c"
BLUE = "#0072b2"
VERMILION = "#d55e00"
GREY = "#767676"
SHADE = "#ece7da"
SOLID = (1, 0)
LONG_DASH = (8, 3)
DOTS = (2, 3)
DASH = (5, 3)


@dataclass(frozen=True, slots=True)
class Size:
    """Size of a drawing [px], the points it can carry and how many panels stand side by side."""

    name: str
    width: int
    height: int
    font: int
    points: int
    legend_columns: int
    x_ticks: int
    legends: str
    across: int = 1


WIDE = Size("wide", 845, 128, 12, 720, 4, 9, "horizontal")
NARROW = Size("narrow", 272, 112, 11, 300, 2, 4, "vertical")
#: Two panels abreast: a stack of four, shrunk to a third of a sheet, has letters nobody can read.
PAPER = Size("paper", 290, 72, 10, 360, 3, 4, "vertical", across=2)
TRACE = Size("trace", 252, 62, 11, 240, 1, 3, "vertical")


@dataclass(frozen=True, slots=True)
class Series:
    """One line of a panel; `usual` is the range of nearly all its readings, if known."""

    name: str
    points: Sequence[Point]
    color: str = INK
    dash: tuple[int, int] = SOLID
    width: float = 1.6
    usual: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Dots:
    """Single values of a panel, such as laboratory grabs."""

    name: str
    points: Sequence[Point]
    color: str = INK
    shape: str = "circle"


@dataclass(frozen=True, slots=True)
class Panel:
    """One panel of a stack.

    Attributes
    ----------
    title : str
        Heading, with the unit in brackets.
    series, dots : sequence
        Lines and single values.
    levels : sequence of float
        Targets, drawn as thin level lines.
    from_zero : bool
        Whether the axis starts at zero.
    least_span : float
        Smallest range of the axis, so that ordinary scatter looks like scatter.
    between : tuple of str, optional
        Two series names: filled where the first lies above the second.
    dots_told : bool
        Whether a legend names the dots; where the heading does, there is none.
    told : bool
        Whether a legend names the lines; where the text beside it does, there is none.
    """

    title: str
    series: Sequence[Series]
    dots: Sequence[Dots] = ()
    levels: Sequence[float] = ()
    from_zero: bool = False
    least_span: float = 0.0
    between: tuple[str, str] | None = None
    dots_told: bool = True
    told: bool = True

    @property
    def empty(self) -> bool:
        """Tell whether there is nothing at all to draw."""
        lines: list[Sequence[Point]] = [item.points for item in self.series]
        lines += [item.points for item in self.dots]
        return not any(value is not None for points in lines for _, value in points)


_HOUR_MS: Final = 3_600_000
_DAY: Final = 24
#: Hours between two labels of a time axis.
_STEPS: Final = (1, 2, 3, 6, 12, _DAY, 2 * _DAY, 4 * _DAY, 7 * _DAY, 14 * _DAY, 28 * _DAY)


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark on a time axis: milliseconds of the plant's clock, its letter and its words."""

    start: int
    end: int
    letter: str
    words: str


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """Window, shaded period and marks of what was known, in milliseconds of the plant's clock.

    The scale is declared as UTC and the instants are already shifted, so the drawing is the
    same whatever the time zone of the machine that makes it.
    """

    window: Window
    shaded: Window
    known: tuple[Mark, ...] = ()

    def scale(self) -> Scale:
        """Scale of the shared axis."""
        # Pages that draw their own lines take sizes and colours from here, and need no Altair.
        from altair import Scale  # noqa: PLC0415

        return Scale(type="utc", domain=list(self.window), nice=False)

    def ticks(self, size: Size) -> list[int]:
        """Whole hours to be labelled: as near together as their words have room, none cut.

        A day has the longest words in any language. Left to the drawing library, of labels that
        touch only the last one may stay.
        """
        low, high = self.window
        if high <= low:
            return []
        a_px = (high - low) / size.width
        letter = 0.56 * size.font * a_px
        day, hour, apart = 12 * letter, 5 * letter, 10 * a_px
        for hours in _STEPS:
            step = hours * _HOUR_MS
            if step >= apart + (day if hours >= _DAY else (day + hour) / 2):
                break
        starts = range(0, step, _DAY * _HOUR_MS) if hours > _DAY else (0,)
        rows = [_between(low + day / 2, high - day / 2, step, start) for start in starts]
        return max(rows, key=len)


def _between(low: float, high: float, step: int, start: int) -> list[int]:
    first = math.ceil((low - start) / step) * step + start
    return list(range(first, math.floor(high) + 1, step))


#: A level as good as zero: no marks can be set on an axis around it.
_NOTHING: Final = 1e-100


def value_range(panel: Panel) -> tuple[float, float]:
    """Range of a panel's axis: lines, targets and dots, but not what lies far outside."""
    edges: list[float] = []
    for item in panel.series:
        shown = [v for _, v in item.points if v is not None]
        edges += item.usual or ((min(shown), max(shown)) if shown else ())
    dots = [v for item in panel.dots for _, v in item.points if v is not None]
    low, high = min(edges or dots), max(edges or dots)
    reach = 3 * max(high - low, panel.least_span, 1.0)
    near = [v for v in [*dots, *panel.levels] if low - reach <= v <= high + reach]
    low, high = min([low, *near]), max([high, *near])
    if panel.from_zero:
        low = min(0.0, low)
    lack = max(0.0, panel.least_span - (high - low)) / 2
    low, high = (low, high + 2 * lack) if panel.from_zero else (low - lack, high + lack)
    pad = 0.08 * (high - low) or 0.05 * abs(high)
    pad = pad if pad > _NOTHING else 0.5
    return (low if panel.from_zero and low == 0.0 else low - pad), high + pad
