"""All lanes that can be drawn around some hours, in the order of the flow."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import polars as pl

from models.account import FLOCCULANT_PER_JUICE, LIME_PER_JUICE, Way, tracked_signals, ways
from pipeline.dossier.gather import Material
from pipeline.dossier.lanes import (
    Lane,
    Line,
    column_of,
    grabs_at,
    in_flow_order,
    loss_lane,
    signal_lane,
    vessel_kinds,
)
from pipeline.dossier.worked import worked_lanes
from pipeline.period import tags_of, unit_of, what_of
from pipeline.words import ANALYTES, clean, place_words, said, unit_words


def drawable_lanes(material: Material) -> list[Lane]:
    """All lanes that can be drawn, the loss first, then in the order of the flow; none shown."""
    n = material.grid.height
    known = ways(material.minutes, material.station) if material.minutes is not None else {}
    lanes = [loss_lane(material, n)]
    lanes += [
        signal_lane(material, signal, number, known)
        for number, signal in enumerate(in_flow_order(material))
    ]
    lanes += _dose_lanes(material)
    lanes += _laboratory_lanes(material, known, lanes)
    lanes += worked_lanes(material, known)
    return [lane for lane in lanes if not _nothing_drawn(material, lane)]


def silent_tags(material: Material) -> list[str]:
    """Tags of the description without one usable minute in the hours drawn."""
    rows = _rows(material)
    return [
        clean(signal.tag, 80)
        for signal in material.station.signals
        if not np.isfinite(column_of(material.grid, signal.name)[rows]).any()
    ]


def _rows(material: Material) -> slice:
    return slice(material.index_of(material.drawn[0]), material.index_of(material.drawn[1]))


def _nothing_drawn(material: Material, lane: Lane) -> bool:
    rows = _rows(material)
    cut = tuple(replace(line, values=line.values[rows]) for line in lane.lines)
    return replace(lane, lines=cut).empty


def _dose_lanes(material: Material) -> list[Lane]:
    """Milk of lime and flocculant per juice: a dose by itself follows the juice."""
    if material.minutes is None:
        return []
    columns = {s.name: column_of(material.grid, s.name) for s in material.station.signals}
    found = []
    for dose in tracked_signals(columns, material.minutes, {}, material.station):
        if dose.quantity in (LIME_PER_JUICE, FLOCCULANT_PER_JUICE):
            unit, decimals = unit_of(dose)
            found.append(
                Lane(
                    key=dose.key,
                    tag=tags_of(dose),
                    what=what_of(dose),
                    unit=unit_words(unit),
                    decimals=decimals,
                    lines=(Line(said("worked out"), dose.by_clock),),
                    grabs=(),
                    delay_min=dose.delay_min,
                    carried=True,
                    target=None,
                )
            )
    return found


def _laboratory_lanes(
    material: Material, known: Mapping[tuple[str, str], Way], lanes: list[Lane]
) -> list[Lane]:
    """Lanes of analytes that no tag measures."""
    drawn = {(x.signal.quantity, x.signal.place) for x in lanes if x.signal and x.grabs}
    n = material.grid.height
    kinds = vessel_kinds(material)
    found = []
    points = material.lab.select("analyte", "place", "port").unique(maintain_order=True)
    for number, (analyte, place, port) in enumerate(points.sort(pl.all()).rows()):
        if (analyte, place) in drawn:
            continue
        what, unit, decimals = ANALYTES.get(analyte, (clean(analyte, 40), "", 3))
        way = known.get((place, port or "inside"))
        found.append(
            Lane(
                key=f"lab-{number}",
                tag="",
                what=said(
                    "laboratory: {what}, {place_words}",
                    what=what,
                    place_words=place_words(place, port, kinds),
                ),
                unit=unit_words(unit),
                decimals=decimals,
                lines=(),
                grabs=grabs_at(material, analyte, place, port),
                delay_min=np.zeros(n) if way is None else way.half_min,
                carried=way is not None,
                target=None,
            )
        )
    return found
