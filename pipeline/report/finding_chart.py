"""The chart of one finding: a stack of panels on one time axis."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

import polars as pl
from markupsafe import Markup

from features.base import Vessel, grabs
from features.flow import zone_temperature_source
from pipeline.charts import (
    BLUE,
    DASH,
    GREY,
    INK,
    LONG_DASH,
    NARROW,
    PAPER,
    SOLID,
    VERMILION,
    WIDE,
    Dots,
    Drawing,
    Panel,
    Point,
    Series,
    bucket_means,
    draw,
    in_hours,
    stack,
    told,
)
from pipeline.report.chart_hours import time_axis
from pipeline.report.lab_panels import microbial_panels
from pipeline.report.scope import Scope, chart_window, data_bounds, lines_of
from pipeline.report.view import ReportView, vessel_kinds
from pipeline.words import chart_offset, clocks_change, joined, said, section_words

_LIMED_PLACES = frozenset({"liming_tank"})
_CLEAR_PLACES = frozenset({"settler"})
_LIME_KIND, _CLEAR_KIND = "liming_tank", "settler"


def finding_chart(
    view: ReportView,
    section: str,
    started: datetime,
    ended: datetime,
    prefix: str,
    label: str,
    *,
    microbes: bool = False,
) -> Drawing:
    """Draw pH, temperature, residence time and loss rate around one finding.

    Of one by microbes, what tells of them: temperature and the laboratory's lactic acid and pol.

    Parameters
    ----------
    view : ReportView
        Minute and laboratory frames are read from here.
    section : str
        Zone of the finding; for ``train`` the zone that lost most above its target is drawn.
    started, ended : datetime
        Shaded period, UTC.
    prefix : str
        Makes names inside the drawing unique on the page.
    label : str
        What the chart shows, for readers who hear the page.
    microbes : bool
        Draw what tells of microbes.
    """
    window = chart_window(started, ended, data_bounds(view))
    offset = chart_offset(window[0], ZoneInfo(view.zone))
    shift_ms = round(offset.total_seconds() * 1000)
    axis = time_axis(view, window, (started, ended), shift_ms)
    zone = drawn_zone(view, section, window)
    drawn: list[Markup] = []
    absent: list[str] = []
    for size in (WIDE, NARROW, PAPER):
        scope = Scope(view, zone, window, shift_ms, size)
        made = [_temperature(scope), *microbial_panels(scope)] if microbes else _panels(scope)
        shown = [panel for panel in made if not panel.empty]
        absent = [panel.title for panel in made if panel.empty]
        if not shown:
            return Drawing(note=said("No minute data for these hours: no chart could be drawn."))
        drawn.append(draw(stack(shown, axis, size), f"{prefix}-{size.name}", label, view.tongue))
    return Drawing(drawn[0], drawn[1], _missing_words(view, window, absent), drawn[2])


def _missing_words(
    view: ReportView, window: tuple[datetime, datetime], absent: Sequence[str]
) -> str:
    text = (
        [said("Not drawn, because no readings exist: {absent}.", absent=joined("; ", absent))]
        if absent
        else []
    )
    if view.zone_minutes is not None and not has_judged_loss(view.station_minutes):
        zones = view.zone_minutes.filter(pl.col("ts_utc").is_between(*window, closed="left"))
        names = [section_words(zone, vessel_kinds(view)) for zone in silent_zones(zones)]
        text += (
            [said("The loss rate leaves out {names}: no readings.", names=joined(", ", names))]
            if names
            else []
        )
    if clocks_change(*window, ZoneInfo(view.zone)):
        text.append(
            said("The clocks changed in these hours; the chart keeps the time of its left edge.")
        )
    text += [known] if (known := told(in_hours(view.known, *window))) else []
    return joined(" ", text)


def drawn_zone(view: ReportView, section: str, window: tuple[datetime, datetime]) -> str:
    """Zone to draw: that of the finding, or the one that lost most above its target."""
    frame = view.zone_minutes
    if frame is None or section in frame["zone"]:
        return section
    excess = (
        frame.filter(pl.col("ts_utc").is_between(*window, closed="left"))
        .group_by("zone")
        .agg((pl.col("loss_kg_h") - pl.col("loss_ref_kg_h")).sum().alias("excess"))
        .sort("excess", "zone", descending=[True, False])
    )
    return section if excess.is_empty() else str(excess["zone"][0])


def _panels(scope: Scope) -> list[Panel]:
    kinds = vessel_kinds(scope.view)
    zones = scope.minutes(scope.view.zone_minutes)
    zone = None if zones is None else zones.filter(pl.col("zone") == scope.section)
    where = section_words(scope.section, kinds)
    residence = lines_of(zone, {"residence_min": Series(said("residence"), (), BLUE)}, scope)
    return [
        ph_panel(scope, kinds),
        _temperature(scope),
        Panel(said("Residence time, {where} [min]", where=where), residence, from_zero=True),
        loss_panel(scope, zones),
    ]


def _temperature(scope: Scope) -> Panel:
    zones = scope.minutes(scope.view.zone_minutes)
    zone = None if zones is None else zones.filter(pl.col("zone") == scope.section)
    vessel = scope_vessel(scope)
    target = [vessel.temp_degc] if vessel is not None and ":" not in scope.section else []
    title = said(
        "Temperature, {section_words} [°C]",
        section_words=section_words(scope.section, vessel_kinds(scope.view)),
    )
    lines = lines_of(zone, heat_styles(scope, said("temperature")), scope)
    return Panel(title, lines, levels=target, least_span=4.0)


def heat_styles(scope: Scope, name: str) -> dict[str, Series]:
    """Line of a vessel's temperature; none where only its target is known."""
    station = scope.view.station
    vessel = scope.section.partition(":")[0]
    if station is not None and any(v.name == vessel for v in station.vessels):
        told = zone_temperature_source(station, scope.section).told
        return {} if told == "target" else {"temp_degc": Series(name, (), VERMILION)}
    return {"temp_degc": Series(name, (), VERMILION)}


def scope_vessel(scope: Scope) -> Vessel | None:
    """Vessel of the section drawn, if it is one."""
    station = scope.view.station
    vessels = () if station is None else station.vessels
    return next((v for v in vessels if v.name == scope.section), None)


def ph_panel(scope: Scope, kinds: Mapping[str, str]) -> Panel:
    """Limed and clear pH as read and corrected, with laboratory grabs and targets."""
    styles = {
        "ph_limed": Series(said("limed, as read"), (), BLUE, SOLID, 1.4),
        "ph_clear": Series(said("clear, as read"), (), VERMILION, DASH, 1.4),
        "ph_limed_corrected": Series(said("limed, corrected"), (), INK, LONG_DASH, 2.2),
        "ph_clear_corrected": Series(said("clear, corrected"), (), GREY, LONG_DASH, 2.2),
    }
    limed = _LIMED_PLACES | {name for name, kind in kinds.items() if kind == _LIME_KIND}
    clear = _CLEAR_PLACES | {name for name, kind in kinds.items() if kind == _CLEAR_KIND}
    dots = [
        Dots(said("limed, laboratory"), grabs_of(scope, limed), BLUE, "circle"),
        Dots(said("clear, laboratory"), grabs_of(scope, clear), VERMILION, "diamond"),
    ]
    station = scope.view.station
    targets = () if station is None else (station.targets.ph_limed, station.targets.ph_clear)
    minutes = scope.minutes(scope.view.station_minutes)
    lines = lines_of(minutes, styles, scope)
    return Panel(
        said("pH (cooled-sample basis)"),
        lines,
        [d for d in dots if d.points],
        targets,
        least_span=0.8,
    )


def grabs_of(scope: Scope, places: frozenset[str]) -> list[Point]:
    """Laboratory pH of some places."""
    lab = scope.minutes(scope.view.lab)
    if lab is None:
        return []
    there = (pl.col("analyte") == "ph") & pl.col("place").is_in(sorted(places))
    kept = grabs(lab).filter(there).drop_nulls("value")
    times = kept["ts_utc"].dt.epoch("ms").to_list()
    return scope.local(list(zip(times, kept["value"].to_list(), strict=True)))


def silent_zones(zones: pl.DataFrame) -> list[str]:
    """Zones whose loss could not be computed in a single minute of the frame."""
    empty = zones.group_by("zone").agg(pl.col("loss_kg_h").count().alias("n"))
    return sorted(empty.filter(pl.col("n") == 0)["zone"].to_list())


def has_judged_loss(station_minutes: pl.DataFrame | None) -> bool:
    """Tell whether the station's minutes carry the loss with multiplier and corrected pH."""
    held = () if station_minutes is None else station_minutes.columns
    return {"loss_kg_h", "unavoidable_kg_h"} <= set(held)


def _station_loss(scope: Scope, zones: pl.DataFrame | None) -> pl.DataFrame | None:
    """Loss and unavoidable loss of the whole station [kg/h] by minute."""
    minutes = scope.minutes(scope.view.station_minutes)
    if minutes is not None and has_judged_loss(minutes):
        return minutes.select("ts_utc", "loss_kg_h", "unavoidable_kg_h")
    if zones is None:
        return None
    factor = 1.0 if scope.view.multiplier is None else scope.view.multiplier.value
    spoken = zones.filter(~pl.col("zone").is_in(silent_zones(zones)))
    # A minute with one zone missing would look like a dip in the loss: leave it out.
    return spoken.group_by("ts_utc").agg(
        pl.when(pl.col(name).null_count() == 0).then(pl.col(name).sum() * factor).alias(text)
        for name, text in (("loss_kg_h", "loss_kg_h"), ("loss_ref_kg_h", "unavoidable_kg_h"))
    )


def loss_panel(scope: Scope, zones: pl.DataFrame | None) -> Panel:
    """Loss rate of the whole station: a cause in one vessel also moves the others."""
    title = said("Sucrose lost, whole station [kg/h]")
    whole = _station_loss(scope, zones)
    if whole is None:
        return Panel(title, ())
    points = scope.size.points // 2
    series = [
        Series(name, scope.local(bucket_means(whole, column, scope.utc, points)), color, dash)
        for column, name, color, dash in (
            ("loss_kg_h", said("lost"), INK, SOLID),
            ("unavoidable_kg_h", said("unavoidable"), BLUE, DASH),
        )
    ]
    return Panel(title, series, from_zero=True, between=(said("lost"), said("unavoidable")))
