"""Sensors that fell silent in company: that speaks of the historian, not of each sensor."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from pipeline.report.tables import SensorRow, sensor_rows
from pipeline.report.view import ReportView
from pipeline.words import said

_SILENT: Final = re.compile(r"silent for [\d.]+ (?:min|h)")
#: So many tags, and this share of all the station has, do not fail by chance together (estimate).
_MANY: Final = 6
_SHARE: Final = 0.5


def gathered_sensors(view: ReportView) -> list[SensorRow] | None:
    """Sensors to look at; those that were only silent, when most were, as one row at the end."""
    rows = sensor_rows(view)
    if rows is None:
        return None
    quiet = [row for row in rows if _SILENT.fullmatch(row.why)]
    known = len(view.station.signals) if view.station is not None else 0
    if len(quiet) < max(_MANY, _SHARE * known):
        return rows
    return [*(row for row in rows if row not in quiet), _one(quiet)]


def _one(quiet: Sequence[SensorRow]) -> SensorRow:
    spans = sorted({row.why.removeprefix(said("silent for ")) for row in quiet}, key=_minutes)
    span = (
        spans[0]
        if len(spans) == 1
        else said("{spans} to {spans2}", spans=spans[0], spans2=spans[-1])
    )
    return replace(
        quiet[0],
        tag=said("{quiet} tags", quiet=len(quiet)),
        measures="",
        why=said(
            "silent for {span} and otherwise well: so many at once speak of the "
            "historian or its export, not of the sensors",
            span=span,
        ),
    )


def _minutes(span: str) -> float:
    number, unit = span.split()
    return float(number) * (60.0 if unit == "h" else 1.0)
