"""The findings of a mill as a list: for people, and for other programs."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.cli.chosen import Chosen, choose
from pipeline.mill import Mill
from pipeline.report import ReportView
from pipeline.store import published_store_of

if TYPE_CHECKING:
    from pipeline.charts import Known


def listing_view(mill: Mill, chosen: Chosen | None = None) -> ReportView:
    """What was found so far, without minutes or charts."""
    found = _found(mill, chosen)
    now = datetime.now(UTC)
    return ReportView(
        mill=mill.name,
        zone=mill.zone,
        currency=mill.currency,
        price_per_t=mill.price_per_t,
        period_start=found["started"].min() if found.height else now,  # type: ignore[arg-type]
        period_end=found["ended"].max() if found.height else now,  # type: ignore[arg-type]
        findings=found,
        station=mill.station,
        known=_known(mill),
    )


def _found(mill: Mill, chosen: Chosen | None) -> pl.DataFrame:
    found = published_store_of(mill).findings()
    return found if chosen is None else choose(mill, found, chosen)


def _known(mill: Mill) -> tuple[Known, ...]:
    """What was noted beforehand; who never noted anything waits for nothing of it."""
    from pipeline.period import notes_path  # noqa: PLC0415

    if not notes_path(mill).exists():
        return ()
    from pipeline.period import known_of  # noqa: PLC0415

    return known_of(mill)


def as_json(mill: Mill, chosen: Chosen | None = None) -> str:
    """Findings, first rank first, as a JSON list; times in UTC as ISO 8601."""
    rows = [_plain(row) for row in _found(mill, chosen).to_dicts()]
    return json.dumps(rows, indent=2, ensure_ascii=True, allow_nan=False)


def _plain(row: dict[str, Any]) -> dict[str, Any]:
    plain = {
        name: value.isoformat() if isinstance(value, datetime) else value
        for name, value in row.items()
    }
    return plain | {"evidence": json.loads(row["evidence"])}
