"""Strips of what was worked out by hour: loss, stops, sensors, laboratory level, readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Signal
from pipeline.base import ONE_DAY, midnight
from pipeline.desk.address import Shown
from pipeline.desk.axis import Axis
from pipeline.desk.choose import hours_chosen
from pipeline.desk.drawing import Bar, Strip
from pipeline.desk.kept import Readings, Snapshot
from pipeline.desk.lost import hours_lost, total_lost
from pipeline.desk.paths import Scale, band, range_of, strokes
from pipeline.desk.tiers import by_pixel, extremes
from pipeline.mill import Mill
from pipeline.tongue import InTongue
from pipeline.words import (
    QUANTITIES,
    against_targets,
    clean,
    day_words,
    duration_words,
    joined,
    plain,
    point_words,
    said,
    sensor_words,
    span_words,
    unit_words,
)

_LOSS_HEIGHT: Final = 132
_LANE_HEIGHT: Final = 42
_LINE_HEIGHT: Final = 20
_BAR: Final = 12
_NAMED: Final = 4


@dataclass(frozen=True)
class Row:
    """One strip with its name beside it.

    Attributes
    ----------
    key : str
        Letters, digits and hyphens.
    name, unit : str
        What it shows, and its unit.
    summary : str
        What it comes to in the hours shown.
    drawing : InTongue
    told : tuple of str
        What its bars stand for, one line each, for whoever cannot point at them.
    """

    key: str
    name: str
    unit: str
    summary: str
    drawing: InTongue
    told: tuple[str, ...] = ()


def begun(axis: Axis, height: int, label: str, shown: Shown) -> Strip:
    """A strip with marks of time, the chosen period and the one beside it."""
    strip = Strip(axis, height, label)
    for window, kind in ((shown.beside, "beside"), (shown.pick, "pick")):
        if window and (cut := axis.clipped(window.start, window.end)):
            strip.band(*cut, kind)
    strip.days()
    for item in axis.noted:
        if cut := axis.clipped(item.started, item.ended):
            strip.noted(cut, item.words)
    return strip


def words_on(bars: Sequence[Bar]) -> tuple[str, ...]:
    """What stands on bars, made harmless."""
    return tuple(clean(bar.words, 600) for bar in bars)


def clock_row(axis: Axis) -> InTongue:
    """The axis itself: days and hours in plant time."""
    strip = Strip(axis, _LINE_HEIGHT, said("Days and hours, plant time"))
    for tick in axis.ticks():
        kind = "day" if tick.day else "hour"
        strip.add("line", {"x1": tick.x, "x2": tick.x, "y1": 15, "y2": 20, "class": kind})
        if 30.0 < tick.x < axis.width - 30.0:
            strip.text(tick.x, 12.0, tick.words, anchor="middle")
    return strip.done()


def hours_by_pixel(known: Snapshot, axis: Axis, values: NDArray[np.float64]) -> tuple[
    NDArray[np.float64], NDArray[np.float64]
]:  # fmt: skip
    """Lowest and highest of hourly values in each pixel column."""
    hour = timedelta(hours=1)
    first, last = ((m - known.start) / hour for m in (axis.window.start, axis.window.end))
    rows = values[np.newaxis, :]
    low = extremes(rows, first, last, axis.width, np.fmin)[0]
    return low, extremes(rows, first, last, axis.width, np.fmax)[0]


def loss_row(known: Snapshot, mill: Mill, axis: Axis, shown: Shown) -> Row:
    """Loss above the unavoidable by hour, with its 90 % interval."""
    sums = hours_lost(known.hours, known.findings)
    mid, low, high = (
        1000.0 * sums[name].cast(pl.Float64).fill_null(float("nan")).to_numpy()
        for name in ("excess_t", "excess_low_t", "excess_high_t")
    )
    passes = hours_chosen(known.hours, shown.filters, mill)
    drawn = [np.where(passes, part, np.nan) for part in (mid, low, high)]
    bottom, top = hours_by_pixel(known, axis, drawn[0])
    lowest, _ = hours_by_pixel(known, axis, drawn[1])
    _, highest = hours_by_pixel(known, axis, drawn[2])
    reach = range_of(lowest, highest, np.zeros(1))
    scale = Scale(*reach, _LOSS_HEIGHT)
    summary = loss_words(known, mill, shown)
    strip = begun(
        axis,
        _LOSS_HEIGHT,
        said("Loss above the unavoidable by hour. {summary}", summary=summary),
        shown,
    )
    strip.path(band(lowest, highest, scale), "interval")
    strip.levels(scale, 4)
    strip.add("line", {"x1": 0, "x2": axis.width, "y1": scale.at(0.0), "y2": scale.at(0.0),
                       "class": "zero"})  # fmt: skip
    strip.path(strokes(bottom, top, scale), "line")
    return Row(
        "loss",
        said("Loss above the unavoidable"),
        said("kg of sucrose an hour"),
        summary,
        strip.done(),
    )


def loss_words(known: Snapshot, mill: Mill, shown: Shown) -> str:
    """What was lost above the unavoidable in the hours shown, in words."""
    total = loss_total(known, mill, shown)
    if total is None:
        return said("Nothing was worked out in these hours.")
    mass = against_targets(total["excess_t"], total["excess_low_t"], total["excess_high_t"])
    fed = total["sucrose_fed_t"]
    rate = ""
    if fed > 0.0:
        each = plain(abs(1000.0 * total["excess_t"] / fed), 2)
        rate = said(", {excess_t} t per 1,000 t of sucrose fed", excess_t=each)
    some = said(" of the shift or weekdays chosen") if shown.filters.hours_chosen else ""
    above = said("{mass} above the unavoidable, 90 % interval,", mass=mass)
    return said(
        "{above} in {minutes} h{some}{rate}",
        above=above,
        minutes=plain(total["minutes"] / 60.0, 0),
        some=some,
        rate=rate,
    )


def loss_total(known: Snapshot, mill: Mill, shown: Shown) -> dict[str, float] | None:
    """Sums over the hours shown that the filters let through; None where none are known."""
    passes = pl.Series(hours_chosen(known.hours, shown.filters, mill))
    inside = pl.col("hour").is_between(shown.window.start, shown.window.end, closed="left")
    hours = known.hours.filter(passes & known.hours.select(inside).to_series())
    return total_lost(hours, known.findings)


def stops_row(known: Snapshot, mill: Mill, axis: Axis, shown: Shown) -> Row:
    """Stops of the station."""
    inside = [s for s in known.stops if axis.clipped(*s)]
    stood = sum((min(b, axis.window.end) - max(a, axis.window.start) for a, b in inside),
                timedelta())  # fmt: skip
    summary = (
        said(
            "{inside} stops, {duration_words}",
            inside=len(inside),
            duration_words=duration_words(stood),
        )
        if inside
        else said("no stop in these hours")
    )
    strip = begun(axis, _LINE_HEIGHT, said("Stops: {summary}", summary=summary), shown)
    bars = []
    for begin, end in inside:
        cut = axis.clipped(begin, end)
        if cut:
            words = said(
                "stop, {span_words}, {duration_words}",
                span_words=span_words(begin, end, mill.tz),
                duration_words=duration_words(end - begin),
            )
            bars.append(Bar(*cut, "stop", words))
    strip.bars(bars, _BAR, 4)
    return Row("stops", said("Stops"), "", summary, strip.done(), words_on(bars))


def sensors_row(known: Snapshot, axis: Axis, shown: Shown) -> Row:
    """Tags that were not well, by UTC day."""
    last = known.data_end.date()
    unwell = known.sensors.filter((pl.col("verdict") != "good") & (pl.col("day") < last))
    bars, days, worst = [], 0, 0
    for (day,), part in unwell.partition_by("day", as_dict=True, maintain_order=True).items():
        cut = axis.clipped(midnight(day), midnight(day) + ONE_DAY)
        if cut is None:
            continue
        days, worst = days + 1, max(worst, part.height)
        names = [
            said(
                "{tag} ({sensor_words})",
                tag=clean(r["tag"], 40),
                sensor_words=sensor_words(r["verdict"]),
            )
            for r in part.to_dicts()
        ]
        more = said(" and {names} more", names=len(names) - _NAMED) if len(names) > _NAMED else ""
        bad = bool((part["verdict"] != "watch").any())
        kind = "sensor-bad" if bad else "sensor-watch"
        words = said(
            "{day_words} (UTC day): {names}{more}",
            day_words=day_words(day),
            names=joined(", ", names[:_NAMED]),
            more=more,
        )
        bars.append(Bar(*cut, kind, words))
    summary = (
        said("{days} days with a tag unwell, at most {worst} tags", days=days, worst=worst)
        if days
        else said("all tags well")
    )
    strip = begun(axis, _LINE_HEIGHT, said("Sensor troubles: {summary}", summary=summary), shown)
    strip.bars(bars, _BAR, 4)
    return Row("sensors", said("Sensor troubles"), "", summary, strip.done(), words_on(bars))


def reading_rows(readings: Readings, axis: Axis, shown: Shown) -> list[Row]:
    """Lanes of the signals chosen, lowest and highest reading of each pixel."""
    chosen = [
        number
        for number, signal in enumerate(readings.signals)
        if "all" in shown.tags or signal.name in shown.tags
    ]
    if not chosen:
        return []
    minute = timedelta(minutes=1)
    first, last = ((m - readings.start) / minute for m in (axis.window.start, axis.window.end))
    low, high = by_pixel(readings.tiers, chosen, first, last, axis.width)
    rows = []
    for place, number in enumerate(chosen):
        rows.append(_lane(readings, number, axis, shown, (low[place], high[place])))
    return rows


def _lane(
    readings: Readings,
    number: int,
    axis: Axis,
    shown: Shown,
    drawn: tuple[NDArray[np.float32], NDArray[np.float32]],
) -> Row:
    signal = readings.signals[number]
    _, unit, decimals = QUANTITIES[signal.quantity]
    low, high = drawn
    scale = Scale(*range_of(low, high), _LANE_HEIGHT)
    summary = said("no readings in these hours")
    if np.isfinite(low).any():
        summary = said(
            "{nanmin} to {nanmax}",
            nanmin=plain(float(np.nanmin(low)), decimals),
            nanmax=plain(float(np.nanmax(high)), decimals),
        )
    name = point_words(signal.quantity, signal.place, signal.port)
    strip = begun(axis, _LANE_HEIGHT, said("{name}: {summary}", name=name, summary=summary), shown)
    strip.levels(scale, 2)
    strip.path(strokes(low, high, scale), "line")
    return Row(
        f"tag-{number}",
        said("{tag}: {name}", tag=clean(signal.tag, 60), name=name),
        unit_words(unit),
        summary,
        strip.done(),
    )


def tag_choices(signals: Sequence[Signal]) -> list[tuple[str, str]]:
    """Names of the signals that can be chosen, with their words."""
    return [
        (
            s.name,
            said(
                "{tag}: {point}",
                tag=clean(s.tag, 60),
                point=point_words(s.quantity, s.place, s.port),
            ),
        )
        for s in signals
    ]
