"""Workbooks with a sheet for each juice: the name of the sheet belongs to the name of a series."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.describe.lab_words import says_point
from pipeline.describe.one_tag import says_when
from pipeline.describe.propose import Proposal


def juice_sheets(proposals: Sequence[Proposal]) -> list[Proposal]:
    """Proposals of sheets of one form whose names tell the juices apart; empty for other sheets.

    Sheets named after months or weeks hold the same series, one after the other.
    """
    if len(proposals) < 2:
        return []
    names = [p.called[0] for p in proposals]
    wide = all(p.keys.get("shape") == "wide" and "tag_columns" not in p.keys for p in proposals)
    shared = set(proposals[0].series).intersection(*(p.series for p in proposals[1:]))
    alike = wide and len(shared) > 0 and len(set(names)) == len(names)
    points = sum(says_point(name) for name in names)
    if not alike or (any(says_when(name) for name in names) and points < len(names)):
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
