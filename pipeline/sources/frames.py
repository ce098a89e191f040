"""What a direct source answers, as a frame that is handed on like an export."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import polars as pl

from pipeline.base import DataError
from pipeline.mill import OpcUaSource, Source
from pipeline.words import said


def has_quality(source: Source) -> bool:
    """Tell whether a source gives the quality of its values."""
    return isinstance(source, OpcUaSource) or source.quality_column is not None


def to_frame(
    source: Source,
    times: list[Any],
    tags: list[str],
    values: list[Any],
    qualities: list[str | None],
) -> pl.DataFrame:
    """Rows of a source as a frame: numbers as numbers, unless one of the values is text."""
    numbers = all(isinstance(v, int | float) or v is None for v in values)
    value = pl.Series(
        [_as_number(v) if numbers else _as_text(v) for v in values],
        dtype=pl.Float64 if numbers else pl.String,
    )
    columns: dict[str, Any] = {
        "time": _times(source, times),
        "tag": pl.Series(tags, dtype=pl.String),
    }
    columns["value"] = value
    if has_quality(source):
        columns["quality"] = pl.Series(qualities, dtype=pl.String)
    return pl.DataFrame(columns)


def _as_number(value: float | None) -> float | None:
    return None if value is None else float(value)


def _as_text(value: object) -> str | None:
    if value is None or isinstance(value, str):
        return value
    return repr(float(value)) if isinstance(value, int | float) else str(value)[:200]


def _times(source: Source, times: list[Any]) -> pl.Series:
    """Moments: text as it is, local times without a zone, others in UTC."""
    first = next((t for t in times if t is not None), None)
    if first is None or isinstance(first, str):
        return pl.Series([None if t is None else str(t) for t in times], dtype=pl.String)
    if isinstance(first, datetime):
        aware = first.tzinfo is not None
        return pl.Series(times, dtype=pl.Datetime("us", "UTC" if aware else None))
    raise DataError(
        said("The times are of a kind that cannot be read ({name}).", name=type(first).__name__),
        source.label,
        said("Make a view whose time column is a timestamp, ISO text or seconds since 1970."),
    )
