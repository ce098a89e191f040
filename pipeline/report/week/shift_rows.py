"""The week by day and shift, on one scale; a shift better than at the targets is drawn as such."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import polars as pl
from markupsafe import Markup

from models.account import pooled, with_bounds
from pipeline.charts import bar
from pipeline.report.days import days_with_microbes, joined, microbes_within, with_microbes
from pipeline.report.view import Estimate, WeekView
from pipeline.words import against_targets, day_words, figure, said

_NAMES = ("excess_t", "excess_low_t", "excess_high_t")


@dataclass(frozen=True, slots=True)
class Cell:
    """Loss of a shift or a day, with its bar; `thin` says when hours lack."""

    mass: str
    bar: Markup
    thin: str


@dataclass(frozen=True, slots=True)
class DayRow:
    """A day of the week: its shifts in order, and the day."""

    day: str
    cells: tuple[Cell, ...]
    whole: Cell


def day_rows(view: WeekView) -> list[DayRow] | None:
    """The week by day and shift, microbes included; None when no shifts were given."""
    held = _shifts(view)
    if held is None:
        return None
    season = view.report.season
    inside = pl.col("day_local").is_between(view.first, view.last)
    by_day = {}
    if season is not None:
        whole = days_with_microbes(season.filter(inside), view.known, view.report.zone)
        by_day = {row["day_local"]: row for row in whole.to_dicts()}
    by_shift = {(row["day"], row["order"]): row for row in held.to_dicts()}
    sizes = [row["excess_t"] or 0.0 for row in (*by_shift.values(), *by_day.values())]
    ends = (max([0.0, *sizes]), min([0.0, *sizes]))
    days = [view.first + timedelta(days=n) for n in range((view.last - view.first).days + 1)]
    return [
        DayRow(
            day_words(day, view.last.year),
            tuple(
                _cell(by_shift.get((day, n)), ends, length)
                for n, length in enumerate(view.shift_minutes)
            ),
            _cell(by_day.get(day), ends, sum(view.shift_minutes)),
        )
        for day in days
    ]


def _shifts(view: WeekView) -> pl.DataFrame | None:
    """Sums of the week's shifts with what microbes ate in them."""
    if view.shifts is None:
        return None
    held = view.shifts.filter(pl.col("day").is_between(view.first, view.last))
    return with_microbes(held, view.known, _spans(held))


def _spans(held: pl.DataFrame) -> list[Any]:
    return list(held.select("started", "ended").iter_rows())


def _cell(row: dict[str, Any] | None, ends: tuple[float, float], length: int) -> Cell:
    if row is None or not row.get("minutes", length):
        return Cell(said("not computed"), Markup(""), "")
    mass = against_targets(*(row[name] for name in _NAMES))
    share = 100.0 * row.get("minutes", length) / length
    thin = said("{share} % of its hours", share=figure(share, ".0f")) if share < 95 else ""
    drawn = bar(row["excess_t"], ends[0], least=ends[1])
    return Cell(mass, drawn, thin or _unread(row, length))


def _unread(row: dict[str, Any], length: int) -> str:
    """Say when a sum rests on the mill's usual values rather than on readings."""
    read = 100.0 * row.get("measured", length) / length
    return said("{read} % with all readings", read=figure(read, ".0f")) if read < 90 else ""


def shift_totals(view: WeekView) -> list[str]:
    """Sum of each shift over the week."""
    if view.shifts is None:
        return []
    held = view.shifts.filter(pl.col("day").is_between(view.first, view.last))
    sums = {row["order"]: row for row in with_bounds(pooled(held, ["order"])).to_dicts()}
    told = []
    for n in range(len(view.shift_names)):
        if n not in sums:
            told.append(said("not computed"))
            continue
        by_kinetics = Estimate(*(sums[n][name] for name in _NAMES))
        spans = _spans(held.filter(pl.col("order") == n))
        eaten = [microbes_within(view.known, *span) for span in spans]
        ends = (sum(getattr(e, name) for e in eaten) for name in ("value", "low", "high"))
        both = joined(by_kinetics, Estimate(*ends))
        told.append(against_targets(both.value, both.low, both.high))
    return told
