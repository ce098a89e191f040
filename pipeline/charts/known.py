"""What was known of some hours, marked alike in every chart: a bar at the top, edges, a letter.

The bar leaves what is drawn below it to be seen, and its form is told without colour. The letter
leads to a line under the chart; in drawings that can be pointed at, the words stand on the bar too.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree as ET

from pipeline.charts.shapes import BLUE, Mark

if TYPE_CHECKING:
    import altair as alt

    from pipeline.charts.datasets import Datasets

#: Height of the bar, and dash of its edges [px].
BAR_PX: Final = 4
EDGE: Final = (1, 3)
#: Something short is drawn so wide at least [px].
LEAST_PX: Final = 3.0
DAY_MS: Final = 86_400_000
#: Most that a line under a chart tells; the rest is counted.
_MOST_TOLD: Final = 30


@dataclass(frozen=True, slots=True)
class Known:
    """Something noted of some hours.

    Attributes
    ----------
    started, ended : datetime
        UTC, end excluded.
    words : str
        When, what and by whom; made printable, but still text from outside.
    """

    started: datetime
    ended: datetime
    words: str


def in_hours(known: Sequence[Known], start: datetime, end: datetime) -> tuple[Known, ...]:
    """What touches some hours, in order of time."""
    found = [item for item in known if item.started < end and item.ended > start]
    return tuple(sorted(found, key=lambda item: (item.started, item.ended, item.words)))


def plant_clock(zone: tzinfo) -> Callable[[datetime], int]:
    """Milliseconds of the plant's clock at a moment, as charts by day have them."""
    return lambda moment: round(moment.astimezone(zone).replace(tzinfo=UTC).timestamp() * 1000.0)


def in_days(known: Sequence[Known], days: tuple[int, int], zone: tzinfo) -> tuple[Known, ...]:
    """What touches some days, which are given in milliseconds of the plant's clock."""
    start, end = (datetime.fromtimestamp(edge / 1000.0, UTC).replace(tzinfo=zone) for edge in days)
    return in_hours(known, start, end)


def letter_of(number: int) -> str:
    """A to Z, then AA and so on."""
    first = "" if number < 26 else letter_of(number // 26 - 1)
    return first + chr(ord("A") + number % 26)


def marks_of(known: Sequence[Known], clock: Callable[[datetime], int]) -> tuple[Mark, ...]:
    """Marks of what touches the hours drawn, lettered in their order.

    Parameters
    ----------
    known : sequence of Known
        Of the hours drawn.
    clock : callable
        Milliseconds of the plant's clock at a moment.
    """
    return tuple(
        Mark(clock(item.started), clock(item.ended), letter_of(n), item.words)
        for n, item in enumerate(known)
    )


def told(known: Sequence[Known]) -> str:
    """The line under a chart that says what its letters mean; empty where there are none."""
    if not known:
        return ""
    lines = [f"{letter_of(n)} {item.words}" for n, item in enumerate(known[:_MOST_TOLD])]
    more = len(known) - len(lines)
    rest = f"; and {more} more, all listed by lostpol note" if more else ""
    return f"Noted beforehand: {'; '.join(lines)}{rest}."


def layers(
    marks: Sequence[Mark], scale: alt.Scale, data: Datasets, *, lettered: bool = True
) -> list[alt.Chart]:
    """Layers of a chart on a time axis of the plant's clock."""
    if not marks:
        return []
    import altair as alt  # noqa: PLC0415 (pages that draw their own lines need none)

    x = alt.X("t:T", scale=scale)
    rows = [{"t": m.start, "u": m.end, "w": m.letter} for m in marks]
    ends = [{"t": t} for m in marks for t in (m.start, m.end)]
    drawn = [
        data.add(rows)
        .mark_rect(color=BLUE, clip=True, stroke=BLUE, strokeWidth=1.5)
        .encode(x=x, x2="u:T", y=alt.value(0), y2=alt.value(BAR_PX)),
        data.add(ends)
        .mark_rule(color=BLUE, strokeDash=list(EDGE), strokeWidth=1, clip=True)
        .encode(x=x),
    ]
    if lettered:
        # At its beginning where that is in sight: nothing is drawn to the left of the axis.
        first = scale.to_dict()["domain"][0]
        words = [{"t": max(m.start, first), "w": m.letter} for m in marks]
        drawn.append(
            data.add(words)
            .mark_text(
                color=BLUE, fontWeight="bold", fontSize=10, baseline="top", align="left", dx=2
            )
            .encode(x=x, y=alt.value(BAR_PX + 2), text="w:N")
        )
    return drawn


def draw_into(
    root: ET.Element, cut: tuple[float, float], top: float, height: float, said: tuple[str, str]
) -> None:
    """Mark a stretch in a drawing made element by element.

    Parameters
    ----------
    root : Element
    cut : tuple of float
        Left and right edge [px].
    top, height : float
        Of the plot [px].
    said : tuple of str
        Letter and words; without a letter none is written.
    """
    letter, words = said
    left, right = cut
    wide = max(right - left, LEAST_PX)
    group = ET.SubElement(root, "g", {"class": "known"})
    ET.SubElement(group, "title").text = words
    bar: dict[str, Any] = {"x": left, "y": top, "width": wide, "height": float(BAR_PX)}
    ET.SubElement(group, "rect", {"fill": BLUE} | _written(bar))
    for x in (left, left + wide):
        edge = _written({"x1": x, "x2": x, "y1": top, "y2": top + height})
        ET.SubElement(group, "line", edge | {"stroke": BLUE, "stroke-dasharray": "1 3"})
    if letter:
        at = _written({"x": left + 3.0, "y": top + BAR_PX + 9.0})
        style = {"font-weight": "600", "font-size": "10", "fill": BLUE}
        ET.SubElement(group, "text", at | style).text = letter


def _written(marks: dict[str, Any]) -> dict[str, str]:
    return {name: f"{value:.1f}" for name, value in marks.items()}
