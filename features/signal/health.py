"""Health of the sensors, tag by tag and day by day: counts of a day, and a verdict in words.

Limits marked "estimate" are choices of lostpol's authors: reasons to look at an instrument, no
standard of metrology.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Final, Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import (
    TAG,
    Column,
    Columns,
    Each,
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
#: Kind of a reading that is bad for another reason; good ones are 0.
_OTHER: Final = 1 + len(_COUNTED)
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


@dataclass(frozen=True, slots=True, eq=False)
class _Tag:
    """Times of one tag's readings [s], and of each why it is bad: a number, see `_COUNTED`."""

    at_s: Floats
    kind: NDArray[np.int8]


def sensor_day(
    screened: Readings, signals: Sequence[Signal], start_utc: datetime, end_utc: datetime
) -> pl.DataFrame:
    """Count what each tag of the station did on one day; see `sensor_days`."""
    return sensor_days(screened, signals, (start_utc, end_utc))[0]


def sensor_days(
    screened: Readings, signals: Sequence[Signal], edges_utc: Sequence[datetime], each: Each = map
) -> list[pl.DataFrame]:
    """Count what each tag of the station did, day by day.

    Parameters
    ----------
    screened : polars.DataFrame or mapping
        ts_utc, tag, value, bad, reason, as `features.signal.quality.screen` gives them, or parted
        by `features.base.readings.by_tag`; rows before and after a day carry readings over its
        edges.
    signals : sequence of Signal
        Tags to report on; one row each, also for a tag without readings.
    edges_utc : sequence of datetime
        Midnights that end one day and begin the next, rising; one more than there are days.
    each : callable
        Goes through the tags, as ``map`` does.

    Returns
    -------
    list of polars.DataFrame
        One for each day, columns of `SENSOR_DAY_COLUMNS`, by tag. gap_min and longest_gap_min count
        time without any reading, sound or not; a reading speaks for ``Signal.longest_gap_min``.
        calibration_step is good readings after the day's calibration less those before it, the
        largest one; null without one.
    """
    parts = by_tag(screened)
    days = list(pairwise(edge.timestamp() for edge in edges_utc))
    by_signal = list(each(lambda s: _tag_days(parts.get(s.tag), s, days), signals))
    schema = polars_schema(SENSOR_DAY_COLUMNS)
    return [
        pl.DataFrame([rows[n] for rows in by_signal], schema=schema, orient="row").sort("tag")
        for n in range(len(days))
    ]


def _tag_days(
    part: pl.DataFrame | None, signal: Signal, days: Sequence[tuple[float, float]]
) -> list[tuple[object, ...]]:
    """Rows of one tag, one a day."""
    if part is None or part.is_empty():
        whole = [(end - start) / 60.0 for start, end in days]
        return [(signal.tag, 0, 0, 0, 0, 0, 0, 0, 0.0, gap, gap, None) for gap in whole]
    alone = _of_tag(part)
    steps = _calibration_steps(part, alone)
    return [_tag_day(alone, signal, day, steps) for day in days]


def _of_tag(part: pl.DataFrame) -> _Tag:
    bad = part["bad"].to_numpy()
    kind = np.zeros(bad.size, dtype=np.int8)
    if bad.any():
        reason = part["reason"].filter(part["bad"]).fill_null("").to_numpy()
        of_bad = np.full(reason.size, _OTHER, dtype=np.int8)
        for number, name in enumerate(_COUNTED):
            of_bad[reason == name] = 1 + number
        kind[bad] = of_bad
    return _Tag(times_us(part) / 1e6, kind)


def _tag_day(
    alone: _Tag, signal: Signal, edges: tuple[float, float], steps: Sequence[tuple[float, float]]
) -> tuple[object, ...]:
    start, end = edges
    first, last = np.searchsorted(alone.at_s, edges, "left")
    # The last reading before the day speaks in it, too.
    near = slice(max(int(first) - 1, 0), int(last) + 1)
    at_s = alone.at_s[near]
    count = np.bincount(alone.kind[first:last], minlength=_OTHER + 1)
    until_s = np.minimum(np.append(at_s[1:], np.inf), at_s + 60.0 * signal.longest_gap_min)
    frozen = alone.kind[near] == 1 + _COUNTED.index("frozen")
    held_s = np.clip(np.minimum(until_s[frozen], end) - np.maximum(at_s[frozen], start), 0.0, None)
    silent_s = _silences(at_s, until_s, start, end)
    of_day = [step for last_s, step in steps if start <= last_s < end]
    return (
        *(signal.tag, int(last - first), int(count[0])),
        *(int(number) for number in count[1:]),
        float(held_s.sum()) / 60.0,
        float(silent_s.sum()) / 60.0,
        float(silent_s.max()) / 60.0,
        max(of_day, key=abs) if of_day else None,
    )


def _silences(at_s: Floats, until_s: Floats, start: float, end: float) -> Floats:
    """Length of each silence within the day, the one before the first reading included [s]."""
    begins = np.append(-np.inf, until_s)
    ends = np.append(at_s, np.inf)
    return np.clip(np.minimum(ends, end) - np.maximum(begins, start), 0.0, None)


def _calibration_steps(part: pl.DataFrame, alone: _Tag) -> list[tuple[float, float]]:
    """End of each calibration [s], and the step of the reading over it."""
    buffer_s = alone.at_s[alone.kind == 1 + _COUNTED.index("calibration")]
    if buffer_s.size == 0:
        return []
    good = alone.kind == 0
    good_s, value = alone.at_s[good], values(part)[good]
    steps = []
    for group in np.split(buffer_s, np.flatnonzero(np.diff(buffer_s) > _ONE_CALIBRATION_S) + 1):
        first, last = group[0], group[-1]
        before = value[(good_s >= first - _COMPARED_S) & (good_s < first)]
        since = good_s - last
        after = value[(since >= _SETTLING_S) & (since < _SETTLING_S + _COMPARED_S)]
        if min(before.size, after.size) >= _FEWEST:
            steps.append((float(last), float(np.median(after) - np.median(before))))
    return steps


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
        text = f"reads {size:.2f} pH (standard error {drift.sd:.2f}) {side} against the laboratory"
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
