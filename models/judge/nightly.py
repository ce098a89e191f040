"""When an event is first on the list, if the search runs every morning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import polars as pl

from models.judge.marks import FOUND_IOU, Floats, Spans, owners, pointing, to_spans, united_iou
from models.judge.together import named_right, parted

#: An event counts as timely when it is listed by this morning after its start.
TIMELY_MORNING = 2


@dataclass(frozen=True)
class NightlyList:
    """The list as it stood one morning.

    Attributes
    ----------
    at_utc : datetime
        End of the data the list rests on.
    findings : polars.DataFrame
        started, ended at least; of the findings on the list that morning.
    """

    at_utc: datetime
    findings: pl.DataFrame


@dataclass(frozen=True)
class Wait:
    """How long one event waited.

    Attributes
    ----------
    listed_d, found_d : float or None
        Days from its start to the first morning on which it was on the list, and to the first on
        which it was found; None when it never was.
    timely, found_timely : bool
        Whether it was on the list, and whether it was found, on the first or second morning after
        its start.
    """

    listed_d: float | None = None
    found_d: float | None = None
    timely: bool = False
    found_timely: bool = False


def first_listed(
    nightly_lists: Sequence[NightlyList], events: Spans, causes: Sequence[str] = ()
) -> list[Wait]:
    """For each event the wait until it is on the list, and until it is found.

    Parameters
    ----------
    nightly_lists : sequence of Morning
        In order of time.
    events : array, shape (m, 2)
        Planted losses [h since 1970].
    causes : sequence of str
        Of these losses; they part findings where losses overlap, and are not asked elsewhere.

    Returns
    -------
    list of Wait
        One an event.

    Notes
    -----
    Only the part of an event before the morning counts: it is on the list when a finding points at
    that part (``marks.pointing``), and found when its findings, united, have an intersection over
    union of at least 0.5 with it. A finding that is later withdrawn has still been read. Where
    data end before the second morning, the last list is the second morning's too.
    """
    waits = [Wait()] * len(events)
    turn = np.zeros(len(events), dtype=np.int64)
    for nightly in nightly_lists:
        now_h = nightly.at_utc.timestamp() / 3600.0
        begun = np.flatnonzero(events[:, 0] < now_h)
        turn[begun] += 1
        so_far = np.column_stack([events[begun, 0], np.minimum(events[begun, 1], now_h)])
        known = [causes[i] for i in begun.tolist()] if len(causes) else []
        listed = parted(nightly.findings, so_far, known)
        spans = to_spans(listed, "started", "ended")
        right = named_right(listed, known) if known and "cause" in listed.columns else None
        shown, held = set(pointing(spans, so_far, right).tolist()), owners(spans, so_far, right)
        for i, event in enumerate(begun.tolist()):
            wait, since_d = waits[event], (now_h - float(events[event, 0])) / 24.0
            in_time = bool(turn[event] <= TIMELY_MORNING)
            if wait.listed_d is None and i in shown:
                wait = replace(wait, listed_d=since_d, timely=in_time)
            iou = united_iou(spans[held == i], so_far[i : i + 1])
            if wait.found_d is None and iou >= FOUND_IOU:
                wait = replace(wait, found_d=since_d, found_timely=in_time)
            waits[event] = wait
    return waits


def as_it_stood(findings: pl.DataFrame, at_utc: datetime) -> NightlyList:
    """List that a rule which looks at each moment alone would have shown one morning.

    Parameters
    ----------
    findings : polars.DataFrame
        started, ended of the whole season.
    at_utc : datetime
        The morning; later findings are left out, running ones end there.
    """
    begun = findings.filter(pl.col("started") < at_utc)
    return NightlyList(at_utc, begun.with_columns(pl.min_horizontal("ended", pl.lit(at_utc))))


def median_wait_d(waits: Sequence[float | None]) -> float | None:
    """Median of waits in which "never" is longer than any other [d]; None when it is "never"."""
    if not waits:
        return None
    middle = float(np.quantile(_waits(waits), 0.5, method="higher"))
    return middle if np.isfinite(middle) else None


def _waits(waits: Sequence[float | None]) -> Floats:
    return np.array([np.inf if w is None else w for w in waits], dtype=np.float64)
