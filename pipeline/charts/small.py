"""A small trace of one tag, to stand beside what is said of it."""

from __future__ import annotations

from dataclasses import replace

from markupsafe import Markup

from pipeline.charts.decimate import Window
from pipeline.charts.panels import stack
from pipeline.charts.shapes import TRACE, Panel, TimeAxis
from pipeline.charts.svg import draw


def trace(panel: Panel, window: Window, prefix: str, label: str) -> Markup:
    """Draw one panel small, without a legend: the text beside it says what the lines are.

    Parameters
    ----------
    panel : Panel
        What to draw; must not be empty.
    window : tuple of int
        Start and end, milliseconds of the plant's clock.
    prefix, label : str
        As for :func:`draw`.
    """
    axis = TimeAxis(window, (window[0], window[0]))
    bare = replace(panel, told=False, dots_told=False)
    return draw(stack([bare], axis, TRACE), prefix, label)
