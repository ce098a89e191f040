"""Loss above the unavoidable of hours, as every report counts it: by kinetics, and by microbes."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import polars as pl

from models.account import pooled, with_bounds
from pipeline.report import Estimate, joined, microbes_within, with_microbes

_HOUR = timedelta(hours=1)


def hours_lost(hours: pl.DataFrame, findings: pl.DataFrame) -> pl.DataFrame:
    """Sums by hour with the 90 % interval of what lies above the unavoidable [t]."""
    spans = [(hour, hour + _HOUR) for hour in hours["hour"]]
    return with_microbes(with_bounds(hours), findings, spans)


def total_lost(hours: pl.DataFrame, findings: pl.DataFrame) -> dict[str, Any] | None:
    """All of some hours together; None where none is known.

    Returns
    -------
    dict or None
        As ``models.account.pooled`` sums, with excess_t, excess_low_t and excess_high_t [t] that
        hold what microbes ate.
    """
    known = hours.drop_nulls("excess_t")
    if known.is_empty():
        return None
    row = with_bounds(pooled(known)).row(0, named=True)
    ends = ("excess_t", "excess_low_t", "excess_high_t")
    eaten = [microbes_within(findings, *span) for span in _stretches(known["hour"])]
    sums = [sum(getattr(part, name) for part in eaten) for name in ("value", "low", "high")]
    both = joined(Estimate(*(row[name] for name in ends)), Estimate(*sums))
    return row | dict(zip(ends, (both.value, both.low, both.high), strict=True))


def _stretches(hours: pl.Series) -> list[tuple[Any, Any]]:
    """Hours that follow each other, as stretches."""
    begun: list[tuple[Any, Any]] = []
    for hour in hours.sort():
        if begun and begun[-1][1] == hour:
            begun[-1] = (begun[-1][0], hour + _HOUR)
        else:
            begun.append((hour, hour + _HOUR))
    return begun
