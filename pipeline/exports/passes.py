"""The hour that comes twice when clocks go back, told apart by the order of the rows.

Local times without an offset say that hour twice. Where a file holds both passes one after the
other, the step back between them shows which is which: the first is summer time, the second
standard time (the other way round in a file that tells the newest first). Without such evidence
the mill's own rule decides (``mill.ambiguous``).

Evidence is looked for in one run of rows at a time: rows of the repeated hour with no other row
between them. A run that reaches the end of a batch waits for the next one, so that the cut of
batches has no part in it.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.cells import moments, repeated
from pipeline.exports.evidence import Evidence
from pipeline.layouts import Plan, joined_time

#: Columns added to the rows of a batch: the local moment, the one that states its zone, and which
#: pass of a repeated hour a row is of (1, 2, or 0 for not known). No column of an export is called
#: so: names are stripped of blanks.
NAIVE: Final = " naive"
STATED: Final = " stated"
PASS: Final = " pass"
ADDED: Final = (NAIVE, STATED, PASS)

#: Rows that may wait for the next batch, and runs of a batch: beyond that there is no order.
_MOST_HELD: Final = 2_000_000
_MOST_RUNS: Final = 10_000
#: Between the passes no more time may be missing than this many usual steps, or this long [us].
_STEPS_MISSING: Final = 2
_MISSING_US: Final = 300_000_000
_EPOCH: Final = datetime(1970, 1, 1)  # noqa: DTZ001 (local times have no zone)
_Run = tuple[int, int, int | None]


class Passes:
    """Adds moments to batches of a table, and the pass of each row of a repeated hour.

    Parameters
    ----------
    plan : Plan
    zone : str
        Zone of local times.
    evidence : Evidence
        Told where the order of rows decided.
    """

    def __init__(self, plan: Plan, zone: str, evidence: Evidence) -> None:
        self._plan, self._zone, self._evidence = plan, zone, evidence
        self._held: pl.DataFrame | None = None

    @property
    def holds(self) -> bool:
        """Some rows wait for those after them."""
        return self._held is not None

    def settled(self, raw: pl.DataFrame | None) -> pl.DataFrame | None:
        """Rows with the columns `ADDED`, of all that came so far; None where all of them wait.

        Parameters
        ----------
        raw : polars.DataFrame or None
            The next batch; None when there is no further one.
        """
        held, self._held = self._held, None
        rows = [frame for frame in (held, raw) if frame is not None]
        if not rows:
            return None
        whole = pl.concat(rows, how="diagonal") if len(rows) > 1 else rows[0]
        times = joined_time(whole, self._plan)[self._plan.time]
        naive, stated = moments(times, self._plan.time_formats, given=self._plan.formats_given)
        timed = whole.with_columns(naive.alias(NAIVE), stated.alias(STATED))
        twice = self._of_repeated_hour(naive)
        if twice is None:
            return timed
        there = np.flatnonzero(naive.is_not_null().to_numpy())
        runs = _runs(there, twice.to_numpy()[there], naive.to_physical().to_numpy())
        if raw is not None and runs and runs[-1][2] is None:
            first = int(there[runs[-1][0]])
            if timed.height - first <= _MOST_HELD:
                self._held = whole[first:]
                timed, runs = timed[:first], runs[:-1]
        if not timed.height:
            return None
        if len(runs) > _MOST_RUNS:
            return timed
        return self._with_passes(timed, there, runs)

    def _of_repeated_hour(self, naive: pl.Series) -> pl.Series | None:
        """Rows whose local time comes twice; None where there is none."""
        quarter = naive.dt.truncate("15m")
        met = quarter.unique().drop_nulls()
        twice = met.filter(repeated(met, self._zone))
        if twice.is_empty():
            return None
        return quarter.is_in(twice.to_list()).fill_null(value=False)

    def _with_passes(
        self, timed: pl.DataFrame, there: NDArray[np.intp], runs: list[_Run]
    ) -> pl.DataFrame:
        """Add the pass of each row that is in a run with evidence."""
        which = np.zeros(timed.height, np.int8)
        local = timed[NAIVE].to_physical().to_numpy()
        tags = None
        if self._plan.tag is not None:
            tags = timed[self._plan.tag].cast(pl.String).rank("dense").fill_null(0).to_numpy()
        for start, end, following in runs:
            rows = there[start:end]
            times = local[rows].astype(np.int64)
            shift_us = self._shift_us(int(times[0]))
            found = _in_order(times, following, shift_us)
            if found is not None:
                which[rows] = found
            elif tags is not None:
                for tag in np.unique(tags[rows]):
                    own = rows[tags[rows] == tag]
                    found = _in_order(local[own].astype(np.int64), None, shift_us)
                    if found is not None:
                        which[own] = found
            if which[rows].any():
                at = _EPOCH + timedelta(microseconds=int(times.min()))
                self._evidence.note(
                    f"{at:%Y-%m-%d}: the hour from {at:%H}:00 that comes twice is in the file "
                    "twice, in order; its first pass is read as summer time, its second as "
                    "standard time."
                )
        return timed.with_columns(pl.Series(PASS, which)) if which.any() else timed

    def _shift_us(self, local_us: int) -> int:
        """How far the clock goes back around a repeated local time [us]."""
        zone, at = ZoneInfo(self._zone), _EPOCH + timedelta(microseconds=local_us)
        early, late = (at.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
        return (late - early) // timedelta(microseconds=1)


def _runs(
    there: NDArray[np.intp], twice: NDArray[np.bool_], local_us: NDArray[np.int64]
) -> list[_Run]:
    """Runs of rows of a repeated hour: places in `there` from, to, and the local time after."""
    edges = np.flatnonzero(np.diff(twice.astype(np.int8), prepend=0, append=0))
    return [
        (int(start), int(end), int(local_us[there[end]]) if end < len(there) else None)
        for start, end in zip(edges[::2], edges[1::2], strict=True)
    ]


def _in_order(
    times: NDArray[np.int64], following: int | None, shift_us: int
) -> NDArray[np.int8] | None:
    """Pass of each of some rows, when their order shows two; else None.

    All rows must run one way but for one step against it, and that step must be what a clock set
    back shows, with little time missing.
    """
    step = np.diff(times)
    for sign in _directions(times, step, following):
        with_it, against = step * sign > 0, step * sign < 0
        if int(against.sum()) != 1 or not with_it.any():
            continue
        back = int(np.abs(step[against])[0])
        usual = float(np.median(np.abs(step[with_it])))
        missing = shift_us - back
        if not 0 <= missing <= max(_STEPS_MISSING * usual, _MISSING_US):
            continue
        after = np.arange(len(times)) > int(np.flatnonzero(against)[0])
        return np.where(after == (sign > 0), 2, 1).astype(np.int8)
    return None


def _directions(
    times: NDArray[np.int64], step: NDArray[np.int64], following: int | None
) -> tuple[int, ...]:
    """Ways the file may run: oldest first (1), newest first (-1)."""
    if int((step > 0).sum()) != int((step < 0).sum()):
        return (1, -1)
    if following is None or not len(times):
        return ()
    return (1,) if following > times[-1] else (-1,)
