"""The data of the interactive chart, packed small and safe to stand inside a page."""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from markupsafe import Markup

from models.account import Departure
from models.base import Array, block_means
from pipeline.charts import letter_of
from pipeline.dossier.gather import Material
from pipeline.dossier.lanes import Lane, Line, Raw, by_the_clock
from pipeline.tongue import ENGLISH, Tongue
from pipeline.words import figure, said

#: Most points of a line; beyond, minutes are averaged.
MOST_POINTS: Final = 6000
#: Code of a missing value among the packed numbers.
_MISSING: Final = 65535
_MINUTE_MS: Final = 60_000
#: Highest delay that can be packed [min], and parts of a minute kept.
_DELAY_PARTS: Final = 20.0


def chart_data(
    material: Material, lanes: Sequence[Lane], moves: Sequence[Departure]
) -> dict[str, Any]:
    """Describe the chart: time axis, lanes, lines as packed numbers, laboratory results.

    Parameters
    ----------
    material : Material
    lanes : sequence of Lane
    moves : sequence of Departure
        First clear changes; ``name`` is a lane's key and ``onset_min`` counts on parcel time from
        the first row of the material.

    Returns
    -------
    dict
        Ready for :func:`as_script`. Times are epoch milliseconds, steps whole minutes.
    """
    first, last = (material.index_of(moment) for moment in material.drawn)
    step = max(1, -(-(last - first) // MOST_POINTS))
    rows = slice(first, last)
    moved = {move.name: move for move in moves}
    delays: list[str] = []
    known: dict[bytes, int] = {}
    packed = [_lane(lane, rows, step, delays, known, moved.get(lane.key)) for lane in lanes]
    started, ended = material.finding["started"], material.finding["ended"]
    return {
        "start": _ms(material.drawn[0]),
        "step_min": step,
        "count": -(-(last - first) // step),
        "finding": [_ms(started), _ms(ended)],
        "by_clock": by_the_clock(material),
        "zone": material.mill.zone,
        "offsets": _offsets(material.drawn, ZoneInfo(material.mill.zone)),
        "delays": delays,
        "delay_parts": _DELAY_PARTS,
        "missing": _MISSING,
        "noted": [
            [_ms(item.started), _ms(item.ended), letter_of(n), item.words]
            for n, item in enumerate(material.noted)
        ],
        "lanes": packed,
        "words": _WORDS,
    }


def as_script(data: dict[str, Any], tongue: Tongue = ENGLISH) -> Markup:
    """JSON that cannot end the element it stands in, whatever text it holds."""
    told = _told(data | {"language": tongue.tag}, tongue)
    text = json.dumps(told, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    for char in "<>&":
        text = text.replace(char, f"\\u{ord(char):04x}")
    return Markup(text)


def _told(part: object, tongue: Tongue) -> object:
    """Say every text of the data in a tongue."""
    if isinstance(part, dict):
        return {name: _told(value, tongue) for name, value in part.items()}
    if isinstance(part, list):
        return [_told(value, tongue) for value in part]
    return tongue(part)


#: What the script says beside the names of signals.
_WORDS: Final = {
    "no_reading": said("no reading"),
    "laboratory": said("laboratory"),
    "read": said("read"),
    "no_result": said("no result here"),
    "to": said("to"),
    "by_clock": said("by the clock"),
    "entered": said("juice entered"),
    "empty": said("no readings in this window"),
    "decimal": figure(0.5, ".1f")[1:2],
}


def _ms(moment: datetime) -> int:
    return round(moment.timestamp() * 1000)


def _offsets(drawn: tuple[datetime, datetime], zone: ZoneInfo) -> list[list[int]]:
    """From when which offset from UTC holds: epoch ms and minutes, first entry at the left edge."""
    found: list[list[int]] = []
    moment = drawn[0]
    while moment < drawn[1]:
        offset = moment.astimezone(zone).utcoffset() or timedelta()
        minutes = round(offset.total_seconds() / 60)
        if not found or found[-1][1] != minutes:
            found.append([_ms(moment), minutes])
        moment += timedelta(minutes=15)
    return found


def _lane(
    lane: Lane,
    rows: slice,
    step: int,
    delays: list[str],
    known: dict[bytes, int],
    move: Departure | None,
) -> dict[str, Any]:
    lines = [_line(line, rows, step, delays, known) for line in lane.lines]
    return {
        "key": lane.key,
        "tag": lane.tag,
        "what": lane.what,
        "unit": lane.unit,
        "decimals": lane.decimals,
        "carried": lane.carried,
        "shown": lane.shown,
        "target": lane.target,
        "lines": lines,
        "delay": _delay_index(_thinned(lane.delay_min[rows], step), delays, known),
        "lab": [
            [grab.row - rows.start, _short(grab.value), _short(grab.half)]
            for grab in lane.grabs
            if rows.start <= grab.row < rows.stop
        ],
        "raw": None if lane.raw is None else _raw(lane.raw, (rows.stop - rows.start) * 1.0),
        "moved": None if move is None else round(move.onset_min - rows.start, 1),
    }


def _line(
    line: Line, rows: slice, step: int, delays: list[str], known: dict[bytes, int]
) -> dict[str, Any]:
    own = line.delay_min
    told = {} if own is None else {"delay": _delay_index(_thinned(own[rows], step), delays, known)}
    packed = _packed(_thinned(line.values[rows], step))
    return {"name": line.name, "style": line.style} | packed | told


def _raw(raw: Raw, span_min: float) -> dict[str, Any]:
    """Readings as exported: moments as parts of the hours drawn, values, and which are unused."""
    values = _packed(raw.values)
    moments = np.clip(np.round(raw.at_min / span_min * (_MISSING - 1)), 0, _MISSING - 1)
    return {
        "low": values["low"],
        "scale": values["scale"],
        "data": values["data"],
        "at": base64.b64encode(moments.astype("<u2").tobytes()).decode(),
        "unused": np.flatnonzero(raw.unused).tolist(),
        "left_out": raw.left_out,
    }


def _short(value: float) -> float:
    return float(f"{value:.6g}")


def _thinned(values: Array, step: int) -> Array:
    return values if step == 1 else block_means(values, step)


def _packed(values: Array) -> dict[str, Any]:
    """Numbers as sixteen-bit steps between their lowest and highest, base64."""
    known = np.isfinite(values)
    low = float(values[known].min()) if known.any() else 0.0
    high = float(values[known].max()) if known.any() else 0.0
    scale = (high - low) / (_MISSING - 1) or 1.0
    codes = np.full(len(values), _MISSING, dtype="<u2")
    codes[known] = np.round((values[known] - low) / scale).astype("<u2")
    return {"low": low, "scale": scale, "data": base64.b64encode(codes.tobytes()).decode()}


def _delay_index(delay_min: Array, delays: list[str], known: dict[bytes, int]) -> int:
    """Place of a lane's travel times in the shared list; -1 where it is not moved."""
    if not delay_min.any():
        return -1
    codes = np.round(np.clip(delay_min * _DELAY_PARTS, 0, _MISSING - 1)).astype("<u2").tobytes()
    if codes not in known:
        known[codes] = len(delays)
        delays.append(base64.b64encode(codes).decode())
    return known[codes]
