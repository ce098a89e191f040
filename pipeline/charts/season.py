"""The season's loss, day by day: unavoidable and above."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, tzinfo
from typing import Any

import altair as alt
import polars as pl

from pipeline.charts.datasets import Datasets
from pipeline.charts.known import (
    DAY_MS,
    Known,
    Mark,
    in_days,
    layers,
    marks_of,
    plant_clock,
    told,
)
from pipeline.charts.panels import single
from pipeline.charts.shapes import INK, NARROW, VERMILION, WIDE, Size
from pipeline.charts.svg import Drawing, draw
from pipeline.tongue import ENGLISH, Tongue
from pipeline.words import said


def season_chart(
    season: pl.DataFrame,
    label: str,
    known: Sequence[Known] = (),
    zone: tzinfo = UTC,
    tongue: Tongue = ENGLISH,
) -> Drawing:
    """Draw the unavoidable and the excess loss of every day, stacked, with its interval.

    A day that lost less than the unavoidable is drawn as a shorter bar with nothing on top.

    Parameters
    ----------
    season : polars.DataFrame
        day_local, unavoidable_t, excess_t, excess_low_t, excess_high_t [t].
    label : str
        What the chart shows, for readers who hear the page.
    known : sequence of Known
        What was noted of hours of the season.
    zone : tzinfo
        Of the plant.
    """
    total = pl.col("unavoidable_t") + pl.col("excess_t")
    rows = (
        season.drop_nulls(["day_local", "unavoidable_t", "excess_t"])
        .sort("day_local")
        .select(
            pl.col("day_local").cast(pl.Date).cast(pl.Datetime("ms")).dt.epoch("ms").alias("t"),
            pl.min_horizontal("unavoidable_t", total).round(4).alias("base"),
            total.round(4).alias("top"),
            (pl.col("unavoidable_t") + pl.col("excess_low_t")).round(4).alias("low"),
            (pl.col("unavoidable_t") + pl.col("excess_high_t")).round(4).alias("high"),
        )
        .to_dicts()
    )
    if not rows:
        return Drawing(note=said("No day of the season could be computed."))
    shown = in_days(known, (rows[0]["t"], rows[-1]["t"] + DAY_MS), zone)
    marks = marks_of(shown, plant_clock(zone))
    drawn = [
        draw(_season_spec(rows, size, marks), f"season-{size.name}", label, tongue)
        for size in (WIDE, NARROW)
    ]
    return Drawing(drawn[0], drawn[1], told(shown))


def _season_spec(rows: list[dict[str, Any]], size: Size, marks: Sequence[Mark]) -> dict[str, Any]:
    day_ms = DAY_MS
    domain = [rows[0]["t"], rows[-1]["t"] + day_ms]
    days = max(1, (domain[1] - domain[0]) // day_ms)
    gap = 0.14 * day_ms
    for row in rows:
        row |= {"a": row["t"] + gap, "b": row["t"] + day_ms - gap, "m": row["t"] + day_ms // 2}
    parts = [
        row | {"lower": lower, "upper": upper, "s": name}
        for row in rows
        for name, lower, upper in (
            (said("unavoidable"), 0.0, row["base"]),
            (said("above the unavoidable"), row["base"], row["top"]),
        )
        if upper > lower
    ]
    scale = alt.Scale(type="utc", domain=domain, nice=False)
    x = alt.X(
        "a:T",
        scale=scale,
        axis=alt.Axis(
            title=None,
            labelExpr="utcFormat(datum.value, '%e %b')",
            values=[
                domain[0] + i * day_ms for i in range(0, days, max(1, -(-days // size.x_ticks)))
            ],
            labelOverlap="greedy",
            labelFlush=False,
            grid=False,
        ),
    )
    y = alt.Y(
        "lower:Q", axis=alt.Axis(title=None, tickCount=5), scale=alt.Scale(domain=_range(rows))
    )
    names = [said("unavoidable"), said("above the unavoidable")]
    color = alt.Color(
        "s:N",
        scale=alt.Scale(domain=names, range=["#d3dbe2", VERMILION]),
        legend=alt.Legend(
            title=None, orient="top", symbolType="square", columnPadding=26, symbolStrokeColor=INK
        ),
    )
    data = Datasets()
    bars = (
        data.add(parts)
        .mark_rect(stroke=INK, strokeWidth=0.5)
        .encode(x=x, x2="b:T", y=y, y2="upper:Q", color=color)
    )
    whisker = (
        data.add(rows).mark_rule(color=INK, strokeWidth=1).encode(x="m:T", y="low:Q", y2="high:Q")
    )
    title = alt.TitleParams(
        said("Sucrose lost a day [t]"), anchor="start", frame="group", fontSize=size.font + 1
    )
    chart = alt.LayerChart(
        layer=[bars, whisker, *layers(marks, scale, data)],
        width=size.width,
        height=190,
        title=title,
    )
    return single(chart, size, data)


def _range(rows: list[dict[str, Any]]) -> list[float]:
    """Range of the axis [t]: every bar and every interval, and zero."""
    ends = [row[name] for row in rows for name in ("top", "low", "high") if row[name] is not None]
    return [min(0.0, *ends), 1.05 * max(ends) or 1.0]
