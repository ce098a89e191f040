"""Hours of a report without a single reading, and the tags that lacked longest."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

import polars as pl

from pipeline.base import Window
from pipeline.lake import GRID, lake_of
from pipeline.mill import Mill
from pipeline.report import Gap
from pipeline.words import clean, duration_words, joined, said, span_words

#: Shorter silences belong to the health of the data.
_LEAST: Final = timedelta(hours=1)
_NAMED: Final = 3
_MINUTE: Final = timedelta(minutes=1)


def hours_without_readings(mill: Mill, period: Window) -> list[Gap]:
    """Tell of hours in which all tags of the station were silent at once.

    The mill's usual value stands in for each of them, so their sums look like any other's.

    Parameters
    ----------
    period : Window
        What the report covers.
    """
    holes = _holes(mill, period)
    if not holes:
        return []
    holes.sort(key=lambda hole: (hole[0] - hole[1], hole[0]))
    named = sorted(holes[:_NAMED])
    text = joined(
        "; ",
        (
            said(
                "{span_words} ({duration_words})",
                span_words=span_words(a, b, mill.tz),
                duration_words=duration_words(b - a),
            )
            for a, b in named
        ),
    )
    rest = (
        said("; and {holes} shorter spells", holes=len(holes) - _NAMED)
        if len(holes) > _NAMED
        else ""
    )
    why = said(
        "{text}{rest}. No tag of the station was read, so the mill's usual values"
        " stand in: sums of these hours say nothing of what was really lost. Pull"
        " the missing exports.",
        text=text,
        rest=rest,
    )
    return [Gap(said("Hours without a single reading"), why)]


def tags_lacking(mill: Mill, period: Window) -> list[tuple[str, int]]:
    """Tags without a reading that counts, and for how many minutes of a period, longest first."""
    grid, names = _grid(mill, period)
    if not names:
        return []
    lacking = grid.select(pl.col(names).is_null().sum()).row(0, named=True)
    tags = {s.name: s.tag for s in mill.station.signals}
    found = [(clean(tags[name], 40), int(minutes)) for name, minutes in lacking.items() if minutes]
    return sorted(found, key=lambda item: (-item[1], item[0]))


def _grid(mill: Mill, period: Window) -> tuple[pl.DataFrame, list[str]]:
    """Minutes of a period, and the signals among their columns that are followed."""
    grid = lake_of(mill).read_features(GRID, *period.days)
    # A second instrument does not stand in for the one that counts.
    followed = [s.name for s in mill.station.signals if not s.beside]
    names = [name for name in followed if name in grid.columns]
    if names:
        grid = grid.filter(pl.col("ts_utc").is_between(period.start, period.end, closed="left"))
    return grid, names


def _holes(mill: Mill, period: Window) -> list[tuple[datetime, datetime]]:
    grid, names = _grid(mill, period)
    if not names:
        return []
    silent = grid.filter(pl.all_horizontal(pl.col(names).is_null())).select("ts_utc")
    # A new spell begins where the minute before was not silent.
    spells = (
        silent.with_columns(spell=(pl.col("ts_utc").diff() > _MINUTE).fill_null(value=True))
        .with_columns(pl.col("spell").cum_sum())
        .group_by("spell")
        .agg(start=pl.col("ts_utc").min(), end=pl.col("ts_utc").max() + _MINUTE)
        .filter(pl.col("end") - pl.col("start") >= _LEAST)
    )
    return [(row["start"], row["end"]) for row in spells.to_dicts()]
