"""The small chart of a finding in the nightly report: what moved, and what it cost.

Two panels on one time axis: the signal that carries the cause, and the loss of the station. One
drawing serves the screen, the phone and the printed page.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.charts import (
    BLUE,
    Drawing,
    Panel,
    Series,
    Size,
    draw,
    in_hours,
    stack,
    told,
)
from pipeline.report.chart_hours import time_axis
from pipeline.report.days import MICROBES
from pipeline.report.finding_chart import (
    drawn_zone,
    heat_styles,
    loss_panel,
    ph_panel,
    scope_vessel,
)
from pipeline.report.lab_panels import lactic_panel
from pipeline.report.scope import Scope, chart_window, data_bounds, lines_of
from pipeline.report.tables import FindingRow
from pipeline.report.view import ReportView, vessel_kinds
from pipeline.words import chart_offset, clocks_change, joined, said, section_words

TILE: Final = Size("tile", 245, 50, 10, 220, 2, 3, "horizontal")
_LIMED: Final = frozenset({"low_limed_ph", "ph_probe_high"})
_FALL: Final = frozenset(
    {
        *("clear_probe_low", "short_circuiting", "late_lime_reaction"),
        *("settler_infection", "invert_destruction"),
    }
)
_LONGER_STAY: Final = frozenset({"standing_juice", "tank_held", "mud_held"})


@dataclass(frozen=True, slots=True)
class _Drawn:
    scope: Scope
    section: str
    where: str


def finding_tile(view: ReportView, row: FindingRow, prefix: str) -> Drawing:
    """Draw the small chart of one finding.

    Parameters
    ----------
    view : ReportView
        Minute and laboratory frames are read from here.
    row : FindingRow
        The finding.
    prefix : str
        Makes names inside the drawing unique on the page.
    """
    window = chart_window(row.started, row.ended, data_bounds(view))
    zone = ZoneInfo(view.zone)
    shift_ms = round(chart_offset(window[0], zone).total_seconds() * 1000)
    section = drawn_zone(view, row.section, window)
    scope = Scope(view, section, window, shift_ms, TILE)
    drawn = _Drawn(scope, section, section_words(section, vessel_kinds(view)))
    cause = row.code
    panels = [_carrier(cause, drawn)] if _carrier_of(cause) else []
    panels += [] if cause == MICROBES else [_station_loss(scope)]
    shown = [panel for panel in panels if not panel.empty]
    if not shown:
        return Drawing(note=said("No chart: there are no readings for these hours."))
    axis = time_axis(view, window, (row.started, row.ended), shift_ms)
    label = said(
        "{name}, {where}, {when}: {title}",
        name=row.cause.name,
        where=row.where,
        when=row.when,
        title=joined("; ", (p.title for p in shown)),
    )
    absent = [panel.title for panel in panels if panel.empty]
    text = (
        [said("Not drawn, no readings: {absent}.", absent=joined("; ", absent))] if absent else []
    )
    if clocks_change(*window, zone):
        text.append(said("The clocks changed; the chart keeps the time of its left edge."))
    text += [known] if (known := told(in_hours(view.known, *window))) else []
    return Drawing(
        draw(stack(shown, axis, TILE), prefix, label, view.tongue), None, joined(" ", text)
    )


def _station_loss(scope: Scope) -> Panel:
    minutes = scope.minutes(scope.view.zone_minutes)
    return replace(loss_panel(scope, minutes), title=said("Sucrose lost, station [kg/h]"))


def _carrier_of(cause: str) -> Callable[[_Drawn], Panel] | None:
    """Panel of the signal that carries a cause; None for a cause that no signal carries."""
    if cause in _LIMED:
        return _limed_ph
    if cause in _LONGER_STAY:
        return _residence
    if cause in _FALL:
        return _clear_ph
    return {"overheating": _temperature, "slow_throughput": _feed, MICROBES: _lactic}.get(cause)


def _carrier(cause: str, drawn: _Drawn) -> Panel:
    made = _carrier_of(cause)
    return Panel("", ()) if made is None else made(drawn)


def _limed_ph(drawn: _Drawn) -> Panel:
    return _one_ph(drawn, "limed", said("Limed juice, pH (dots: laboratory)"), slice(0, 1))


def _clear_ph(drawn: _Drawn) -> Panel:
    return _one_ph(drawn, "clear", said("Clear juice, pH (dots: laboratory)"), slice(1, 2))


def _one_ph(drawn: _Drawn, juice: str, title: str, target: slice) -> Panel:
    whole = ph_panel(drawn.scope, vessel_kinds(drawn.scope.view))
    names = {f"{juice}, as read": said("as read"), f"{juice}, corrected": said("corrected")}
    return replace(
        whole,
        title=title,
        series=[replace(s, name=names[s.name]) for s in whole.series if s.name in names],
        dots=[d for d in whole.dots if d.name.startswith(juice)],
        levels=whole.levels[target],
        dots_told=False,
    )


def _residence(drawn: _Drawn) -> Panel:
    lines = lines_of(
        _zone(drawn), {"residence_min": Series(said("residence"), (), BLUE)}, drawn.scope
    )
    return Panel(said("Residence time, {where} [min]", where=drawn.where), lines, from_zero=True)


def _temperature(drawn: _Drawn) -> Panel:
    lines = lines_of(_zone(drawn), heat_styles(drawn.scope, "temp"), drawn.scope)
    vessel = scope_vessel(drawn.scope)
    target = [] if vessel is None or ":" in drawn.section else [vessel.temp_degc]
    title = said("Temperature, {where} [°C]", where=drawn.where)
    return Panel(title, lines, levels=target, least_span=4.0)


def _feed(drawn: _Drawn) -> Panel:
    scope = drawn.scope
    minutes = scope.minutes(scope.view.station_minutes)
    lines = lines_of(minutes, {"flow_feed_m3_h": Series(said("feed"), (), BLUE)}, scope)
    station = scope.view.station
    target = [] if station is None else [station.targets.flow_feed_m3_h]
    return Panel(said("Juice fed [m³/h]"), lines, levels=target, from_zero=True)


def _lactic(drawn: _Drawn) -> Panel:
    return lactic_panel(drawn.scope)


def _zone(drawn: _Drawn) -> pl.DataFrame | None:
    frame = drawn.scope.minutes(drawn.scope.view.zone_minutes)
    return None if frame is None else frame.filter(pl.col("zone") == drawn.section)
