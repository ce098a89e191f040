"""Two weeks of a tag as a small trace, with the tags that go with it on the same axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from markupsafe import Markup

from pipeline.charts import BLUE, DASH, INK, SOLID, VERMILION, Dots, Panel, Series, envelope, trace
from pipeline.charts import Point as Drawn
from pipeline.places import TagLook
from pipeline.words import chart_offset, day_words

_DAYS: Final = 14
_POINTS: Final = 240
_MINUTE_MS: Final = 60_000
#: Traces drawn on one page at most: each takes about a tenth of a second and 7 kB.
MOST_TRACES: Final = 150
#: A tag that comes more seldom is drawn as dots [s].
_SELDOM_S: Final = 5400.0
#: Colour, dash and width of a tag, its set-point, and its second instrument.
_STYLES: Final = {
    "measured": (INK, SOLID, 1.0),
    "set_point": (VERMILION, DASH, 1.6),
    "second": (BLUE, SOLID, 2.0),
}
#: Colours of dots of laboratory results and other rare readings.
_DOTS: Final = {"measured": "circle", "set_point": "square", "second": "diamond"}


@dataclass(frozen=True, slots=True)
class Traced:
    """A tag to be drawn, and as what."""

    tag: TagLook
    role: str = "measured"
    held: bool = False


class Traces:
    """Draws the traces of one page, up to `MOST_TRACES`, over the same two weeks.

    Parameters
    ----------
    tags : sequence of TagLook
        All tags of the page: the last reading of any ends the two weeks.
    zone : str
        IANA zone of the plant, in whose clock they are drawn.
    most : int
        Traces drawn at most.
    """

    def __init__(self, tags: Sequence[TagLook], zone: str, most: int = MOST_TRACES) -> None:
        self._zone = ZoneInfo(zone)
        self._most = most
        self._drawn = 0
        minutes = [tag.minute for tag in tags if len(tag.minute)]
        end = max((int(m[-1]) for m in minutes), default=0) + 1
        start = min((int(m[0]) for m in minutes), default=end - 1)
        self.window = (max(start, end - _DAYS * 1440), end)

    @property
    def words(self) -> str:
        """The days that the traces show."""
        first, last = (datetime.fromtimestamp(60 * m, UTC) for m in self.window)
        days = (day_words(m.astimezone(self._zone)) for m in (first, last))
        return " to ".join(days)

    def draw(self, items: Sequence[Traced], label: str) -> tuple[Markup | None, str]:
        """Draw tags of one unit on one axis; the first decides over which days.

        Returns
        -------
        svg : Markup or None
        note : str
            Why there is none, or that it shows other days than the rest of the page.
        """
        shown = [item for item in items if len(item.tag.minute)]
        if not shown:
            return None, "No good reading to draw."
        if self._drawn >= self._most:
            return None, f"Not drawn: a page holds {self._most} traces."
        window, note = self._window_of(shown[0].tag)
        first = datetime.fromtimestamp(60 * window[0], UTC)
        shift_min = round(chart_offset(first, self._zone).total_seconds() / 60.0)
        span_ms = tuple((m + shift_min) * _MINUTE_MS for m in window)
        panel = _panel(shown, (span_ms[0], span_ms[1]), shift_min)
        if panel.empty:
            return None, "No good reading in these two weeks."
        self._drawn += 1
        return trace(panel, (span_ms[0], span_ms[1]), f"trace-{self._drawn}", label), note

    def _window_of(self, tag: TagLook) -> tuple[tuple[int, int], str]:
        start, end = self.window
        if int(tag.minute[-1]) >= start:
            return self.window, ""
        end = int(tag.minute[-1]) + 1
        start = max(int(tag.minute[0]), end - _DAYS * 1440)
        last = datetime.fromtimestamp(60 * end, UTC).astimezone(self._zone)
        return (min(start, end - 60), end), f"Its readings end on {day_words(last)}; other days."


def _panel(items: Sequence[Traced], span_ms: tuple[int, int], shift_min: int) -> Panel:
    lines, dots = [], []
    order = ("second", "measured", "set_point")  # from the lowest to the topmost line
    for number, item in sorted(enumerate(items), key=lambda pair: order.index(pair[1].role)):
        # Names from exports stay out of the drawing.
        name = f"{item.role} {number}"
        colour, dash, width = _STYLES[item.role]
        tag = item.tag
        points = _clocked(tag, span_ms, shift_min)
        if tag.every_s >= _SELDOM_S and not item.held and len(points) <= _POINTS:
            dots.append(Dots(name, points, colour, _DOTS[item.role]))
            continue
        usual = (tag.low, tag.high) if tag.high > tag.low else None
        line = _line(item, points, span_ms, shift_min)
        lines.append(Series(name, line, colour, dash, width, usual))
    tag = items[0].tag
    levels = (tag.low, tag.high) if tag.high > tag.low else ()
    return Panel("", lines, dots, levels)


def _clocked(tag: TagLook, span_ms: tuple[int, int], shift_min: int) -> list[Drawn]:
    """Minute means within the span, in milliseconds of the plant's clock."""
    ms = (tag.minute + shift_min) * _MINUTE_MS
    inside = (ms >= span_ms[0]) & (ms < span_ms[1]) & np.isfinite(tag.value)
    return list(zip(ms[inside].tolist(), tag.value[inside].tolist(), strict=True))


def _line(
    item: Traced, points: list[Drawn], span_ms: tuple[int, int], shift_min: int
) -> list[Drawn]:
    if item.held and len(points) <= _POINTS:
        return _stairs(item.tag, points, span_ms, shift_min)
    times = pl.Series([t for t, _ in points], dtype=pl.Int64).cast(pl.Datetime("ms", "UTC"))
    frame = pl.DataFrame({"ts_utc": times, "value": [v for _, v in points]})
    return envelope(frame, "value", span_ms, _POINTS)


def _stairs(
    tag: TagLook, points: list[Drawn], span_ms: tuple[int, int], shift_min: int
) -> list[Drawn]:
    """A value that holds until the next, from the one that held when the span began."""
    before = np.flatnonzero((tag.minute + shift_min) * _MINUTE_MS < span_ms[0])
    held: float | None = float(tag.value[before[-1]]) if len(before) else None
    stairs: list[Drawn] = [] if held is None else [(span_ms[0], held)]
    for moment, value in points:
        stairs += [(moment, held)] if held is not None else []
        stairs.append((moment, value))
        held = value
    return [*stairs, (span_ms[1], held)] if held is not None else stairs
