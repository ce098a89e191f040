"""Screening of readings: what cannot be a measurement is marked bad, with the reason in words.

Nothing is removed and no value is changed: a marked reading keeps its number, so that anyone
can see what was left out and why. The tests look at one tag's own past and, for a frozen
transmitter, at whether the plant around it moved.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.quality_tests import calibrations, frozen_runs, spikes
from features.station import LabSource, Signal

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]

#: Reasons this module gives, in the order the tests are made; an earlier mark is not replaced.
REASONS: Final = ("not_a_number", "out_of_range", "calibration", "spike", "frozen")
#: Quantities that rest at zero when the plant does: a still zero is no frozen transmitter.
_AT_ZERO_WHEN_IDLE: Final = frozenset(
    {"flow", "cane_rate", "imbibition_flow", "lime_flow", "flocculant_flow"}
)
#: Share of a flow's usual size below which it is at rest.
_REST_SHARE: Final = 0.02
#: Changes an hour that make a tag a witness of the plant's movement.
_WITNESS_CHANGES_1_H: Final = 4.0


def screen(
    readings: pl.DataFrame, signals: Sequence[Signal], lab: Sequence[LabSource] = ()
) -> pl.DataFrame:
    """Mark readings that cannot be measurements.

    Parameters
    ----------
    readings : polars.DataFrame
        ts_utc, tag, value [inside unit], bad, reason; any order. Several days at once let the
        tests know each tag's habits; one day works, less than an hour is too little for
        ``spike``, ``calibration`` and ``frozen``.
    signals : sequence of Signal
        Tags to screen; readings of other tags come back as they are.
    lab : sequence of LabSource
        Lab series to screen, for ``not_a_number`` and ``out_of_range`` only.

    Returns
    -------
    polars.DataFrame
        The same rows and columns, sorted by tag and time. Marked readings have ``bad`` True and
        one of these reasons; readings bad before keep theirs:

        not_a_number
            Null, NaN or infinite (the value becomes null).
        out_of_range
            Outside ``[low, high]`` of the signal.
        calibration
            pH only: more than 1 pH off its usual course for 2 to 75 minutes, reached and left
            in a jump no stirred tank can make.
        spike
            One to three readings (a minute at most) far off, with the same value before and
            after. Slower excursions are left alone: heat and levels do move.
        frozen
            Not a digit of change for an hour and a half or far longer than the tag ever stays
            still, while the plant moved. Tags that are still by habit (coarse steps, wide
            deadbands), flows at rest and levels at an end are not marked.
    """
    frame = _mark_lab(_mark_not_numbers(_in_order(readings)), lab)
    by_tag = {signal.tag: signal for signal in signals}
    parts: list[pl.DataFrame] = []
    series: dict[str, tuple[Floats, Floats, Bools]] = {}
    for part in _by_tag(frame):
        signal = by_tag.get(part["tag"][0])
        if signal is not None:
            part, series[signal.tag] = _screen_alone(part, signal)  # noqa: PLW2901
        parts.append(part)
    if not parts:
        return frame
    moved = _Movement(series)
    return pl.concat(
        [
            _screen_frozen(part, by_tag[tag], moved, series[tag][0])
            if (tag := part["tag"][0]) in series
            else part
            for part in parts
        ]
    )


def quality_counts(readings: pl.DataFrame) -> pl.DataFrame:
    """How many readings of each tag and UTC day are good, or bad for which reason.

    Returns
    -------
    polars.DataFrame
        day (Date, UTC), tag, reason (``good`` when not bad), readings; sorted.
    """
    reason = pl.when("bad").then(pl.col("reason").fill_null("unknown")).otherwise(pl.lit("good"))
    return (
        readings.group_by(pl.col("ts_utc").dt.date().alias("day"), "tag", reason.alias("reason"))
        .agg(readings=pl.len().cast(pl.Int64))
        .sort("day", "tag", "reason")
    )


def _in_order(readings: pl.DataFrame) -> pl.DataFrame:
    """Readings by tag and time; a look is far cheaper than sorting what is sorted already."""
    tag, at = readings["tag"], readings["ts_utc"]
    before, earlier = tag.shift(1), at.shift(1)
    follows = (tag > before) | ((tag == before) & (at >= earlier))
    return readings if follows.all() else readings.sort("tag", "ts_utc")


def _by_tag(frame: pl.DataFrame) -> list[pl.DataFrame]:
    """Rows of each tag in a frame sorted by tag, without looking any of them up."""
    lengths = frame["tag"].rle().struct.field("len").to_list()
    starts = [0, *accumulate(lengths)]
    return [frame.slice(start, rows) for start, rows in zip(starts, lengths, strict=False)]


def _mark_not_numbers(frame: pl.DataFrame) -> pl.DataFrame:
    """Null for values that are no numbers, bad where they were not so already."""
    number = pl.col("value").is_finite().fill_null(value=False)
    new = ~number & ~pl.col("bad")
    return frame.with_columns(
        value=pl.when(number).then("value"),
        bad=pl.col("bad") | new,
        reason=pl.when(new).then(pl.lit("not_a_number")).otherwise("reason"),
    )


def _mark_lab(frame: pl.DataFrame, lab: Sequence[LabSource]) -> pl.DataFrame:
    """Mark lab results outside the range of their series."""
    if not lab:
        return frame
    series = {source.tag: source for source in lab}
    low, high = (
        pl.col("tag").replace_strict(list(series), ends, default=None, return_dtype=pl.Float64)
        for ends in ([s.low for s in series.values()], [s.high for s in series.values()])
    )
    outside = ((pl.col("value") < low) | (pl.col("value") > high)).fill_null(value=False)
    new = outside & ~pl.col("bad")
    return frame.with_columns(
        bad=pl.col("bad") | new,
        reason=pl.when(new).then(pl.lit("out_of_range")).otherwise("reason"),
    )


def _screen_alone(
    part: pl.DataFrame, signal: Signal
) -> tuple[pl.DataFrame, tuple[Floats, Floats, Bools]]:
    """Tests that need one tag only; also times [s], values and soundness for what follows."""
    at_s = part["ts_utc"].cast(pl.Datetime("us", "UTC")).to_physical().to_numpy() / 1e6
    value = part["value"].fill_null(float("nan")).to_numpy().astype(np.float64)
    good = ~part["bad"].to_numpy().astype(bool)
    reason = np.full(part.height, None, dtype=object)

    def mark(rows: Bools, word: str) -> None:
        reason[rows & good] = word
        good[rows] = False

    with np.errstate(invalid="ignore"):
        mark((value < signal.low) | (value > signal.high), "out_of_range")
    if signal.quantity == "ph":
        mark(_on_good(good, calibrations(at_s[good], value[good])), "calibration")
    span = signal.high - signal.low
    mark(_on_good(good, spikes(at_s[good], value[good], signal.every_s, span)), "spike")
    return _with_reasons(part, reason), (at_s, value, good)


def _screen_frozen(
    part: pl.DataFrame, signal: Signal, moved: _Movement, at_s: Floats
) -> pl.DataFrame:
    """Mark readings of a transmitter that stood still while the plant moved."""
    good = ~part["bad"].to_numpy().astype(bool)
    value = part["value"].fill_null(float("nan")).to_numpy()[good]
    resting = _resting(value, signal)
    gap_s = 60.0 * signal.longest_gap_min
    reason = np.full(part.height, None, dtype=object)
    rows = np.flatnonzero(good)
    for first, last in frozen_runs(at_s[good], value, resting, gap_s):
        if moved.without(signal.tag, at_s[rows[first]], at_s[rows[last]]):
            # The first reading of a run was still a measurement.
            reason[rows[first + 1 : last + 1]] = "frozen"
    return _with_reasons(part, reason)


def _resting(value: Floats, signal: Signal) -> Bools:
    """Readings that may stand still: idle flows, levels at one end of their scale."""
    if signal.quantity in _AT_ZERO_WHEN_IDLE and value.size:
        return np.abs(value) <= _REST_SHARE * float(np.quantile(np.abs(value), 0.95))
    if signal.quantity in ("level", "mud_level"):
        return (value <= 0.0) | (value >= 100.0)
    return np.zeros(value.size, dtype=bool)


class _Movement:
    """Tells whether the plant moved, from how often its tags changed in each hour."""

    def __init__(self, series: dict[str, tuple[Floats, Floats, Bools]]) -> None:
        starts = [at_s[0] for at_s, _, _ in series.values() if at_s.size]
        ends = [at_s[-1] for at_s, _, _ in series.values() if at_s.size]
        self._first_h = int(min(starts, default=0.0) // 3600)
        hours = int(max(ends, default=0.0) // 3600) - self._first_h + 1
        self._share: dict[str, Floats] = {}
        for tag, (at_s, value, good) in series.items():
            changed = np.flatnonzero(np.diff(value[good]) != 0.0) + 1
            hour = (at_s[good][changed] // 3600).astype(np.int64) - self._first_h
            counts = np.bincount(hour, minlength=hours)
            busy = counts[counts > 0]
            usual = float(np.median(busy)) if busy.size else 0.0
            if usual >= _WITNESS_CHANGES_1_H:
                self._share[tag] = np.minimum(counts / usual, 1.0)

    def without(self, tag: str, start_s: float, end_s: float) -> bool:
        """Whether at least half of the other tags changed at 30 % of their usual rate or more.

        A tag without other witnesses is judged by its own habits alone.
        """
        hours = slice(int(start_s // 3600) - self._first_h, int(end_s // 3600) - self._first_h + 1)
        others = [share[hours] for name, share in self._share.items() if name != tag]
        return not others or float(np.median(others, axis=0).mean()) >= 0.3


def _on_good(good: Bools, found: Bools) -> Bools:
    """Spread marks found among the good readings back over all of them."""
    rows = np.zeros(good.size, dtype=bool)
    rows[np.flatnonzero(good)[found]] = True
    return rows


def _with_reasons(part: pl.DataFrame, reason: NDArray[np.object_]) -> pl.DataFrame:
    """Readings with new marks laid over the old ones."""
    if not (reason != None).any():  # noqa: E711  (element by element; most tags of a day are sound)
        return part
    new = pl.Series("new", reason.tolist(), dtype=pl.String)
    return part.with_columns(
        bad=pl.col("bad") | new.is_not_null(), reason=pl.coalesce("reason", new)
    )
