"""Clocks that jump: steps back, and periods during which a clock ran ahead.

A step back shows a clock that was set back. Where the same tag stepped forward by about as much
some readings before, the clock had been set ahead and was put right: all readings between are
stamped late. A step forward alone is a gap like any other. What is found is told; it changes
nothing, for the rows cannot say which of two clocks was right.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import polars as pl

from pipeline.files import shown

#: Least jump worth telling [s].
JUMP_S: Final = 60.0
#: Share of steps back, and their number, from which on a table is in no order at all.
_LOST_SHARE: Final = 0.02
_LOST_LEAST: Final = 3
#: A jump ahead is at least this many usual steps long, and what it is put right by differs from it
#: by the steps on both sides, and by this share (estimates).
_LEAST_STEPS: Final = 5
_CLOSE: Final = 0.02
_CLOSE_S: Final = 2.0
#: Steps forward remembered of each tag; tags told of each kind of jump.
_MOST_LEAPS: Final = 20
_MOST_TOLD: Final = 5
_UTC: Final = pl.Datetime("us", "UTC")


@dataclass(slots=True)
class _Jumps:
    """Jumps of one kind of one tag: how many, and the first."""

    count: int
    before: datetime
    after: datetime
    ahead_s: float = 0.0


class ClockWatch:
    """What the times of a table have shown so far."""

    def __init__(self) -> None:
        self._last: dict[str, datetime] = {}
        self._leaps: dict[str, deque[tuple[datetime, datetime]]] = {}
        self._back: dict[str, _Jumps] = {}
        self._ahead: dict[str, _Jumps] = {}
        self._order_lost = False

    def watch(self, readings: pl.DataFrame) -> None:
        """Look at the order of the readings of a batch (ts_utc, tag), some of them left out."""
        if readings.is_empty() or self._order_lost:
            return
        steps = self._steps(readings)
        last = readings.group_by("tag").agg(pl.col("ts_utc").last())
        self._last.update(dict(last.iter_rows()))
        limit = timedelta(seconds=JUMP_S)
        back = pl.col("step") <= -limit
        count = steps.filter(back).height
        # Newest first, or in no order at all, is no clock that jumps.
        if count > max(_LOST_LEAST, _LOST_SHARE * steps.height):
            self._order_lost = True
            self._back.clear()
            self._ahead.clear()
            return
        far = (pl.col("step") >= limit) & (
            pl.col("step").rank("ordinal", descending=True).over("tag") <= _MOST_LEAPS + count
        )
        usual = pl.col("step").filter(pl.col("step") > timedelta(0)).median().over("tag")
        parts = steps.with_columns(usual=usual).filter(back | far)
        for tag, after, before, step, usual_step in parts.iter_rows():
            if step > timedelta(0):
                leaps = self._leaps.setdefault(tag, deque(maxlen=_MOST_LEAPS))
                leaps.append((before, after))
            else:
                self._step_back(tag, before, after, usual_step)

    def notes(self) -> list[str]:
        """Jumps found, the tags of each kind in order, the first few of them."""
        ahead = [
            f"{shown(tag)}: the clock runs ahead by about {_length(j.ahead_s)}"
            f"{_times(j.count)} after {j.before:%Y-%m-%d %H:%M:%S} until it is put right at "
            f"{j.after:%Y-%m-%d %H:%M:%S} UTC."
            for tag, j in sorted(self._ahead.items())
        ]
        back = [
            f"{shown(tag)}: the clock goes back {j.count} times, first from "
            f"{j.before:%Y-%m-%d %H:%M:%S} to {j.after:%Y-%m-%d %H:%M:%S} UTC."
            for tag, j in sorted(self._back.items())
        ]
        return [*_few(ahead, "runs ahead"), *_few(back, "goes back")]

    def _steps(self, readings: pl.DataFrame) -> pl.DataFrame:
        """Each reading with the moment of the one before it of the same tag, and the step."""
        before = pl.col("ts_utc").shift(1).over("tag")
        stepped = readings.select("tag", "ts_utc", before=before)
        if self._last:
            first = stepped.with_row_index("row").filter(pl.col("before").is_null())
            carried = [self._last.get(tag) for tag in first["tag"]]
            column = stepped["before"].scatter(first["row"], pl.Series(carried, dtype=_UTC))
            stepped = stepped.with_columns(column.alias("before"))
        known = stepped.filter(pl.col("before").is_not_null())
        return known.with_columns(step=pl.col("ts_utc") - pl.col("before"))

    def _step_back(
        self, tag: str, before: datetime, after: datetime, usual: timedelta | None
    ) -> None:
        """Enter a step back: the end of a period ahead, or a jump of its own."""
        leap = None if usual is None else self._leap_before(tag, before, after, usual)
        if leap is None or usual is None:
            jump = self._back.setdefault(tag, _Jumps(0, before, after))
        else:
            jump = self._ahead.setdefault(tag, _Jumps(0, leap[0], after))
            jump.ahead_s = jump.ahead_s or (leap[1] - leap[0] - usual).total_seconds()
            self._leaps[tag].remove(leap)
        jump.count += 1

    def _leap_before(
        self, tag: str, before: datetime, after: datetime, usual: timedelta
    ) -> tuple[datetime, datetime] | None:
        """Step forward that a step back puts right, the latest one if there are several."""
        back = before - after
        if back < _LEAST_STEPS * usual:
            return None
        close = 2 * usual + max(timedelta(seconds=_CLOSE_S), _CLOSE * back)
        for leap in reversed(self._leaps.get(tag, ())):
            lead = leap[1] - leap[0]
            # One usual step is part of the step forward, and one is missing from the step back.
            if abs(lead - (back + 2 * usual)) <= close and leap[0] <= after and leap[1] < before:
                return leap
        return None


def _few(lines: list[str], what: str) -> list[str]:
    more = len(lines) - _MOST_TOLD
    if more <= 0:
        return lines
    return [*lines[:_MOST_TOLD], f"The clock of {more} more tags {what} too."]


def _times(count: int) -> str:
    return "" if count == 1 else f", {count} times, first"


def _length(seconds: float) -> str:
    """Length of time in the unit a person would use."""
    for unit, length in (("days", 86_400), ("h", 3600), ("min", 60)):
        if seconds >= 2 * length:
            return f"{seconds / length:.3g} {unit}"
    return f"{seconds:.0f} s"
