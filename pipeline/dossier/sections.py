"""Rows of the dossier's tables: vessels, sensors, laboratory."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from models.account import VesselRow
from pipeline.dossier.gather import Material, speaks_of
from pipeline.dossier.lanes import Z90, Lane, vessel_kinds
from pipeline.words import (
    ANALYTES,
    clean,
    figure,
    known,
    place_words,
    plain,
    said,
    section_words,
    sensor_words,
    stored,
)


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
            tuple(
                _rate(share.get(row.zone, 0.0)) if share else said("not kept") for share in shares
            ),
        )
        for row in vessels
    ]
    lost = math.fsum(v.loss_kg_h for v in vessels if math.isfinite(v.loss_kg_h))
    target = math.fsum(v.target_kg_h for v in vessels if math.isfinite(v.target_kg_h))
    sums = tuple(
        _rate(math.fsum(share.values())) if share else said("not kept") for share in shares
    )
    return [*rows, ZoneRow(said("all together"), _rate(lost), _rate(target), sums)] if rows else []


def _rate(value: float) -> str:
    return plain(value, 2) if math.isfinite(value) else said("not measured")


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
        # Of equally bad days the one that was furthest off: its words and the error beside agree.
        worst = min(
            held,
            key=lambda r: (grades.get(r["verdict"], 9), -abs(known(r["drift"]) or 0.0)),
            default=None,
        )
        if worst is None:
            why = said("no record of these days")
            rows.append((0, SensorRow(lane.tag, lane.what, said("not judged"), "", why, "", False)))
            continue
        well = worst["verdict"] == "good"
        bad = sum(r["verdict"] != "good" for r in held)
        text = said("well") if well else sensor_words(worst["verdict"])
        days = "" if well else said("{bad} of {held}", bad=bad, held=len(held))
        why = stored(clean(worst["text"], 300))
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
    side = said("high") if most["drift"] > 0 else said("low")
    return said(
        "{drift} ± {half} pH {side}",
        drift=figure(abs(most["drift"]), ".2f"),
        half=figure(half, ".2f"),
        side=side,
    )


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
                said(
                    "{what}, {place_words}", what=what, place_words=place_words(place, port, kinds)
                )
                + _composite_words(row["period_h"]),
                _mean(within, unit, decimals),
                _mean(without, unit, decimals),
                said("{height} and {height2}", height=within.height, height2=without.height),
            )
        )
    return rows


def _composite_words(period_h: float) -> str:
    return said(", composite of {period_h} h", period_h=figure(period_h, "g")) if period_h else ""


def _mean(part: pl.DataFrame, unit: str, decimals: int) -> str:
    values = part["value"].drop_nulls()
    if values.is_empty():
        return said("no sample")
    error = math.sqrt(math.fsum(sd**2 for sd in part["sd"].fill_null(0.0))) / part.height
    if part.height > 1:
        # What the samples themselves scatter counts where it is more than their analyses claim.
        error = max(error, float(values.std() or 0.0) / math.sqrt(part.height))  # type: ignore[arg-type]
    mean = float(values.mean())  # type: ignore[arg-type]
    return said(
        "{mean} ± {z90} {unit}",
        mean=plain(mean, decimals),
        z90=plain(Z90 * error, decimals),
        unit=unit,
    ).rstrip()
