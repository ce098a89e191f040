"""Rows of readings above the headings, as in a file that was put before another.

Nobody can say what their columns are: they are refused, and counted.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.exports.evidence import Evidence
from pipeline.files import Head, is_moment, is_number
from pipeline.lake import Tally
from pipeline.layouts import Plan


def readings_above(head: Head | None, plan: Plan) -> list[Sequence[str]]:
    """Rows above the headings that hold a moment and numbers as readings do."""
    if head is None or not head.above:
        return []
    place = {name: k for k, name in enumerate(head.names)}
    when = place.get(plan.date or plan.time, 0)
    width = sum(bool(name) for name in head.names)
    return [row for row in head.above if _is_reading(row, when, width)]


def _is_reading(row: Sequence[str], when: int, width: int) -> bool:
    cells = [cell for cell in row if cell]
    moments = [k for k, cell in enumerate(row) if is_moment(cell)]
    numbers = [k for k, cell in enumerate(row) if is_number(cell) and k not in moments]
    if not moments or not numbers:
        return False
    if when in moments and (len(numbers) >= 2 or len(cells) >= min(width, 3) or width == 2):
        return True
    return width >= 3 and len(cells) >= 0.8 * width


def refuse_above(head: Head | None, plan: Plan, tally: Tally, evidence: Evidence) -> None:
    """Count rows of readings above the headings as refused, and tell of them."""
    rows = readings_above(head, plan)
    if not rows:
        return
    weight = 1 if plan.shape == "long" else max(len(plan.tags), 1)
    tally.refuse_lines("above_headings", [" | ".join(row) for row in rows], weight)
    evidence.note(
        f"{len(rows)} rows of readings stand above the headings, where no heading says what they "
        "are: refused. If the file was joined from several, pull these one by one."
    )
