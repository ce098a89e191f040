"""What moved around a loss, in order: rows for the page, marks for the chart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from models.account import BLOCK_MIN, PROBE_ERROR, Departure, Tracked, together
from pipeline.base import Window
from pipeline.dossier.gather import Material
from pipeline.dossier.lanes import LOSS_KEY, Lane
from pipeline.period import Around, Told, around, told_of_finding
from pipeline.words import count, figure, moment_words, plain, said

#: Behind the key of a probe's lane: its error against the laboratory moved, not its reading.
_ERROR = ":error"


@dataclass(frozen=True)
class MoveRow:
    """One signal in the order of moves; ``left`` to ``right`` [0..1] is its interval."""

    number: int
    name: str
    when: str
    later: str
    change: str
    shifted: str
    left: float
    middle: float
    right: float


@dataclass(frozen=True)
class Moves:
    """Moves of the lanes of a page.

    Attributes
    ----------
    clear : list of Departure
        First to move first; ``name`` is a lane's key, with `:error` behind that of a probe whose
        error moved. Minutes count from the first row of the material.
    still : list of str
        Keys of lanes without a clear change.
    on_clock : bool
        By the clock rather than on parcel time.
    named : tuple of str
        Keys of the lanes that the sentence names, the first one first.
    """

    clear: list[Departure]
    still: list[str]
    on_clock: bool
    named: tuple[str, ...] = ()


def moves_around(material: Material) -> tuple[Around | None, Told | None]:
    """Signals around the hours of the page, and what moved in them."""
    started, ended = (material.finding[name] for name in ("started", "ended"))
    known = around(material.mill, Window(started, ended))
    if known is None:
        return None, None
    return known, told_of_finding(known, material.finding, material.evidence)


def moves_of(
    material: Material, lanes: Sequence[Lane], known: Around | None, told: Told | None
) -> Moves:
    """Moves of all lanes with lines, on the rows of the material."""
    if known is None or told is None:
        return Moves([], [], on_clock=False)
    keys = {key: lane.key for lane in lanes if (key := _signal_key(lane))}
    offset = material.index_of(known.start)
    clear, still = [], []
    for item in told.moves:
        lane = _lane_key(item.signal, keys)
        if lane is None:
            continue
        if not item.departure.clear:
            still.append(lane)
            continue
        onset = item.departure.onset_min + offset
        clear.append(replace(item.departure, name=lane, onset_min=onset))
    named = told.named
    chosen = (named.first, *named.follows) if named is not None else ()
    found = [lane for item in chosen if (lane := _lane_key(item.signal, keys))]
    still = [key for key in still if not key.endswith(_ERROR)]
    first = tuple(dict.fromkeys(key.removesuffix(_ERROR) for key in found))
    return Moves(clear, still, told.on_clock, first)


def _signal_key(lane: Lane) -> str:
    if not lane.lines or lane.key == LOSS_KEY:
        return ""
    return lane.signal.name if lane.signal is not None else lane.key


def _lane_key(signal: Tracked, keys: dict[str, str]) -> str | None:
    if signal.quantity == PROBE_ERROR:
        lane = keys.get(signal.key.removeprefix(f"{PROBE_ERROR}_"))
        return None if lane is None else lane + _ERROR
    return keys.get(signal.key)


def chart_moves(material: Material, lanes: Sequence[Lane], moves: Moves) -> list[Departure]:
    """Moves of the lanes as read, on parcel time, as the chart wants them."""
    delays = {lane.key: lane.delay_min for lane in lanes}
    own = [move for move in moves.clear if move.name in delays]
    if not moves.on_clock:
        return own
    last = material.grid.height - 1
    back = [delays[move.name][min(max(round(move.onset_min), 0), last)] for move in own]
    return [replace(m, onset_min=m.onset_min - float(d)) for m, d in zip(own, back, strict=True)]


def move_rows(material: Material, lanes: Sequence[Lane], moves: Moves) -> list[MoveRow]:
    """Moves in words, those that cannot be told apart under one number."""
    if not moves.clear:
        return []
    named = {lane.key: lane for lane in lanes}
    zone = ZoneInfo(material.mill.zone)
    first: datetime = material.grid["ts_utc"][0]
    zero = moves.clear[0].onset_min
    low = min(m.onset_min - m.spread_min for m in moves.clear)
    high = max(m.onset_min + m.spread_min for m in moves.clear)
    width = max(high - low, 1.0)
    rows: list[MoveRow] = []
    for move, group in zip(moves.clear, together(moves.clear), strict=True):
        lane = named[move.name.removesuffix(_ERROR)]
        error = move.name.endswith(_ERROR)
        lag = move.onset_min - zero
        spread = max(round(move.spread_min / BLOCK_MIN) * BLOCK_MIN, BLOCK_MIN)
        when = moment_words(first + timedelta(minutes=round(move.onset_min)), zone)
        rows.append(
            MoveRow(
                number=group + 1,
                name=lane.name + (said(", error against the laboratory") if error else ""),
                when=said("before {when}", when=when) if move.open_start else when,
                later=_later(lag, spread, first=not rows),
                change=_change(lane, move),
                shifted=said("on the clock")
                if moves.on_clock
                else _shifted(lane, round(move.onset_min)),
                left=(move.onset_min - move.spread_min - low) / width,
                middle=(move.onset_min - low) / width,
                right=(move.onset_min + move.spread_min - low) / width,
            )
        )
    return rows


def _later(lag: float, spread: int, *, first: bool) -> str:
    return (
        said("first, ± {spread} min", spread=spread)
        if first
        else said(
            "{lag} ± {spread} min", lag=count(round(lag / BLOCK_MIN) * BLOCK_MIN), spread=spread
        )
    )


def _change(lane: Lane, move: Departure) -> str:
    usual, during = (plain(v, lane.decimals) for v in (move.usual, move.during))
    text = said("{usual} to {during} {unit}", usual=usual, during=during, unit=lane.unit).rstrip()
    if not math.isfinite(move.swings) or move.swings > 99:
        return text
    return said(
        "{text}, {swings} times its everyday swing", text=text, swings=figure(move.swings, ".2g")
    )


def _shifted(lane: Lane, row: int) -> str:
    if not lane.carried:
        return said("on the clock")
    back = lane.delay_min[min(max(row, 0), len(lane.delay_min) - 1)]
    return (
        said("moved back {back} min", back=figure(back, ".0f"))
        if back >= 0.5
        else said("read at the inlet")
    )
