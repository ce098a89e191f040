"""Rows of the dossier's tables: order of moves, vessels, sensors, laboratory."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from models.account import (
    BLOCK_MIN,
    Move,
    Signal,
    VesselRow,
    on_parcel_time,
    order_of_moves,
    together,
)
from pipeline.dossier.gather import Material, speaks_of
from pipeline.dossier.lanes import LOSS_KEY, Z90, Lane, by_the_clock, vessel_kinds
from pipeline.words import (
    ANALYTES,
    clean,
    known,
    moment_words,
    place_words,
    plain,
    section_words,
    sensor_words,
)

#: A change is looked for from so long before the finding to so long after its start.
_LEAD = timedelta(hours=8)
_FOLLOW = (timedelta(hours=3), timedelta(hours=12))
_VOLUME_REL_SD = 0.1


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


def moves_of(material: Material, lanes: Sequence[Lane]) -> tuple[list[Move], list[str]]:
    """First clear changes of all lanes with lines, and the keys of those without any."""
    clock = by_the_clock(material)
    start = material.index_of(material.finding["started"])
    length = material.finding["ended"] - material.finding["started"]
    follow = min(max(length, _FOLLOW[0]), _FOLLOW[1])
    window = (start - _minutes(_LEAD), start + _minutes(follow))
    signals = {}
    for lane in lanes:
        # A second instrument moves with the first and must not count as another witness.
        if not lane.lines or lane.key == LOSS_KEY or (lane.signal and lane.signal.beside):
            continue
        for line in lane.lines:
            moved = line.values if clock else on_parcel_time(line.values, lane.delay_min)
            key = lane.key if line.style == "read" else f"{lane.key}:{line.style}"
            travel = float(lane.delay_min[min(max(start, 0), len(lane.delay_min) - 1)])
            signals[key] = Signal(moved, 0.0 if clock else travel)
    return order_of_moves(signals, window, _VOLUME_REL_SD)


def chart_moves(material: Material, lanes: Sequence[Lane], moves: Sequence[Move]) -> list[Move]:
    """Moves of the lanes as read, on parcel time, as the chart wants them."""
    delays = {lane.key: lane.delay_min for lane in lanes}
    own = [move for move in moves if move.name in delays]
    if not by_the_clock(material):
        return own
    last = material.grid.height - 1
    back = [delays[move.name][min(round(move.onset_min), last)] for move in own]
    return [replace(m, onset_min=m.onset_min - float(d)) for m, d in zip(own, back, strict=True)]


def _minutes(span: timedelta) -> int:
    return round(span.total_seconds() / 60)


def move_rows(material: Material, lanes: Sequence[Lane], moves: Sequence[Move]) -> list[MoveRow]:
    """Moves in words, those that cannot be told apart under one number."""
    if not moves:
        return []
    clock = by_the_clock(material)
    named = {lane.key: lane for lane in lanes}
    zone = ZoneInfo(material.mill.zone)
    first: datetime = material.grid["ts_utc"][0]
    zero = moves[0].onset_min
    low = min(m.onset_min - m.spread_min for m in moves)
    high = max(m.onset_min + m.spread_min for m in moves)
    width = max(high - low, 1.0)
    rows: list[MoveRow] = []
    for move, group in zip(moves, together(list(moves)), strict=True):
        key, _, kind = move.name.partition(":")
        lane = named[key]
        lag = move.onset_min - zero
        spread = max(round(move.spread_min / BLOCK_MIN) * BLOCK_MIN, BLOCK_MIN)
        rows.append(
            MoveRow(
                number=group + 1,
                name=lane.name + (", corrected by the laboratory" if kind else ""),
                when=moment_words(first + timedelta(minutes=round(move.onset_min)), zone),
                later=_later(lag, spread, first=not rows),
                change=_change(lane, move),
                shifted="on the clock" if clock else _shifted(lane, round(move.onset_min)),
                left=(move.onset_min - move.spread_min - low) / width,
                middle=(move.onset_min - low) / width,
                right=(move.onset_min + move.spread_min - low) / width,
            )
        )
    return rows


def _later(lag: float, spread: int, *, first: bool) -> str:
    return (
        f"first, ± {spread} min"
        if first
        else f"{round(lag / BLOCK_MIN) * BLOCK_MIN} ± {spread} min"
    )


def _change(lane: Lane, move: Move) -> str:
    before, after = (plain(v, lane.decimals) for v in (move.before, move.after))
    text = f"{before} to {after} {lane.unit}".rstrip()
    if not math.isfinite(move.swings) or move.swings > 99:
        return text
    return f"{text}, {move.swings:.2g} times its everyday swing"


def _shifted(lane: Lane, row: int) -> str:
    if not lane.carried:
        return "on the clock"
    back = lane.delay_min[min(max(row, 0), len(lane.delay_min) - 1)]
    return f"moved back {back:.0f} min" if back >= 0.5 else "read at the inlet"


@dataclass(frozen=True)
class ZoneRow:
    """One vessel in the hours of the finding [kg/h, as text]."""

    name: str
    lost: str
    at_target: str
    parts: tuple[str, ...]


def zone_rows(
    material: Material, vessels: Sequence[VesselRow], parts: Sequence[dict[str, Any]]
) -> list[ZoneRow]:
    """Vessels in flow order with what each part of the account has there, and their sum."""
    kinds = vessel_kinds(material)
    shares = [part.get("by_zone_kg_h") or {} for part in parts]
    rows = [
        ZoneRow(
            section_words(row.zone, kinds),
            _rate(row.loss_kg_h),
            _rate(row.target_kg_h),
            tuple(_rate(share.get(row.zone, 0.0)) if share else "not kept" for share in shares),
        )
        for row in vessels
    ]
    lost = math.fsum(v.loss_kg_h for v in vessels if math.isfinite(v.loss_kg_h))
    target = math.fsum(v.target_kg_h for v in vessels if math.isfinite(v.target_kg_h))
    sums = tuple(_rate(math.fsum(share.values())) if share else "not kept" for share in shares)
    return [*rows, ZoneRow("all together", _rate(lost), _rate(target), sums)] if rows else []


def _rate(value: float) -> str:
    return plain(value, 2) if math.isfinite(value) else "not measured"


@dataclass(frozen=True)
class SensorRow:
    """Health of one tag on the days of the finding."""

    tag: str
    measures: str
    verdict: str
    days: str
    why: str
    drift: str
    well: bool


def sensor_rows(material: Material, lanes: Sequence[Lane]) -> list[SensorRow]:
    """Health of the tags shown at first, worst first; those without a record are said."""
    grades = {"silent": 0, "sick": 1, "watch": 2, "good": 3}
    rows: list[tuple[int, SensorRow]] = []
    for lane in lanes:
        if not lane.shown or lane.signal is None:
            continue
        held = material.sensors.filter(pl.col("tag") == lane.signal.tag).to_dicts()
        worst = min(held, key=lambda r: grades.get(r["verdict"], 9), default=None)
        if worst is None:
            why = "no record of these days"
            rows.append((0, SensorRow(lane.tag, lane.what, "not judged", "", why, "", False)))
            continue
        well = worst["verdict"] == "good"
        bad = sum(r["verdict"] != "good" for r in held)
        text = "well" if well else sensor_words(worst["verdict"])
        days = "" if well else f"{bad} of {len(held)}"
        why = clean(worst["text"], 300)
        row = SensorRow(lane.tag, lane.what, text, days, why, _drift(held), well)
        rows.append((grades.get(worst["verdict"], 9), row))
    return [row for _, row in sorted(rows, key=lambda item: item[0])]


def _drift(held: Sequence[dict[str, Any]]) -> str:
    """Largest error against the laboratory on these days, with its 90 % interval."""
    facts = [r for r in held if known(r["drift"]) is not None]
    if not facts:
        return ""
    most = max(facts, key=lambda r: abs(r["drift"]))
    half = Z90 * (known(most["drift_sd"]) or 0.0)
    side = "high" if most["drift"] > 0 else "low"
    return f"{abs(most['drift']):.2f} ± {half:.2f} pH {side}"


@dataclass(frozen=True)
class LabRow:
    """Laboratory results of one point and analyte in the hours drawn."""

    what: str
    inside: str
    outside: str
    samples: str


def lab_rows(material: Material) -> list[LabRow]:
    """Means inside and outside the finding with 90 % intervals of the mean.

    A composite counts as inside where part of it was gathered then.
    """
    kinds = vessel_kinds(material)
    lab = material.lab.with_columns(
        inside=speaks_of(material.finding["started"], material.finding["ended"])
    )
    rows = []
    keys = ("place", "port", "analyte", "period_h")
    for part in lab.sort(*keys).partition_by(*keys, maintain_order=True):
        row = part.row(0, named=True)
        place, port, analyte = row["place"], row["port"], row["analyte"]
        what, unit, decimals = ANALYTES.get(analyte, (clean(analyte, 40), "", 3))
        within = part.filter(pl.col("inside"))
        without = part.filter(~pl.col("inside"))
        rows.append(
            LabRow(
                f"{what}, {place_words(place, port, kinds)}" + _composite_words(row["period_h"]),
                _mean(within, unit, decimals),
                _mean(without, unit, decimals),
                f"{within.height} and {without.height}",
            )
        )
    return rows


def _composite_words(period_h: float) -> str:
    return f", composite of {period_h:g} h" if period_h else ""


def _mean(part: pl.DataFrame, unit: str, decimals: int) -> str:
    values = part["value"].drop_nulls()
    if values.is_empty():
        return "no sample"
    error = math.sqrt(math.fsum(sd**2 for sd in part["sd"].fill_null(0.0))) / part.height
    if part.height > 1:
        # What the samples themselves scatter counts where it is more than their analyses claim.
        error = max(error, float(values.std() or 0.0) / math.sqrt(part.height))  # type: ignore[arg-type]
    mean = float(values.mean())  # type: ignore[arg-type]
    return f"{plain(mean, decimals)} ± {plain(Z90 * error, decimals)} {unit}".rstrip()
