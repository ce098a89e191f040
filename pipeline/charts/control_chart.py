"""Control charts: whether kinetics keep their level, and what they leave unexplained.

A day's laboratory results tell the multiplier only roughly, so each day stands with its own
interval, and a mean over seven days, weighted by how well each is known, shows what moves slowly.
A day or a mean three of its own standard errors away is marked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, timedelta, tzinfo
from typing import Any, Final

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
from pipeline.charts.shapes import BLUE, DASH, GREY, INK, NARROW, VERMILION, WIDE, Size
from pipeline.charts.svg import Drawing, draw
from pipeline.tongue import ENGLISH, Tongue
from pipeline.words import said

_Z90: Final = 1.645
_ALARM: Final = 3.0
_DAYS: Final = 7
_MARKED, _INSIDE = said("three standard errors away"), said("a day, with 90 % interval")


@dataclass(frozen=True, slots=True)
class Control:
    """One control chart.

    Attributes
    ----------
    drawing : Drawing
    last : tuple of float or None
        Mean of the last seven days and its standard error.
    marked : tuple of date
        Days that lie three standard errors away.
    moved : bool
        Whether the mean of the last seven days does.
    days : int
        Days with a value.
    """

    drawing: Drawing
    last: tuple[float, float] | None
    marked: tuple[Any, ...]
    moved: bool
    days: int


def multiplier_days(balance: pl.DataFrame, multiplier: float) -> pl.DataFrame:
    """Kinetic multiplier that each day's laboratory results ask for: day, value, sd [1]."""
    per = multiplier / pl.col("kinetic_t")
    return (
        balance.filter(pl.col("kinetic_t") > 0)
        .drop_nulls(["chemical_t", "chemical_sd_t"])
        .select("day", value=pl.col("chemical_t") * per, sd=pl.col("chemical_sd_t") * per)
        .sort("day")
    )


def unexplained_days(balance: pl.DataFrame) -> pl.DataFrame:
    """Loss that chemistry sees and kinetics do not: day, value, sd [t]."""
    held = balance.drop_nulls(["unexplained_t", "chemical_sd_t"])
    return held.select("day", value="unexplained_t", sd="chemical_sd_t").sort("day")


def rolling(days: pl.DataFrame) -> pl.DataFrame:
    """Mean of the seven days up to each day, weighted by what is known: day, mean, sd."""
    rows = []
    for (day,) in days.select("day").rows():
        part = days.filter(pl.col("day").is_between(day - timedelta(days=_DAYS - 1), day))
        weight = 1.0 / part["sd"] ** 2
        total = float(weight.sum())
        rows.append((day, float((weight * part["value"]).sum()) / total, total**-0.5))
    schema = {"day": pl.Date, "mean": pl.Float64, "sd": pl.Float64}
    return pl.DataFrame(rows, schema=schema, orient="row")


@dataclass(frozen=True, slots=True)
class Titled:
    """What a control chart is called, and what was known of its days.

    Attributes
    ----------
    name : str
        Makes names inside the drawing unique on the page.
    title : str
        Heading of the chart, with the unit in brackets.
    label : str
        What the chart shows, for readers who hear the page.
    known : sequence of Known
        What was noted of hours of the season.
    zone : tzinfo
        Of the plant.
    """

    name: str
    title: str
    label: str
    known: Sequence[Known] = ()
    zone: tzinfo = UTC


def control(days: pl.DataFrame, centre: float, titled: Titled, tongue: Tongue = ENGLISH) -> Control:
    """Judge a series of days against its centre and draw it.

    Parameters
    ----------
    days : polars.DataFrame
        day, value, sd.
    centre : float
        What the series should stay near, unit of `days`.
    titled : Titled
    tongue : Tongue
        What it is said in.
    """
    days = days.filter(pl.col("sd") > 0)
    if days.is_empty():
        return Control(Drawing(note=said("No day could be drawn.")), None, (), moved=False, days=0)
    means = rolling(days)
    away = (pl.col("value") - centre).abs() > _ALARM * pl.col("sd")
    last = means.row(-1)
    rows, line = _rows(days.with_columns(away=away)), _line(means)
    ends = (rows[0]["t"] - DAY_MS // 2, rows[-1]["t"] + DAY_MS // 2)
    known = in_days(titled.known, ends, titled.zone)
    marks = marks_of(known, plant_clock(titled.zone))
    drawn = [
        draw(
            _spec(rows, line, (centre, marks), titled.title, size),
            f"{titled.name}-{size.name}",
            titled.label,
            tongue,
        )
        for size in (WIDE, NARROW)
    ]
    return Control(
        Drawing(drawn[0], drawn[1], told(known)),
        (last[1], last[2]),
        tuple(days.filter(away)["day"]),
        moved=abs(last[1] - centre) > _ALARM * last[2],
        days=days.height,
    )


def _at(column: str = "day") -> pl.Expr:
    return pl.col(column).cast(pl.Datetime("ms")).dt.epoch("ms") + DAY_MS // 2


def _rows(days: pl.DataFrame) -> list[dict[str, Any]]:
    half = _Z90 * pl.col("sd")
    shown = pl.when("away").then(pl.lit(_MARKED)).otherwise(pl.lit(_INSIDE))
    return days.select(
        t=_at(),
        v=pl.col("value").round(4),
        lo=(pl.col("value") - half).round(4),
        hi=(pl.col("value") + half).round(4),
        s=shown,
    ).to_dicts()


def _line(means: pl.DataFrame) -> list[dict[str, Any]]:
    return means.select(t=_at(), v=pl.col("mean").round(4)).to_dicts()


def _spec(
    rows: list[dict[str, Any]],
    line: list[dict[str, Any]],
    level: tuple[float, Sequence[Mark]],
    title: str,
    size: Size,
) -> dict[str, Any]:
    data = Datasets()
    centre, marks = level
    first, last = rows[0]["t"] - DAY_MS // 2, rows[-1]["t"] + DAY_MS // 2
    every = max(1, -(-round((last - first) / DAY_MS) // size.x_ticks))
    scale = alt.Scale(type="utc", domain=[first, last], nice=False)
    x = alt.X(
        "t:T",
        scale=scale,
        axis=alt.Axis(
            title=None,
            labelExpr="utcFormat(datum.value, '%e %b')",
            values=list(range(first, last, every * DAY_MS)),
            labelOverlap="greedy",
            grid=False,
        ),
    )
    spread = [row[n] for row in rows for n in ("lo", "hi")] + [centre]
    y = alt.Y(
        "v:Q",
        axis=alt.Axis(title=None, tickCount=5),
        scale=alt.Scale(domain=[min(spread), max(spread)], nice=True, zero=False),
    )
    whisker = data.add(rows).mark_rule(color=GREY, strokeWidth=1).encode(x=x, y="lo:Q", y2="hi:Q")
    # A key explains what is drawn: a mark that no day bears is not in it.
    kinds = [(_INSIDE, "circle", "#ffffff"), (_MARKED, "square", VERMILION)]
    seen = {row["s"] for row in rows}
    names, shapes, fills = zip(*(kind for kind in kinds if kind[0] in seen), strict=True)
    columns = 2 if size is WIDE else 1
    legend = alt.Legend(title=None, orient="top", columns=columns, columnPadding=26, labelLimit=260)
    dots = (
        data.add(rows)
        .mark_point(size=42, filled=True, opacity=1, stroke=INK, strokeWidth=0.8)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape("s:N", scale=alt.Scale(domain=names, range=shapes), legend=legend),
            fill=alt.Fill("s:N", scale=alt.Scale(domain=names, range=fills), legend=legend),
        )
    )
    mean = data.add(line).mark_line(color=BLUE, strokeWidth=2.2).encode(x=x, y=y)
    middle = (
        data.add([{"v": centre}])
        .mark_rule(color=INK, strokeDash=list(DASH), strokeWidth=1)
        .encode(y=y)
    )
    heading = alt.TitleParams(title, anchor="start", frame="group", fontSize=size.font + 1)
    parts = [whisker, middle, mean, dots, *layers(marks, scale, data)]
    chart = alt.LayerChart(layer=parts, width=size.width, height=150, title=heading)
    return single(chart, size, data)
