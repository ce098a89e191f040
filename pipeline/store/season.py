"""What is settled for all findings of a mill together: false discoveries, verdicts, ranks.

A run searches a window; chance works on the whole season. So q-values and marks are worked out anew
over every finding of the season after each run: many nightly runs and one backfill that leave the
same p-values leave the same marks.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

import numpy as np

from models.search import marks, q_values
from models.verdicts import as_found
from pipeline.store.learning import relearn
from pipeline.store.matching import Row

#: What is dismissed or fixed comes after what is not. Ties are settled by start and name, so that
#: equal inputs give equal ranks.
RANK: Final = """
UPDATE findings SET rank = places.place FROM (
    SELECT finding_id, row_number() OVER (
        ORDER BY CASE verdict WHEN 'dismissed' THEN 2 WHEN 'fixed' THEN 1 ELSE 0 END,
            value * confidence DESC, started, finding_id
    ) AS place
    FROM findings WHERE mill = ? AND status <> 'withdrawn'
) AS places WHERE findings.finding_id = places.finding_id
"""


def season_cells(cells: int, window: tuple[datetime, datetime], first: datetime) -> int:
    """Hypotheses of the season so far, from those of a run's window and the season's first moment.

    Parameters
    ----------
    cells : int
        Hypotheses of the window: one a channel and six hours.
    window : tuple of datetime
        Start (included) and end (excluded).
    first : datetime
        Start of the first window ever searched.
    """
    season = window[1] - min(first, window[0])
    return round(cells * max(season / (window[1] - window[0]), 1.0))


def settled(findings: Sequence[Row], verdicts: Sequence[Row], cells: int | None) -> list[Row]:
    """Every finding with its q-value, its mark, and what verdicts teach.

    Parameters
    ----------
    findings : sequence of dict
        All findings of a mill, as stored.
    verdicts : sequence of dict
        All verdicts ever given on them.
    cells : int, optional
        Hypotheses of the season; without it q-values stay as they are.
    """
    rows = [as_found(row) for row in findings]
    if cells is not None:
        counted = [r for r in rows if r["status"] != "withdrawn" and r.get("p_value") is not None]
        q = q_values(np.array([r["p_value"] for r in counted], dtype=float), cells)
        for row, value, mark in zip(counted, q, marks(q), strict=True):
            row |= {"q_value": float(value), "mark": mark}
    return relearn(rows, verdicts) if verdicts else rows
