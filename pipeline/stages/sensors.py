"""The table ``sensor_health``: how each tag did each day, with a verdict in words."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any, Final

import numpy as np
import polars as pl

from features.base import Signal
from features.flow import probe_signal
from features.signal import Drift, disagreement, drift_beside, judge_sensor
from models.amount import ProbeBias
from models.cause import SensorFault
from models.find import Losses
from pipeline.base import ONE_DAY, Window
from pipeline.lake import SENSORS, lake_of
from pipeline.mill import Mill
from pipeline.store import published_store_of
from pipeline.words import clean

#: A fault is told on a day when it lasted this long there.
_LEAST_MIN: Final = 15
#: Columns of the table; asking the database for them would build a whole empty store every night.
_SCHEMA: Final = pl.Schema(
    {
        "mill": pl.String, "day": pl.Date, "tag": pl.String, "quantity": pl.String,
        "place": pl.String, "readings": pl.Int64, "good": pl.Int64, "good_pct": pl.Float64,
        "spikes": pl.Int64, "out_of_range": pl.Int64, "frozen": pl.Int64,
        "frozen_min": pl.Float64, "calibration": pl.Int64, "calibration_step": pl.Float64,
        "other_bad": pl.Int64, "gap_min": pl.Float64, "longest_gap_min": pl.Float64,
        "drift": pl.Float64, "drift_sd": pl.Float64, "verdict": pl.String, "text": pl.String,
    }
)  # fmt: skip
_ORDER: Final = {"silent": 0, "sick": 1, "watch": 2, "good": 3}


def judged_sensors(mill: Mill, window: Window, losses: Losses) -> pl.DataFrame | None:
    """Health of every tag on every day of a window, as the search now sees it."""
    first, last = window.days
    lake = lake_of(mill)
    frames = []
    for n in range((last - first).days + 1):
        day = first + n * ONE_DAY
        counts = lake.read_features(SENSORS, day, day)
        if not counts.is_empty():
            frames.append(_of_day(mill, counts, day, losses))
    return pl.concat(frames) if frames else None


def _of_day(mill: Mill, counts: pl.DataFrame, day: date, losses: Losses) -> pl.DataFrame:
    """Rows of one day, in the order of the table's columns."""
    places = {s.tag: s for s in mill.station.signals}
    start: datetime = losses.minutes["ts_utc"][0]
    midnight = datetime.combine(day, datetime.min.time(), tzinfo=start.tzinfo)
    begin = (midnight - start) // timedelta(minutes=1)
    drifts = _with_seconds(_drifts(mill, losses.biases, begin), counts, places)
    faults = {f.tag: f.why for f in losses.faults if _minutes_of(f, begin) >= _LEAST_MIN}
    rows: list[dict[str, Any]] = []
    for row in counts.to_dicts():
        signal = places.get(row["tag"])
        if signal is None:
            continue
        drift = drifts.get(signal.tag)
        fault = faults.get(signal.tag, "")
        verdict, text = judge_sensor(row, drift, fault, _beside(row, signal, drifts))
        rows.append(
            row
            | {"mill": mill.key, "day": day, "quantity": signal.quantity, "place": signal.place}
            | {"good_pct": 100.0 * row["good"] / row["readings"] if row["readings"] else None}
            | {"drift": drift and drift.value, "drift_sd": drift and drift.sd}
            | {"verdict": verdict, "text": text}
        )
    return pl.DataFrame(rows, schema=_SCHEMA)


def _drifts(mill: Mill, biases: dict[str, ProbeBias], begin: int) -> dict[str, Drift]:
    """Mean error of each pH probe over the 1440 minutes from `begin`, by tag."""
    found = {}
    for point, bias in biases.items():
        signal = probe_signal(mill.station, point)
        part = slice(max(begin, 0), max(begin + 1440, 0))
        if signal is not None and bias.bias[part].size:
            sd = float(np.mean(bias.sd[part]))
            found[signal.tag] = Drift(float(np.mean(bias.bias[part])), sd)
    return found


def _with_seconds(
    drifts: dict[str, Drift], counts: pl.DataFrame, places: Mapping[str, Signal]
) -> dict[str, Drift]:
    """Add the errors of second instruments, which follow from those of the first."""
    found = dict(drifts)
    for row in counts.to_dicts():
        signal, diff = places.get(row["tag"]), row.get("beside_diff")
        if signal is not None and diff is not None and signal.beside in drifts:
            found[signal.tag] = drift_beside(drifts[signal.beside], -diff, row["beside_sd"])
    return found


def _beside(row: Mapping[str, Any], signal: Signal, drifts: Mapping[str, Drift]) -> tuple[int, str]:
    """Grade and words of a disagreement with the other instrument of its place."""
    diff, other = row.get("beside_diff"), row.get("beside")
    if diff is None or other is None:
        return 0, ""
    known = (drifts.get(signal.tag), drifts.get(other))
    return disagreement(
        signal, clean(other, 80), diff, row["beside_sd"], known, row["beside_level"]
    )


def _minutes_of(fault: SensorFault, begin: int) -> int:
    return min(fault.end, begin + 1440) - max(fault.start, begin)


def sensors_to_look_at(mill: Mill, first: date, last: date) -> pl.DataFrame:
    """Tags that were not well in a period, worst first.

    Returns
    -------
    polars.DataFrame
        tag, quantity, place, verdict (the worst), days (how many were not good), text (of the
        last of the worst days).
    """
    ill = (
        published_store_of(mill)
        .sensors(first, last)
        .filter(pl.col("verdict") != "good")
        .with_columns(grade=pl.col("verdict").replace_strict(_ORDER, return_dtype=pl.Int64))
        .sort("tag", "grade", "day", descending=[False, False, True])
    )
    return (
        ill.group_by("tag", maintain_order=True)
        .agg(
            pl.col("quantity", "place", "verdict", "grade", "text").first(),
            days=pl.len().cast(pl.Int64),
        )
        .sort("grade", "days", "tag", descending=[False, True, False])
        .select("tag", "quantity", "place", "verdict", "days", "text")
    )
