"""What a dossier lacks, and why."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

import numpy as np

from models.account import Workings
from pipeline.dossier.drawable import silent_tags
from pipeline.dossier.gather import Material
from pipeline.dossier.lanes import Lane, vessel_kinds
from pipeline.words import duration_words, joined, said, section_words

#: Missing readings of a vessel are told from so many minutes on.
_LEAST_UNKNOWN_MIN = 15


def missing(
    material: Material,
    lanes: Sequence[Lane],
    workings: Workings | None,
    *,
    vessels_told: bool = False,
) -> list[tuple[str, str]]:
    """What the page lacks, and why.

    Parameters
    ----------
    material : Material
    lanes : sequence of Lane
    workings : Workings or None
    vessels_told : bool
        How long each vessel was not measured stands on the page already.
    """
    phrase: list[tuple[str, str]] = []
    if material.minutes is None:
        what = said("Trends, vessels and the minute worked by hand")
        phrase.append((what, said("these days are not worked out: run lostpol backfill")))
    elif workings is not None and workings.by_hand is None:
        phrase.append(
            (said("A minute worked by hand"), said("no minute has every reading it needs"))
        )
    silent = silent_tags(material)
    if silent:
        phrase.append(
            (
                said("Trends of {silent}", silent=joined(", ", silent)),
                said("no usable reading in these hours"),
            )
        )
    if material.lab.is_empty():
        phrase.append(
            (said("Laboratory results"), said("none in these hours, so no probe could be checked"))
        )
    if material.sensors.is_empty():
        phrase.append((said("Health of the sensors"), said("none of these days was judged")))
    if material.run is None:
        phrase.append((said("The run behind the numbers"), said("it is no longer in the store")))
    absent = "" if vessels_told else _absent_minutes(material)
    if absent:
        what = said("Readings behind the loss in these hours: {absent}", absent=absent)
        phrase.append((what, said("not measured then; the mill's usual value stood in for them")))
    if not lanes:
        phrase.append((said("The chart"), said("there is nothing to draw")))
    return phrase


def _absent_minutes(material: Material) -> str:
    """Vessels whose loss rests on something not measured, and for how long, in words."""
    if material.minutes is None:
        return ""
    kinds = vessel_kinds(material)
    rows = slice(*(max(material.index_of(material.finding[n]), 0) for n in ("started", "ended")))
    phrase = []
    for zone, columns in material.minutes.zones.items():
        unknown = int((~np.isfinite(columns["loss_kg_h"][rows])).sum())
        if unknown >= _LEAST_UNKNOWN_MIN:
            lasted = duration_words(timedelta(minutes=unknown))
            phrase.append(
                said(
                    "{section_words} ({lasted})",
                    section_words=section_words(zone, kinds),
                    lasted=lasted,
                )
            )
    return joined(", ", phrase)
