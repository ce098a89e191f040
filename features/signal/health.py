"""Health of the sensors, tag by tag and day by day: counts of a day, and a verdict in words.

Limits marked "estimate" are choices of lostpol's authors: reasons to look at an instrument, no
standard of metrology.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import (
    TAG,
    Column,
    Columns,
    Readings,
    Signal,
    by_tag,
    polars_schema,
    times_us,
    values,
)

Floats = NDArray[np.float64]
Verdict = Literal["good", "watch", "sick", "silent"]

#: What `sensor_day` gives.
SENSOR_DAY_COLUMNS: Final[Columns] = {
    "tag": TAG,
    "readings": Column.count("Readings of the day."),
    "good": Column.count("Of these, good ones."),
    "spikes": Column.count("Single readings far from their neighbours."),
    "out_of_range": Column.count("Readings that cannot be."),
    "frozen": Column.count("Readings of a value that did not move."),
    "calibration": Column.count("Readings of buffer while a pH probe was off line."),
    "other_bad": Column.count("Bad on arrival, or no number."),
    "frozen_min": Column.number("min", "Time a frozen value was all there was."),
    "gap_min": Column.number("min", "Time without a reading."),
    "longest_gap_min": Column.number("min", "Longest time without a reading."),
    "calibration_step": Column.number("unit of the tag", "Reading after calibration less before."),
}

#: Reasons with a column of their own, in the order of the columns.
_COUNTED: Final = ("spike", "out_of_range", "frozen", "calibration")
#: Readings of buffer that lie closer than this belong to one calibration [s].
_ONE_CALIBRATION_S = 1800.0
#: Juice is compared over an hour on either side, a quarter after the probe is back [s].
_COMPARED_S = 3600.0
_SETTLING_S = 900.0
_FEWEST = 5

# Verdicts (estimates). pH: an error of 0.1 moves the loss by a quarter, of 0.2 by 60 %.
_SICK_GOOD_PCT, _WATCH_GOOD_PCT = 80.0, 98.0
_SICK_FROZEN_MIN, _WATCH_FROZEN_MIN = 120.0, 30.0
_SICK_GAP_MIN, _WATCH_GAP_MIN = 480.0, 60.0
_SICK_DRIFT_PH, _WATCH_DRIFT_PH = 0.2, 0.1
_WATCH_STEP_PH = 0.15
_WATCH_SPIKES = 10
#: A drift counts when it is this many of its standard errors.
_SURE = 2.0


def sensor_day(
    screened: Readings, signals: Sequence[Signal], start_utc: datetime, end_utc: datetime
) -> pl.DataFrame:
    """Count what each tag of the station did on one day.

    Parameters
    ----------
    screened : polars.DataFrame or mapping
        ts_utc, tag, value, bad, reason, as `features.signal.quality.screen` gives them, or parted
        by `features.base.readings.by_tag`; rows before and
        after the day carry readings over its edges.
    signals : sequence of Signal
        Tags to report on; one row each, also for a tag without readings.
    start_utc, end_utc : datetime
        The day; the end is left out.

    Returns
    -------
    polars.DataFrame
        Columns of `SENSOR_DAY_COLUMNS`, by tag. gap_min and longest_gap_min count time without any
        reading, sound or not; a reading speaks for ``Signal.longest_gap_min``. calibration_step
        is good readings after the day's calibration less those before it, the largest one; null
        without one.
    """
    parts = by_tag(screened)
    edges = (start_utc.timestamp(), end_utc.timestamp())
    rows = [_tag_day(parts.get(s.tag), s, edges) for s in signals]
    return pl.DataFrame(rows, schema=polars_schema(SENSOR_DAY_COLUMNS), orient="row").sort("tag")


def _tag_day(
    part: pl.DataFrame | None, signal: Signal, edges: tuple[float, float]
) -> tuple[object, ...]:
    start, end = edges
    if part is None or part.is_empty():
        whole = (end - start) / 60.0
        return (signal.tag, 0, 0, 0, 0, 0, 0, 0, 0.0, whole, whole, None)
    step = _calibration_step(part, edges)
    at_s = times_us(part) / 1e6
    # The last reading before the day speaks in it, too.
    begin = max(int(np.searchsorted(at_s, start, "left")) - 1, 0)
    near = slice(begin, int(np.searchsorted(at_s, end, "left")) + 1)
    part, at_s = part[near], at_s[near]
    bad = part["bad"].to_numpy()
    inside = (at_s >= start) & (at_s < end)
    reason = part["reason"].filter(bad).fill_null("").to_numpy()
    by_reason = {name: np.zeros(bad.size, dtype=bool) for name in _COUNTED}
    for name, rows in by_reason.items():
        rows[bad] = reason == name
    count = {name: int((rows & inside).sum()) for name, rows in by_reason.items()}
    readings, good = int(inside.sum()), int((inside & ~bad).sum())
    until_s = np.minimum(np.append(at_s[1:], np.inf), at_s + 60.0 * signal.longest_gap_min)
    held_s = np.clip(np.minimum(until_s, end) - np.maximum(at_s, start), 0.0, None)
    silent_s = _silences(at_s, until_s, start, end)
    return (
        *(signal.tag, readings, good),
        *count.values(),
        readings - good - sum(count.values()),
        float(held_s[by_reason["frozen"]].sum()) / 60.0,
        float(silent_s.sum()) / 60.0,
        float(silent_s.max()) / 60.0,
        step,
    )


def _silences(at_s: Floats, until_s: Floats, start: float, end: float) -> Floats:
    """Length of each silence within the day, the one before the first reading included [s]."""
    begins = np.append(-np.inf, until_s)
    ends = np.append(at_s, np.inf)
    return np.clip(np.minimum(ends, end) - np.maximum(begins, start), 0.0, None)


def _calibration_step(part: pl.DataFrame, edges: tuple[float, float]) -> float | None:
    """Largest step of the reading over a calibration that ends within the day."""
    bad = part.filter("bad") if part["bad"].any() else part.clear()
    buffer = bad.filter(pl.col("reason") == "calibration")
    if buffer.is_empty():
        return None
    buffer_s, good = times_us(buffer) / 1e6, part.filter(~pl.col("bad"))
    good_s, value = times_us(good) / 1e6, values(good)
    steps = []
    for group in np.split(buffer_s, np.flatnonzero(np.diff(buffer_s) > _ONE_CALIBRATION_S) + 1):
        first, last = group[0], group[-1]
        before = value[(good_s >= first - _COMPARED_S) & (good_s < first)]
        since = good_s - last
        after = value[(since >= _SETTLING_S) & (since < _SETTLING_S + _COMPARED_S)]
        if edges[0] <= last < edges[1] and min(before.size, after.size) >= _FEWEST:
            steps.append(float(np.median(after) - np.median(before)))
    return max(steps, key=abs) if steps else None


@dataclass(frozen=True, slots=True)
class Drift:
    """A sensor's reading less what the laboratory says, over a day.

    Attributes
    ----------
    value, sd : float
        Mean error and its standard error [inside unit].
    """

    value: float
    sd: float


def judge_sensor(
    day: Mapping[str, object],
    drift: Drift | None = None,
    fault: str = "",
    beside: tuple[int, str] = (0, ""),
) -> tuple[Verdict, str]:
    """Say of one tag's day whether it can be trusted, in plain words.

    Parameters
    ----------
    day : mapping
        A row of `sensor_day`.
    drift : Drift, optional
        Error against laboratory grabs; the limits are those of pH probes.
    fault : str
        What the search found wrong with it, empty for nothing.
    beside : tuple of int and str
        Grade and words of a disagreement with a second instrument
        (`features.signal.second.disagreement`).

    Returns
    -------
    verdict : {"good", "watch", "sick", "silent"}
    text : str
        What is wrong, worst first; empty when good.
    """
    readings = _number(day, "readings")
    if readings == 0.0:
        return "silent", "no readings"
    found = [(2, fault)] if fault else []
    found += [item for item in _symptoms(day, readings) if item[0]]
    if drift is not None and abs(drift.value) >= _SURE * drift.sd:
        size = abs(drift.value)
        side = "high" if drift.value > 0 else "low"
        text = f"reads {size:.2f} (standard error {drift.sd:.2f}) {side} against the laboratory"
        grade = _grade(size, _WATCH_DRIFT_PH, _SICK_DRIFT_PH)
        found += [(grade, text)] if grade else []
    found += [beside] if beside[0] else []
    if not found:
        return "good", ""
    found.sort(key=lambda item: -item[0])
    return ("sick" if found[0][0] == 2 else "watch"), "; ".join(text for _, text in found)


def _symptoms(day: Mapping[str, object], readings: float) -> list[tuple[int, str]]:
    """Grade (0 nothing, 1 watch, 2 sick) and words of each thing counted."""
    frozen, gap = _number(day, "frozen_min"), _number(day, "gap_min")
    good_pct = 100.0 * _number(day, "good") / readings
    spikes, outside = _number(day, "spikes"), _number(day, "out_of_range")
    step = day.get("calibration_step")
    step = float(step) if isinstance(step, int | float) else 0.0
    return [
        (
            _grade(frozen, _WATCH_FROZEN_MIN, _SICK_FROZEN_MIN),
            f"frozen for {_time(frozen)} while the plant moved",
        ),
        (
            _grade(100.0 * outside / readings, 2.0, 20.0),
            f"{outside:.0f} of {readings:.0f} readings out of range",
        ),
        (_grade(gap, _WATCH_GAP_MIN, _SICK_GAP_MIN), f"silent for {_time(gap)}"),
        (int(spikes >= _WATCH_SPIKES), f"{spikes:.0f} spikes"),
        (
            _grade(100.0 - good_pct, 100.0 - _WATCH_GOOD_PCT, 100.0 - _SICK_GOOD_PCT),
            f"only {good_pct:.0f} % of its readings good",
        ),
        (int(abs(step) >= _WATCH_STEP_PH), f"stepped by {step:+.2f} over a calibration"),
    ]


def _grade(size: float, watch: float, sick: float) -> int:
    return 2 if size >= sick else int(size >= watch)


def _number(day: Mapping[str, object], name: str) -> float:
    value = day[name]
    return float(value) if isinstance(value, int | float) else 0.0


def _time(minutes: float) -> str:
    return f"{minutes / 60.0:.1f} h" if minutes >= 90.0 else f"{minutes:.0f} min"
