"""Losses of the same mill that resemble one, in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from models.account import Episode, Likeness, similar
from pipeline.dossier.gather import Material
from pipeline.dossier.lanes import vessel_kinds
from pipeline.store import counting
from pipeline.words import (
    clean,
    duration_words,
    figure,
    joined,
    known,
    parsed_evidence,
    said,
    section_words,
    span_words,
    tonnes,
    words_of,
)


@dataclass(frozen=True)
class SimilarRow:
    """A loss that resembles this one."""

    finding_id: str
    cause: str
    where: str
    when: str
    mass: str
    alike: str
    why: str
    text: str
    link: str


def episode_of(finding: dict[str, Any], evidence: dict[str, Any]) -> Episode:
    """A finding as far as likeness goes."""
    shares = evidence.get("shares")
    others = evidence.get("alternatives")
    causes = {
        str(o["cause"]): known(o.get("weight")) or 0.0
        for o in (others if isinstance(others, list) else [])
        if isinstance(o, dict) and o.get("cause")
    }
    causes[str(finding["cause"])] = max(1.0 - sum(causes.values()), 0.0)
    held = shares if isinstance(shares, dict) else {}
    return Episode(
        str(finding["finding_id"]),
        str(finding["section"]),
        causes,
        {str(k): v for k, v in held.items() if known(v) is not None},
        finding["started"],
        finding["ended"],
        known(finding["lost_t"]) or 0.0,
    )


def similar_episodes(finding: dict[str, Any], others: Sequence[dict[str, Any]]) -> list[Likeness]:
    """Other findings that resemble one, nearest first."""
    own, *rest = (episode_of(row, parsed_evidence(row["evidence"])) for row in (finding, *others))
    return similar(own, rest)


def similar_rows(
    material: Material, found: Sequence[Likeness], links: Mapping[str, str]
) -> list[SimilarRow]:
    """Similar losses in words, with a link where their dossier exists."""
    zone, kinds = ZoneInfo(material.mill.zone), vessel_kinds(material)
    by_id = {str(row["finding_id"]): row for row in material.others}
    counts = counting(material.verdicts)
    rows = []
    for item in found:
        row = by_id[item.episode.finding_id]
        text = counts.get(item.episode.finding_id)
        rows.append(
            SimilarRow(
                item.episode.finding_id,
                words_of(str(row["cause"])).name,
                section_words(str(row["section"]), kinds),
                span_words(row["started"], row["ended"], zone),
                tonnes(row["lost_t"], row["lost_t_low"], row["lost_t_high"]),
                said("{distance} %", distance=figure(100 * (1 - item.distance), ".0f")),
                _alike(item, material.finding["started"]),
                "" if text is None else _verdict(text),
                links.get(item.episode.finding_id, ""),
            )
        )
    return rows


def _verdict(text: Any) -> str:  # noqa: ANN401
    note = clean(text["note"], 300)
    return f"{clean(text['verdict'], 20)}" + (said(": {note}", note=note) if note else "")


def _shared(cause: float) -> str:
    if cause < 0.25:
        return said("same cause")
    return said("cause in part") if cause < 0.75 else said("another cause")


def _alike(item: Likeness, started: datetime) -> str:
    parts = item.parts
    words = [
        said("same drivers") if parts["drivers"] < 0.15 else said("drivers in part"),
        _shared(parts["cause"]),
        said("same place") if parts["section"] == 0.0 else said("another place"),
    ]
    if math.isfinite(item.size_ratio):
        words.append(
            said("{size_ratio} times the tonnes", size_ratio=figure(item.size_ratio, ".2g"))
        )
    if math.isfinite(item.length_ratio):
        words.append(
            said("{length_ratio} times as long", length_ratio=figure(item.length_ratio, ".2g"))
        )
    apart = item.episode.started - started
    words.append(
        said(
            "{duration_words} {said}",
            duration_words=duration_words(abs(apart)),
            said=said("later") if apart > timedelta(0) else said("before"),
        )
    )
    return joined(", ", words)
