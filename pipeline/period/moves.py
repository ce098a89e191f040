"""What moved around a period: every tag, doses per juice and probe errors, from the lake."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

import numpy as np
import polars as pl
import polars.selectors as cs

from models.account import Moved, Named, all_moves, family_of, name_first, tracked_signals
from models.base import Array, Minutes, to_minutes
from pipeline.base import Window
from pipeline.lake import GRID, LOSSES, STATION, ZONES, Lake, lake_of
from pipeline.mill import Mill

#: Read before and after a period: what is usual is learnt there, and juice followed on.
_BEFORE: Final = timedelta(days=4)
_AFTER: Final = timedelta(days=1)
#: Read of a longer period: nobody asks what moved first in a month, but in its first days.
_LONGEST: Final = timedelta(days=12)
#: What the search says of the probes.
_TRUE: Final = ("ph_limed_true", "ph_clear_true")
#: Families in which a change acts everywhere at once.
_ON_CLOCK: Final = frozenset({"feed"})


@dataclass(frozen=True)
class Around:
    """Signals around a period, ready to be asked.

    Attributes
    ----------
    mill : Mill
    start : datetime
        First minute read.
    period : tuple of int
        Minutes of the period, counted from there.
    columns : dict of str to ndarray
        Readings by minute and signal.
    minutes : Minutes
    biases : dict of str to ndarray
        Reading minus truth of the pH probes.
    """

    mill: Mill
    start: datetime
    period: tuple[int, int]
    columns: dict[str, Array]
    minutes: Minutes
    biases: dict[str, Array]

    def at(self, minute: float) -> datetime:
        """Moment of a minute counted from the first."""
        return self.start + timedelta(minutes=round(minute))

    def moves(self, *, on_clock: bool) -> list[Moved]:
        """How every signal left its usual, first to move first."""
        signals = tracked_signals(self.columns, self.minutes, self.biases, self.mill.station)
        return all_moves(signals, self.period, on_clock=on_clock)


@dataclass(frozen=True)
class Told:
    """What moved around a loss, and what is named first.

    Attributes
    ----------
    moves : list of Moved
        First to move first.
    named : Named or None
    on_clock : bool
        Whether moments are by the clock; else on parcel time.
    """

    moves: list[Moved]
    named: Named | None
    on_clock: bool


class DaysRead:
    """Days of features, each read once however many periods lie around it."""

    def __init__(self, lake: Lake) -> None:
        self._lake = lake
        self._days: dict[tuple[str, date], pl.DataFrame] = {}
        self.worked_out = lake.feature_days(STATION)

    def read(
        self, kind: str, first: date, last: date, columns: Sequence[str] | None = None
    ) -> pl.DataFrame:
        """Features as ``Lake.read_features`` gives them; of one kind always the same columns."""
        frames = []
        for n in range((last - first).days + 1):
            day = first + timedelta(days=n)
            if (kind, day) not in self._days:
                self._days[kind, day] = self._lake.read_features(kind, day, day, columns)
            frames.append(self._days[kind, day])
        frames = [frame for frame in frames if frame.width]
        return pl.concat(frames, how="diagonal") if frames else pl.DataFrame()


def around(
    mill: Mill, window: Window, losses: pl.DataFrame | None = None, days: DaysRead | None = None
) -> Around | None:
    """Read the signals around a period; None where nothing was worked out there.

    Parameters
    ----------
    mill : Mill
    window : Window
    losses : polars.DataFrame, optional
        Minutes of a search (`models.find.LOSS_COLUMNS`); those of the lake without.
    days : DaysRead, optional
        Where other periods of the same lake were read before.
    """
    read = days or DaysRead(lake_of(mill))
    last = min(window.end, window.start + _LONGEST)
    first, until = window.start - _BEFORE, last + _AFTER
    known_days = read.worked_out
    if not known_days:
        return None
    first = max(first, datetime.combine(known_days[0], datetime.min.time(), first.tzinfo))
    ended = datetime.combine(known_days[-1], datetime.min.time(), first.tzinfo) + timedelta(days=1)
    until = min(until, ended)
    if until <= first:
        return None
    axis = pl.datetime_range(first, until, "1m", eager=True, closed="left", time_unit="us")
    times = pl.DataFrame({"ts_utc": axis.cast(pl.Datetime("us", "UTC"))})
    minutes = _minutes(read, times)
    if minutes is None:
        return None
    grid = _on(times, read.read(GRID, first.date(), until.date()))
    if losses is None:
        losses = read.read(LOSSES, first.date(), until.date(), ("ts_utc", *_TRUE))
    losses = _on(times, losses.select(cs.by_name("ts_utc", *_TRUE, require_all=False)))
    columns = {s.name: _array(grid, s.name) for s in mill.station.signals if s.name in grid.columns}
    period = tuple(int((m - first).total_seconds() // 60) for m in (window.start, last))
    biases = {point: _bias(minutes, losses, point) for point in ("limed", "clear")}
    known = {point: bias for point, bias in biases.items() if bias is not None}
    return Around(mill, first, (max(period[0], 0), period[1]), columns, minutes, known)


def told_of(known: Around, cause: str, driver: str, zone: str) -> Told:
    """What moved around a loss of a cause, or else of a driver, at a zone."""
    family = family_of(cause, driver, zone)
    on_clock = family in _ON_CLOCK
    moves = known.moves(on_clock=on_clock)
    named = name_first(moves, family, zone, known.mill.station, cause) if family else None
    return Told(moves, named, on_clock)


def _minutes(days: DaysRead, times: pl.DataFrame) -> Minutes | None:
    first, last = times["ts_utc"][0].date(), times["ts_utc"][-1].date()
    station = days.read(STATION, first, last)
    wanted = ("ts_utc", "zone", "loss_kg_h", "residence_min", "residence_sd_min")
    zones = days.read(ZONES, first, last, wanted)
    if station.is_empty() or zones.is_empty():
        return None
    whole = [
        _on(times, part).with_columns(zone=pl.lit(part["zone"][0]))
        for part in zones.partition_by("zone", maintain_order=True)
    ]
    return to_minutes(_on(times, station), pl.concat(whole))


def _on(times: pl.DataFrame, frame: pl.DataFrame) -> pl.DataFrame:
    """Every minute once; null where the frame has none."""
    if frame.is_empty():
        return times
    axis = times["ts_utc"]
    inside = frame.filter(pl.col("ts_utc").is_between(axis[0], axis[-1]))
    if inside["ts_utc"].equals(axis):  # days without a hole: nothing has to be looked for
        return inside
    once = inside.unique("ts_utc", keep="first")
    return times.join(once, on="ts_utc", how="left", maintain_order="left")


def _array(frame: pl.DataFrame, name: str) -> Array:
    values = frame[name].cast(pl.Float64, strict=False).fill_null(float("nan")).to_numpy()
    return np.where(np.isfinite(values), values, np.nan)


def _bias(minutes: Minutes, losses: pl.DataFrame, point: str) -> Array | None:
    """Error of a probe by minute, carried over minutes without a reading; None where unknown."""
    if f"ph_{point}_true" not in losses.columns:
        return None
    bias = minutes.station[f"ph_{point}"] - _array(losses, f"ph_{point}_true")
    known = np.flatnonzero(np.isfinite(bias))
    if not len(known):
        return None
    return np.asarray(np.interp(np.arange(len(bias)), known, bias[known]))
