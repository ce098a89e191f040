"""Screening of readings: what cannot be a measurement is marked bad, with the reason in words.

Nothing is removed and no value is changed: a marked reading keeps its number, so that anyone
can see what was left out and why. The tests look at one tag's own past and, for a frozen
transmitter, at whether the plant around it moved.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import (
    Each,
    LabSource,
    Signal,
    by_tag,
    times_us,
    values,
)
from features.signal.quality_tests import calibrations, frozen_runs, spikes

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
    parts = screen_by_tag(by_tag(readings), signals, lab)
    return pl.concat(parts.values()) if parts else readings


def screen_by_tag(
    parts: Mapping[str, pl.DataFrame],
    signals: Sequence[Signal],
    lab: Sequence[LabSource] = (),
    each: Each = map,
) -> dict[str, pl.DataFrame]:
    """Mark readings that cannot be measurements, in readings parted by tag.

    Parameters
    ----------
    parts : mapping of str to polars.DataFrame
        Readings of each tag in order of time, as `features.base.readings.by_tag` gives them.
    signals, lab
        As `screen` takes them.
    each : callable
        Goes through the tags, as ``map`` does.

    Returns
    -------
    dict of str to polars.DataFrame
        What `screen` gives, parted by tag: joined and parted again, a week of readings costs more
        than all tests.
    """
    # Readings of several days lie in pieces, which every look at them would join again.
    numbers = each(lambda part: _mark_not_numbers(_in_one_piece(part)), parts.values())
    parts = dict(zip(parts, numbers, strict=True))
    for source in lab:
        if source.tag in parts:
            parts[source.tag] = _mark_lab(parts[source.tag], source)
    here = [s for s in signals if s.tag in parts]
    tested = each(lambda signal: _Series(parts[signal.tag], signal), here)
    series = {s.tag: alone for s, alone in zip(here, tested, strict=True)}
    still = {tag: alone.still for tag, alone in series.items() if alone.still}
    if still:  # most days nothing stands still, and nobody need be asked who moved
        moved = _Movement(series)
        for tag, runs in still.items():
            series[tag].mark_frozen(runs, moved)
    marked = each(_Series.marked, series.values())
    return parts | dict(zip(series, marked, strict=True))


def _in_one_piece(part: pl.DataFrame) -> pl.DataFrame:
    return part.with_columns(part["ts_utc"].rechunk(), part["value"].rechunk())


def _mark_not_numbers(frame: pl.DataFrame) -> pl.DataFrame:
    """Null for values that are no numbers, bad where they were not so already."""
    if frame["value"].null_count() == 0 and np.isfinite(values(frame)).all():
        return frame
    number = pl.col("value").is_finite().fill_null(value=False)
    new = ~number & ~pl.col("bad")
    return frame.with_columns(
        value=pl.when(number).then("value"),
        bad=pl.col("bad") | new,
        reason=pl.when(new).then(pl.lit("not_a_number")).otherwise("reason"),
    )


def _mark_lab(part: pl.DataFrame, source: LabSource) -> pl.DataFrame:
    """Mark lab results outside the range of their series."""
    outside = (pl.col("value") < source.low) | (pl.col("value") > source.high)
    new = outside.fill_null(value=False) & ~pl.col("bad")
    return part.with_columns(
        bad=pl.col("bad") | new,
        reason=pl.when(new).then(pl.lit("out_of_range")).otherwise("reason"),
    )


class _Series:
    """Readings of one tag and what the tests say of them.

    Attributes
    ----------
    at_s, value : array, shape (n,)
        Times [s] and values.
    good : array of bool, shape (n,)
        Readings no test but that for frozen transmitters found bad.
    still : list of (first, last)
        First and last position of periods far stiller than the tag's habit.
    """

    def __init__(self, part: pl.DataFrame, signal: Signal) -> None:
        self._part, self._signal = part, signal
        self.at_s: Floats = times_us(part) / 1e6
        self.value: Floats = values(part)
        self.good: Bools = ~part["bad"].to_numpy()
        self._all_good = bool(self.good.all())
        self._word = np.zeros(part.height, dtype=np.int8)
        with np.errstate(invalid="ignore"):
            self._mark((self.value < signal.low) | (self.value > signal.high), "out_of_range")
        if signal.quantity == "ph":
            self._mark(self._among_good(calibrations(*self._sound())), "calibration")
        span = signal.high - signal.low
        self._mark(self._among_good(spikes(*self._sound(), signal.every_s, span)), "spike")
        self.still = self._standing()

    def _standing(self) -> list[tuple[int, int]]:
        at_s, value = self._sound()
        gap_s = 60.0 * self._signal.longest_gap_min
        runs = frozen_runs(at_s, value, lambda: _resting(value, self._signal), gap_s)
        if not runs:
            return []
        rows = np.flatnonzero(self.good)
        return [(int(rows[first]), int(rows[last])) for first, last in runs]

    def mark_frozen(self, runs: Sequence[tuple[int, int]], moved: _Movement) -> None:
        """Mark those periods during which the plant moved."""
        for first, last in runs:
            if moved.without(self._signal.tag, self.at_s[first], self.at_s[last]):
                # The first reading of a run was still a measurement.
                inside = slice(first + 1, last + 1)
                self._word[inside][self.good[inside]] = _word("frozen")

    def marked(self) -> pl.DataFrame:
        """Readings with new marks laid over the old ones."""
        if not self._word.any():  # most tags of a day are sound
            return self._part
        new = pl.Series([None, *REASONS], dtype=pl.String).gather(self._word)
        return self._part.with_columns(
            bad=pl.col("bad") | new.is_not_null(), reason=pl.coalesce("reason", new)
        )

    def _sound(self) -> tuple[Floats, Floats]:
        if self._all_good:
            return self.at_s, self.value
        return self.at_s[self.good], self.value[self.good]

    def _among_good(self, found: Bools) -> Bools:
        """Spread marks found among the good readings back over all of them."""
        if self._all_good:
            return found
        rows = np.zeros(self.good.size, dtype=bool)
        rows[np.flatnonzero(self.good)[found]] = True
        return rows

    def _mark(self, rows: Bools, word: str) -> None:
        if not rows.any():
            return
        self._word[rows & self.good] = _word(word)
        self.good &= ~rows
        self._all_good = False


def _word(reason: str) -> int:
    """Stand-in for a reason, 0 being none."""
    return 1 + REASONS.index(reason)


def _resting(value: Floats, signal: Signal) -> Bools:
    """Readings that may stand still: idle flows, levels at one end of their scale."""
    if signal.quantity in _AT_ZERO_WHEN_IDLE and value.size:
        return np.abs(value) <= _REST_SHARE * float(np.quantile(np.abs(value), 0.95))
    if signal.quantity in ("level", "mud_level"):
        return (value <= 0.0) | (value >= 100.0)
    return np.zeros(value.size, dtype=bool)


class _Movement:
    """Tells whether the plant moved, from how often its tags changed in each hour."""

    def __init__(self, series: dict[str, _Series]) -> None:
        starts = [alone.at_s[0] for alone in series.values() if alone.at_s.size]
        ends = [alone.at_s[-1] for alone in series.values() if alone.at_s.size]
        self._first_h = int(min(starts, default=0.0) // 3600)
        hours = int(max(ends, default=0.0) // 3600) - self._first_h + 1
        self._share: dict[str, Floats] = {}
        for tag, alone in series.items():
            value = alone.value[alone.good]
            changed = np.flatnonzero(value[1:] != value[:-1]) + 1
            hour = (alone.at_s[alone.good][changed] // 3600).astype(np.int64) - self._first_h
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
