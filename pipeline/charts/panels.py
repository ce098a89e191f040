"""Small panels that share one time axis: the parts a finding's chart is stacked from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt

from pipeline.charts.datasets import Datasets
from pipeline.charts.known import layers
from pipeline.charts.shapes import (
    DOTS,
    GREY,
    INK,
    SHADE,
    VERMILION,
    WIDE,
    Dots,
    Panel,
    Series,
    Size,
    TimeAxis,
    value_range,
)

_T = "t:T"


def _rows(items: Sequence[Series] | Sequence[Dots]) -> list[dict[str, Any]]:
    return [
        {"t": t, "v": None if v is None else float(f"{v:.5g}"), "s": item.name}
        for item in items
        for t, v in item.points
    ]


def _legend(size: Size, panel: Panel) -> alt.Legend | None:
    if not panel.told or len(panel.series) + (len(panel.dots) if panel.dots_told else 0) < 2:
        return None
    return alt.Legend(
        title=None,
        orient="top",
        direction="horizontal",
        columns=size.legend_columns,
        symbolType="stroke",
        symbolSize=500,
        symbolStrokeWidth=2,
        labelLimit=240,
        offset=2,
        rowPadding=1,
        columnPadding=26,
    )


def _x(axis: TimeAxis, size: Size, labelled: bool) -> alt.X:
    label = (
        "utchours(datum.value) == 0 && utcminutes(datum.value) == 0"
        " ? utcFormat(datum.value, '%a %e %b') : utcFormat(datum.value, '%H:%M')"
    )
    return alt.X(
        _T,
        scale=axis.scale(),
        axis=alt.Axis(
            title=None,
            labels=labelled,
            ticks=labelled,
            labelExpr=label,
            values=axis.ticks(size),
            grid=True,
        ),
    )


def _y(panel: Panel) -> alt.Y:
    return alt.Y(
        "v:Q",
        scale=alt.Scale(domain=list(value_range(panel)), nice=False, zero=False),
        axis=alt.Axis(title=None, tickCount=4, minExtent=44, maxExtent=44),
    )


def _shade(axis: TimeAxis, data: Datasets) -> list[alt.Chart]:
    start, end = axis.shaded
    area = (
        data.add([{"t": start, "u": end}])
        .mark_rect(color=SHADE, clip=True)
        .encode(x=alt.X(_T, scale=axis.scale()), x2="u:T")
    )
    edges = [{"t": t} for t in axis.shaded if axis.window[0] < t < axis.window[1]]
    rule = data.add(edges).mark_rule(color=GREY, strokeDash=list(DOTS), strokeWidth=1)
    return [area, rule.encode(x=alt.X(_T, scale=axis.scale()))]


def _between(panel: Panel, x: alt.X, y: alt.Y, data: Datasets) -> list[alt.Chart]:
    """Fill between two series where the first lies above the second."""
    if panel.between is None:
        return []
    by_name = {item.name: dict(item.points) for item in panel.series}
    upper, lower = (by_name.get(name, {}) for name in panel.between)
    rows = [
        {"t": t, "v": low, "w": None if low is None or top is None else max(low, top)}
        for t, top in upper.items()
        for low in (lower.get(t),)
    ]
    fill = data.add(rows).mark_area(color=VERMILION, opacity=0.3, clip=True)
    return [fill.encode(x=x, y=y, y2="w:Q")]


def panel_chart(
    panel: Panel, axis: TimeAxis, size: Size, data: Datasets, *, labelled: bool, lettered: bool
) -> alt.LayerChart:
    """Build one panel.

    Parameters
    ----------
    panel : Panel
        What to draw; must not be empty.
    axis : TimeAxis
        Shared time axis, plant-local milliseconds.
    size : Size
        Size of the drawing [px].
    data : Datasets
        Collects the rows.
    labelled : bool
        Whether this panel carries the labels of the time axis (the lowest of a stack does).
    lettered : bool
        Whether it carries the letters of what was known (the highest one does).
    """
    x, y = _x(axis, size, labelled), _y(panel)
    names = [item.name for item in panel.series]
    lines = (
        data.add(_rows(panel.series))
        .mark_line(clip=True, invalid="break-paths-show-path-domains", strokeJoin="round")
        .encode(
            x=x,
            y=y,
            color=alt.Color(
                "s:N",
                scale=alt.Scale(domain=names, range=[item.color for item in panel.series]),
                legend=_legend(size, panel),
            ),
            strokeDash=alt.StrokeDash(
                "s:N",
                scale=alt.Scale(domain=names, range=[list(item.dash) for item in panel.series]),
            ),
            strokeWidth=alt.StrokeWidth(
                "s:N",
                scale=alt.Scale(
                    type="ordinal", domain=names, range=[item.width for item in panel.series]
                ),
                legend=None,
            ),
        )
    )
    levels = data.add([{"v": v} for v in panel.levels]).mark_rule(
        color=GREY, strokeDash=list(DOTS), strokeWidth=1, clip=True
    )
    drawn: list[Any] = [*_shade(axis, data), *_between(panel, x, y, data)]
    drawn += [levels.encode(y=y)] if panel.levels else []
    drawn += [lines] if panel.series else []
    drawn += _dot_layers(panel, (x, y), size, data)
    drawn += layers(axis.known, axis.scale(), data, lettered=lettered)
    title = alt.TitleParams(panel.title, anchor="start", frame="group", fontSize=size.font + 1)
    return alt.LayerChart(layer=drawn, width=size.width, height=size.height, title=title)


def _dot_layers(
    panel: Panel, xy: tuple[alt.X, alt.Y], size: Size, data: Datasets
) -> list[alt.Chart]:
    shown = [item for item in panel.dots if item.points]
    if not shown:
        return []
    names = [item.name for item in shown]
    legend = (
        alt.Legend(
            title=None,
            orient="top",
            direction="horizontal",
            columns=size.legend_columns,
            labelLimit=240,
            symbolStrokeWidth=1.6,
            columnPadding=26,
            offset=2,
        )
        if panel.dots_told
        else None
    )
    return [
        data.add(_rows(shown))
        .mark_point(size=34, filled=False, strokeWidth=1.6, clip=True)
        .encode(
            x=xy[0],
            y=xy[1],
            shape=alt.Shape(
                "s:N",
                scale=alt.Scale(domain=names, range=[item.shape for item in shown]),
                legend=legend,
            ),
            stroke=alt.Stroke(
                "s:N",
                scale=alt.Scale(domain=names, range=[item.color for item in shown]),
                legend=legend,
            ),
        )
    ]


def stack(panels: Sequence[Panel], axis: TimeAxis, size: Size) -> dict[str, Any]:
    """Stack panels over one time axis and give the specification ready to be drawn."""
    last = len(panels) - 1
    data = Datasets()
    charts = [
        panel_chart(p, axis, size, data, labelled=size.across > 1 or i == last, lettered=i == 0)
        for i, p in enumerate(panels)
    ]
    own = dict.fromkeys(("color", "stroke", "shape", "strokeDash", "strokeWidth"), "independent")
    stacked = {
        "concat": [_part(chart) for chart in charts],
        "columns": size.across,
        "spacing": 12,
        "resolve": {"scale": own},
    }
    return finish(stacked, size, data)


def _part(chart: alt.LayerChart) -> dict[str, Any]:
    """Specification of a chart that becomes part of another one."""
    spec: dict[str, Any] = chart.to_dict(validate=False)
    return {name: value for name, value in spec.items() if name not in ("$schema", "config")}


def finish(part: dict[str, Any], size: Size, data: Datasets) -> dict[str, Any]:
    """Add rows and the look common to all charts: the specification is complete."""
    look = alt.Config(
        background="white",
        font="sans-serif",
        padding=2,
        axis=alt.AxisConfig(
            labelFontSize=size.font,
            labelColor=INK,
            gridColor="#dedede",
            domainColor=GREY,
            tickColor=GREY,
            gridDash=[1, 2],
        ),
        legend=alt.LegendConfig(labelFontSize=size.font, labelColor=INK, padding=0),
        view=alt.ViewConfig(stroke="#bdbdbd"),
        title=alt.TitleConfig(color=INK, fontWeight="bold", offset=6),
    )
    config: dict[str, Any] = look.to_dict(validate=False)
    # Altair has no words for the placing of several legends, so it is written out.
    config["legend"]["layout"] = {
        "top": {
            "margin": 30 if size is WIDE else 6,
            "direction": size.legends,
            "anchor": "start",
            "center": size is WIDE,
        }
    }
    return part | {"$schema": alt.SCHEMA_URL, "config": config, "datasets": data.rows}


def single(chart: alt.LayerChart, size: Size, data: Datasets) -> dict[str, Any]:
    """Give the specification of a chart that stands alone."""
    return finish(_part(chart), size, data)
