"""The settling margin in the weekly review: a row a day, and in words what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import polars as pl
from markupsafe import Markup

from pipeline.charts import bar
from pipeline.report.settling import FAST_M_H, SLOW_M_H, settler_of
from pipeline.report.view import WeekView
from pipeline.words import day_words

#: Overflow velocity at half the fastest usual settling rate: full width of a bar [m/h].
_FULL: Final = FAST_M_H / 2


@dataclass(frozen=True, slots=True)
class SettlingRow:
    """A day of the settler."""

    day: str
    mean: str
    top: str
    bar: Markup
    used: str
    margin: str


@dataclass(frozen=True, slots=True)
class Settling:
    """Rows, what they rest on, and why there are none."""

    rows: tuple[SettlingRow, ...]
    basis: str
    lacking: str


def settling(view: WeekView) -> Settling:
    """Settling margin of the days of the week."""
    settler = settler_of(view.report.station)
    if settler is None:
        return Settling((), "", "The description gives no settler with its area (area_m2).")
    frame = view.settling
    if frame is not None:
        frame = frame.filter(pl.col("day").is_between(view.first, view.last))
    if frame is None or frame.is_empty():
        return Settling((), "", "No flow, Brix and temperature of the settler in this week.")
    rows = tuple(_row(row, view.last.year) for row in frame.to_dicts())
    basis = (
        f"Upward velocity of clear juice over {settler.area_m2:g} m2, against half the initial "
        f"settling rate of the juice. No export holds that rate: {SLOW_M_H:g} to {FAST_M_H:g} m/h "
        "is usual at target Brix and temperature, and is put right for the juice of that hour "
        "through its viscosity alone. A batch test narrows the range."
    )
    return Settling(rows, basis, "")


def _row(row: dict[str, float], year: int) -> SettlingRow:
    low, high = 100 * row["used_low"], 100 * row["used_high"]
    left = (100 - high, 100 - low)
    return SettlingRow(
        day_words(row["day"], year),  # type: ignore[arg-type]
        f"{row['overflow_m_h']:.2f} m/h",
        f"{row['top_m_h']:.2f} m/h",
        bar(row["top_m_h"], _FULL),
        f"{low:.0f} to {high:.0f} %",
        f"{left[0]:.0f} to {left[1]:.0f} %",
    )
