"""Workbooks with a sheet for each juice: the name of the sheet belongs to the name of a series."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.intake.lab_words import says_point
from pipeline.intake.propose import Proposal


def juice_sheets(proposals: Sequence[Proposal]) -> list[Proposal]:
    """Proposals of sheets of one form whose names tell the juices apart; empty for other sheets.

    Sheets named after months or weeks hold the same series, one after the other.
    """
    if len(proposals) < 2:
        return []
    names = [p.called[0] for p in proposals]
    wide = all(p.keys.get("shape") == "wide" and "tag_columns" not in p.keys for p in proposals)
    headings = [heading for p in proposals for heading in p.series]
    alike = wide and len(set(headings)) < len(headings) and len(set(names)) == len(names)
    points = sum(says_point(name) for name in names)
    if not alike or 2 * points < len(names):
        return []
    return [
        replace(
            p,
            series=tuple(f"{name} {heading}" for heading in p.series),
            pooled=tuple(f"{name} {s}" for s in p.pooled),
            repeats=tuple(f"{name} {s}" for s in p.repeats),
            by_hand=True,
        )
        for p, name in zip(proposals, names, strict=True)
    ]
