"""What `lostpol levers` prints: the range of pH, a table, what it rests on."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from pipeline.base import DataError
from pipeline.cli import tables
from pipeline.mill import Mill
from pipeline.present import shown_levers
from pipeline.replay import Levers, levers_of
from pipeline.report import lever_lines, lever_rows
from pipeline.words import said


def kept(mill: Mill) -> Levers:
    """Levers as far as they are kept.

    Raises
    ------
    DataError
        Nothing of the season was searched.
    """
    found = levers_of(mill)
    if found is None:
        raise DataError(
            said("No levers of this season are worked out."),
            str(mill.config_path),
            said(
                "Run lostpol backfill first, then lostpol levers once no other run holds the store."
            ),
        )
    return found


def lines_of(found: Levers) -> Iterator[str]:
    """What stands above the table."""
    yield said("What each change would have saved, {days}:", days=shown_levers(found).days)


def show_table(found: Levers) -> None:
    """The table, best first."""
    shown = shown_levers(found)
    names = (
        said("Change"),
        said("Saved"),
        said("Certain"),
        said("Worth less costs [{currency}]", currency=shown.currency),
        said("Beside it"),
    )
    rows = [
        (row.what, row.saved, row.certain, row.worth, row.costs)
        for row in lever_rows(shown, len(shown.rows))
    ]
    tables.show_table([tables.Column(name) for name in names], rows)


def lines_below(found: Levers) -> list[str]:
    """What stands below the table."""
    return lever_lines(shown_levers(found))


def as_json(found: Levers) -> str:
    """Levers as JSON: tonnes, worth in the mill's currency."""
    ph: dict[str, Any] | None = None
    if found.ph is not None:
        ph = {"now": found.ph.now, "from_ph": found.ph.low, "to_ph": found.ph.high}
    content = {
        "mill": found.mill.name,
        "from": found.window.start.isoformat(),
        "to": found.window.end.isoformat(),
        "missing_weeks": found.missing_weeks,
        "currency": found.mill.currency,
        "ph_limed": ph,
        "levers": [
            {
                "key": step.change.key,
                "how": step.change.how,
                "amount": step.change.amount,
                "recorded_t": step.recorded_t,
                "saved_t": step.saved.mid,
                "saved_t_low": step.saved.low,
                "saved_t_high": step.saved.high,
                "certain_share": step.certain,
                "value": step.value,
                "net_value": step.net_value,
                "lime_t": step.lime_t,
                "reducing_sugars_t": step.sugars_t,
                "settling_margin_pct": step.settling_pct,
            }
            for step in found.steps
        ],
    }
    return json.dumps(content, indent=2, ensure_ascii=True, allow_nan=False)
