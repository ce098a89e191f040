"""All dialects, in a fixed order."""

from __future__ import annotations

from functools import cache

import dialects_columns
import dialects_files
import dialects_grid
import dialects_numbers
import dialects_orders
import dialects_quality
import dialects_rows
import dialects_units
import dialects_zones
from dialect_truth import Dialect

MODULES = (
    dialects_grid, dialects_columns, dialects_rows, dialects_numbers, dialects_orders,
    dialects_zones, dialects_units, dialects_quality, dialects_files,
)  # fmt: skip


@cache
def all_dialects() -> tuple[Dialect, ...]:
    """Every dialect, and after it the same with its question answered."""
    found = []
    for module in MODULES:
        for dialect in module.dialects():
            found.append(dialect)
            if (answered := dialect.answered()) is not None:
                found.append(answered)
    return tuple(found)


def short_list() -> tuple[Dialect, ...]:
    """Those the tests run: a sixteenth of the grid, an eighth of answers, a quarter of others.

    ``tests/benchmarks/dialects.py`` goes through all of them in two minutes.
    """
    answers = [d for d in all_dialects() if d.is_answer][::8]
    grid = [d for d in all_dialects() if d.axis == "grid" and not d.is_answer][::16]
    others = [d for d in all_dialects() if d.axis != "grid" and not d.is_answer][::4]
    chosen = {d.name for d in (*answers, *grid, *others)}
    return tuple(d for d in all_dialects() if d.name in chosen)
