"""What the historian writes down: noise, rounding, deadbands, and everyday data trouble."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.simulator import parameters as p
from models.simulator.disturb import wander
from models.simulator.effects import CALIBRATION_H
from models.simulator.events import PlannedEvent
from models.simulator.meters import FILTRATE_FLOW
from models.simulator.recorders import averages, compress, snapshots, swinging
from models.simulator.tags import FILTRATE, TAGS, Tag, sampled

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: pH of the two calibration buffers as the probe shows them.
_BUFFERS = (7.00, 9.18)
_QUALITY = np.array(["good", "bad", "uncertain"])


@dataclass(frozen=True, slots=True)
class Written:
    """How a historian samples and compresses.

    Attributes
    ----------
    sampling : int
        Scale of the time between two samples of a tag.
    deadband : float
        Scale of the deadbands.
    heartbeat_s : float
        Longest time without a written value while an instrument works [s].
    recorder : str
        How it thins readings out (`models.simulator.habits.RECORDERS`).
    fewer_digits : int
        Digits that the export leaves out.
    quality_told : bool
        False calls every reading good.
    lacks : tuple of str
        Tags that are not there.
    """

    sampling: int = 1
    deadband: float = 1.0
    heartbeat_s: float = 300.0
    recorder: str = "deadband"
    fewer_digits: int = 0
    quality_told: bool = True
    lacks: tuple[str, ...] = ()


def _instrument(rng: np.random.Generator, tag: Tag, course: Floats, *, clean: bool) -> Floats:
    """Course of a tag at its own interval, with the instrument's errors."""
    count = len(course) * p.STEP_S // tag.every_s
    at_s = np.arange(count) * tag.every_s
    value = np.interp(at_s, np.arange(len(course)) * p.STEP_S, course)
    if not clean:
        value = value + rng.normal(0.0, tag.noise, size=count)
        value += wander(rng, count, tag.every_s, tag.drift, 48.0)
    return np.clip(value, tag.low, tag.high)


def _steps(hours: Floats, start_h: float, end_h: float) -> slice:
    return slice(int(np.searchsorted(hours, start_h)), int(np.searchsorted(hours, end_h)))


def _calibrate(rng: np.random.Generator, value: Floats, hours: Floats, from_h: float) -> None:
    """Show buffer readings while the limed-juice probe is off line."""
    third = CALIBRATION_H / 3.0
    for turn, buffer in enumerate((_BUFFERS[0], _BUFFERS[1], _BUFFERS[0])):
        where = _steps(hours, from_h + turn * third, from_h + (turn + 1) * third)
        value[where] = buffer + rng.normal(0.0, 0.01, size=value[where].size)


def _export_events(
    rng: np.random.Generator, tag: Tag, value: Floats, hours: Floats, events: Iterable[PlannedEvent]
) -> None:
    for event in events:
        where = _steps(hours, event.start_h, event.end_h)
        if tag.name == "LT.AI212" and event.cause in ("probe_calibration", "ph_probe_high"):
            from_h = max(event.start_h, event.end_h - CALIBRATION_H)
            _calibrate(rng, value, hours, from_h)
        if event.target != tag.name or value[where].size == 0:
            continue
        if event.cause == "frozen_tag":
            value[where] = value[where.start]
        if event.cause == "spiking_tag":
            hit = rng.random(value[where].size) < 0.03
            span = 0.25 * (tag.high - tag.low)
            value[where] += hit * rng.uniform(-span, span, size=hit.size)


def _trouble(rng: np.random.Generator, tag: Tag, value: Floats) -> tuple[Flags, NDArray[np.int8]]:
    """Gaps, spikes, readings out of range and quality marks; returns what is kept."""
    count = value.size
    keep = np.ones(count, dtype=bool)
    quality = np.zeros(count, dtype=np.int8)
    weeks = count * tag.every_s / 604_800.0
    for _ in range(rng.poisson(0.35 * weeks)):
        start = int(rng.integers(count))
        length_s = np.exp(rng.uniform(np.log(180.0), np.log(7200.0)))
        keep[start : start + int(length_s / tag.every_s)] = False
    spikes = rng.integers(count, size=rng.poisson(1.2 * weeks))
    value[spikes] += rng.choice([-1.0, 1.0], size=spikes.size) * 0.2 * (tag.high - tag.low)
    wild = rng.integers(count, size=rng.poisson(0.6 * weeks))
    value[wild] = rng.choice([tag.low - 0.25 * (tag.high - tag.low), tag.high * 1.9])
    quality[wild] = 1
    quality[rng.integers(count, size=rng.poisson(1.0 * weeks))] = 1
    quality[rng.integers(count, size=rng.poisson(1.5 * weeks))] = 2
    return keep, quality


def _whole_gaps(rng: np.random.Generator, weeks: float) -> list[tuple[float, float]]:
    """Hours without any export at all."""
    count = int(rng.poisson(0.4 * weeks))
    starts = rng.uniform(0.0, weeks * 168.0, size=count)
    return [(float(s), float(s + rng.uniform(0.15, 1.2))) for s in starts]


def export_tags(
    rng: np.random.Generator,
    courses: dict[str, Floats],
    events: tuple[PlannedEvent, ...],
    start_utc: datetime,
    *,
    clean: bool = False,
    written: Written | None = None,
) -> pl.DataFrame:
    """Write the historian's export of a season.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    courses : dict of str to array, shape (T,)
        True course behind each tag, every 30 s.
    events : tuple of PlannedEvent
        Events; those of the export act here.
    start_utc : datetime
        Time of the first sample.
    clean : bool
        True leaves out noise and trouble.
    written : Written, optional
        How the historian samples and compresses.

    Returns
    -------
    polars.DataFrame
        time (UTC), tag, value, quality; in order of time, then tag.
    """
    written = written or Written()
    count = len(next(iter(courses.values())))
    gaps = [] if clean else _whole_gaps(rng, count * p.STEP_H / 168.0)
    frames = []
    streams = rng.spawn(len(TAGS))
    tags = TAGS
    if FILTRATE_FLOW in courses:
        tags, courses = (*TAGS, FILTRATE), courses | {FILTRATE.name: courses[FILTRATE_FLOW]}
        streams += rng.spawn(1)
    for usual, own in zip(tags, streams, strict=True):
        if usual.name in written.lacks:
            continue
        tag = sampled(usual, written.sampling)
        value = _instrument(own, tag, courses[tag.name], clean=clean)
        hours = np.arange(value.size, dtype=np.float64) * (tag.every_s / 3600.0)
        _export_events(own, tag, value, hours, events)
        keep, quality = np.ones(value.size, bool), np.zeros(value.size, np.int8)
        if not clean:
            keep, quality = _trouble(own, tag, value)
        for first_h, last_h in gaps:
            keep[_steps(hours, first_h, last_h)] = False
        rounded = np.round(value, max(tag.decimals - written.fewer_digits, 0))
        frames.append(_frame(tag, rounded, keep, quality, start_utc, written))
    order = pl.Enum(sorted(tag.name for tag in tags))
    whole = pl.concat(frames).with_columns(pl.col("tag").cast(order))
    return whole.sort("time", "tag").with_columns(pl.col("tag", "quality").cast(pl.String))


def _frame(
    tag: Tag,
    value: Floats,
    keep: Flags,
    quality: NDArray[np.int8],
    start_utc: datetime,
    written: Written,
) -> pl.DataFrame:
    kept, value = _thinned(tag, value, written)
    # Marked readings are always written, but for a recorder that looks once in five minutes.
    if written.recorder in ("deadband", "swinging"):
        kept = np.union1d(kept, np.flatnonzero(quality))
    kept = kept[keep[kept]]
    offset_us = kept * (tag.every_s * 1_000_000)
    return pl.DataFrame(
        {
            "time": offset_us,
            "tag": pl.Series([tag.name]).new_from_index(0, kept.size),
            "value": value[kept],
            "quality": _QUALITY[quality[kept] * written.quality_told].tolist(),
        }
    ).with_columns((pl.lit(start_utc) + pl.col("time").cast(pl.Duration("us"))).alias("time"))


def _thinned(tag: Tag, value: Floats, written: Written) -> tuple[NDArray[np.int64], Floats]:
    """Positions that the recorder writes down, and what it writes at every position."""
    heartbeat = max(int(written.heartbeat_s // tag.every_s), 1)
    deadband = tag.deadband * written.deadband
    if written.recorder == "averages":
        kept, means = averages(value, tag.every_s)
        value = value.copy()
        value[kept] = np.round(means, max(tag.decimals - written.fewer_digits, 0))
        return kept, value
    if written.recorder == "snapshots":
        return snapshots(value.size, tag.every_s), value
    thin = swinging if written.recorder == "swinging" else compress
    return thin(value, deadband, heartbeat), value
