"""The same trends as a still picture: what a reader without scripts sees, and a mail can carry."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

import numpy as np

from models.account import on_parcel_time
from models.base import Array, block_means
from pipeline.charts import INK, SHADE, draw_into, letter_of
from pipeline.dossier.gather import Material
from pipeline.dossier.lanes import Grab, Lane, Line, by_the_clock
from pipeline.tongue import InTongue, written_in
from pipeline.words import clock_words, day_words, figure, said

_WIDTH: Final = 900
_LEFT: Final = 58
_RIGHT: Final = 10
_LANE: Final = 84
_HEAD: Final = 18
_PLOT: Final = 54
_POINTS: Final = 840
_GREY: Final = "#767676"
#: Dash and width of each kind of line; told apart without colour.
STYLES: Final = {
    "strong": ("", "1.6"),
    "read": ("", "1.1"),
    "corrected": ("", "3.4"),
    "reference": ("2 3", "1.3"),
    "under": ("7 3", "1.6"),
}
_LONGEST_HEAD: Final = 96


def still(material: Material, lanes: Sequence[Lane]) -> InTongue:
    """Draw the lanes shown at first as one SVG, on the time axis the chart begins with."""
    shown = [lane for lane in lanes if lane.shown]
    if by_the_clock(material):
        shown = [replace(lane, delay_min=np.zeros_like(lane.delay_min)) for lane in shown]
    height = _LANE * len(shown) + 26
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {_WIDTH} {height}",
            "role": "img",
            "aria-label": said("Trends around these hours, one lane a signal"),
            "font-size": "11",
            "fill": INK,
        },
    )
    first, last = (material.index_of(moment) for moment in material.drawn)
    for number, lane in enumerate(shown):
        _draw_lane(root, material, lane, _LANE * number, (first, last))
    _time_axis(root, material, _LANE * len(shown) + 12)
    return InTongue(lambda tongue: written_in(root, tongue))


def _at(part: float) -> str:
    return f"{_LEFT + part * (_WIDTH - _LEFT - _RIGHT):.1f}"


def _draw_lane(
    root: ET.Element, material: Material, lane: Lane, top: int, rows: tuple[int, int]
) -> None:
    first, last = rows
    lines = [(line, _drawn_values(line.values, _delay_of(line, lane), rows)) for line in lane.lines]
    grabs = _moved(lane, rows)
    low, high = value_range([v for _, v in lines], grabs, lane.target)

    def y(value: float) -> float:
        return top + _HEAD + _PLOT * (high - min(max(value, low), high)) / (high - low)

    head = said("{name} [{unit}]", name=lane.name, unit=lane.unit)
    _text(root, _LEFT, top + 12, head[:_LONGEST_HEAD], weight="600")
    begin, end = (material.index_of(material.finding[name]) for name in ("started", "ended"))
    left, right = ((min(max(r, first), last) - first) / (last - first) for r in (begin, end))
    shade = {"x": _at(left), "y": str(top + _HEAD), "height": str(_PLOT), "fill": SHADE}
    width = (right - left) * (_WIDTH - _LEFT - _RIGHT)
    ET.SubElement(root, "rect", shade | {"width": f"{width:.1f}"})
    frame = {"x": str(_LEFT), "y": str(top + _HEAD), "height": str(_PLOT), "fill": "none"}
    frame |= {"width": str(_WIDTH - _LEFT - _RIGHT), "stroke": "#b9b4a7"}
    ET.SubElement(root, "rect", frame)
    _noted(root, material, top, lettered=top == 0)
    for value, words in levels(low, high):
        height = {"y1": f"{y(value):.1f}", "y2": f"{y(value):.1f}", "stroke": "#dedede"}
        ET.SubElement(root, "line", height | {"x1": str(_LEFT), "x2": str(_WIDTH - _RIGHT)})
        _text(
            root,
            _LEFT - 4,
            min(max(y(value) + 4, top + _HEAD + 8), top + _HEAD + _PLOT),
            words,
            anchor="end",
        )
    if lane.target is not None and low <= lane.target <= high:
        level = {"x1": str(_LEFT), "x2": str(_WIDTH - _RIGHT), "stroke": _GREY}
        level |= {"y1": f"{y(lane.target):.1f}", "y2": f"{y(lane.target):.1f}"}
        ET.SubElement(root, "line", level | {"stroke-dasharray": "1 4"})
    for line, values in lines:
        dash, stroke = STYLES[line.style]
        path = _path([y(v) if np.isfinite(v) else None for v in values])
        if path:
            drawn = {"d": path, "fill": "none", "stroke": INK, "stroke-width": stroke}
            drawn |= {"stroke-dasharray": dash} if dash else {}
            drawn |= {"stroke-opacity": "0.4"} if line.style in ("corrected", "under") else {}
            ET.SubElement(root, "path", drawn)
    for part, grab in grabs:
        _error_bar(
            root, _at(part), (y(grab.value), y(grab.value - grab.half), y(grab.value + grab.half))
        )


def _noted(root: ET.Element, material: Material, top: int, *, lettered: bool) -> None:
    """Mark what was noted beforehand, by the clock; the first lane carries the letters."""
    start, end = material.drawn
    for number, item in enumerate(material.noted):
        parts = (
            (max(min(m, end), start) - start) / (end - start) for m in (item.started, item.ended)
        )
        left, right = (float(_at(part)) for part in parts)
        said = (letter_of(number) if lettered else "", item.words)
        draw_into(root, (left, right), top + _HEAD, _PLOT, said)


def _delay_of(line: Line, lane: Lane) -> Array:
    """Travel time of a line: its own, but nothing is moved on a lane that is not."""
    own = line.delay_min if lane.delay_min.any() else None
    return lane.delay_min if own is None else own


def _drawn_values(values: Array, delay_min: Array, rows: tuple[int, int]) -> Array:
    moved = on_parcel_time(values, delay_min) if delay_min.any() else values
    part = moved[slice(*rows)]
    return block_means(part, max(1, len(part) // _POINTS))


def _moved(lane: Lane, rows: tuple[int, int]) -> list[tuple[float, Grab]]:
    """Laboratory results with their place along the axis, 0 to 1."""
    first, last = rows
    found = []
    for grab in lane.grabs:
        if not 0 <= grab.row < len(lane.delay_min):
            continue
        part = (grab.row - lane.delay_min[grab.row] - first) / (last - first)
        if 0.0 <= part <= 1.0:
            found.append((part, grab))
    return found


def value_range(
    lines: Sequence[Array], grabs: Sequence[tuple[float, Grab]], target: float | None
) -> tuple[float, float]:
    """Range of a lane: nearly all readings, the results, and the target where it is near."""
    known = np.concatenate([v[np.isfinite(v)] for v in lines]) if lines else np.empty(0)
    edges = [float(e) for e in np.quantile(known, [0.002, 0.998])] if len(known) else []
    edges += [g.value + side * g.half for _, g in grabs for side in (-1.0, 1.0)]
    if not edges:
        return 0.0, 1.0
    low, high = min(edges), max(edges)
    reach = max(high - low, 1e-6)
    if target is not None and low - reach <= target <= high + reach:
        low, high = min(low, target), max(high, target)
    pad = 0.06 * (high - low) or 0.05 * abs(high) or 0.5
    return (max(low - pad, 0.0) if low >= 0.0 else low - pad), high + pad


def levels(low: float, high: float) -> list[tuple[float, str]]:
    """Two to four round values inside a range, with the decimals they need.

    From one alone nobody can read how far a line fell, so the step is made smaller until it is not.
    """
    rough = (high - low) / 3.0
    decade = 10.0 ** math.floor(math.log10(rough))
    wanted = next((part for part in (1.0, 2.0, 5.0) if part * decade >= rough), 10.0)
    for part in (10.0, 5.0, 2.0, 1.0, 0.5):
        unit = part * decade
        whole = range(math.ceil(low / unit), math.floor(high / unit) + 1)
        if part <= wanted and len(whole) > 1:
            break
    decimals = max(0, -math.floor(math.log10(unit) + 1e-9))
    return [(n * unit, figure(n * unit, f".{decimals}f")) for n in whole]


def _path(heights: Sequence[float | None]) -> str:
    parts: list[str] = []
    pen = "M"
    for i, height in enumerate(heights):
        if height is None:
            pen = "M"
            continue
        parts.append(f"{pen}{_at((i + 0.5) / len(heights))} {height:.1f}")
        pen = "L"
    return "".join(parts)


def _error_bar(root: ET.Element, x: str, heights: tuple[float, float, float]) -> None:
    middle, low, high = heights
    bar = {"x1": x, "x2": x, "y1": f"{low:.1f}", "y2": f"{high:.1f}", "stroke": INK}
    ET.SubElement(root, "line", bar)
    dot = {"cx": x, "cy": f"{middle:.1f}", "r": "3", "fill": "#fff", "stroke": INK}
    ET.SubElement(root, "circle", dot)


def _text(
    root: ET.Element, x: float, y: float, words: str, *, anchor: str = "start", weight: str = "400"
) -> None:
    place = {"x": f"{x:.1f}", "y": f"{y:.1f}", "text-anchor": anchor, "font-weight": weight}
    ET.SubElement(root, "text", place).text = words


def _time_axis(root: ET.Element, material: Material, top: int) -> None:
    zone = ZoneInfo(material.mill.zone)
    start, end = material.drawn
    every = _every(end - start)
    local = start.astimezone(zone).replace(minute=0)
    moment = start - timedelta(minutes=start.minute)
    moment += timedelta(hours=(-local.hour) % every)
    while moment < end:
        part = (moment - start) / (end - start)
        if 0.02 < part < 0.97:
            _tick(root, material, top, part, moment)
        moment += timedelta(hours=every)


def _every(span: timedelta) -> int:
    """Whole hours between two ticks so that about eight stand on the axis."""
    hours = span / timedelta(hours=1)
    return next((h for h in (1, 2, 3, 6, 12, 24, 48, 72) if hours / h <= 9), 168)


def _tick(root: ET.Element, material: Material, top: int, part: float, moment: datetime) -> None:
    zone = ZoneInfo(material.mill.zone)
    local = moment.astimezone(zone)
    words = clock_words(moment, zone)
    if local.hour == 0 or _every(material.drawn[1] - material.drawn[0]) >= 24:
        words = day_words(local, local.year)
    x = float(_at(part))
    stroke = {"x1": f"{x:.1f}", "x2": f"{x:.1f}", "y1": str(top - 12), "y2": str(top - 7)}
    ET.SubElement(root, "line", stroke | {"stroke": INK})
    _text(root, x, top + 6, words, anchor="middle")
