"""Drawings: panels and lines as Vega-Lite charts, turned into SVG."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.charts.bars import bar, hatch
    from pipeline.charts.control_chart import (
        Control,
        Titled,
        control,
        multiplier_days,
        unexplained_days,
    )
    from pipeline.charts.days_strip import (
        NARROW_STRIP,
        WIDE_STRIP,
        DayBar,
        Lane,
        StripSize,
        strip,
    )
    from pipeline.charts.decimate import Point, Window, bucket_means, envelope
    from pipeline.charts.known import (
        Known,
        draw_into,
        in_hours,
        letter_of,
        marks_of,
        told,
    )
    from pipeline.charts.panels import stack
    from pipeline.charts.season import season_chart
    from pipeline.charts.shapes import (
        BLUE,
        DASH,
        GREY,
        INK,
        LONG_DASH,
        NARROW,
        PAPER,
        SHADE,
        SOLID,
        VERMILION,
        WIDE,
        Dots,
        Mark,
        Panel,
        Series,
        Size,
        TimeAxis,
    )
    from pipeline.charts.small import trace
    from pipeline.charts.svg import Drawing, draw
else:
    __getattr__ = handed_out(__name__, __file__)
