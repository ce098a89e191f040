"""Which finding speaks of which event: spans of time and what they share.

Times are hours in arrays of shape (n, 2): start and end.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Spans = NDArray[np.float64]

FOUND_IOU = 0.5
FALSE_IOU = 0.1
FALSE_SHARE = 0.5
#: Of events that overlap, one that shares this much of the time of the first may own a finding.
RIVAL_SHARE = 0.5

UTC_TIME = pl.Datetime("us", "UTC")
_LEAST_H = 1e-9


def to_spans(frame: pl.DataFrame, start: str, end: str) -> Spans:
    """Start and end of every row [h since 1970], shape (n, 2)."""
    columns = [frame[c].cast(UTC_TIME).dt.epoch("us").to_numpy() / 3.6e9 for c in (start, end)]
    return np.column_stack(columns).reshape(-1, 2).astype(np.float64)


def hours_of(spans: Spans) -> Floats:
    """Length of each span [h]."""
    return np.asarray(spans[:, 1] - spans[:, 0])


def shared_h(left: Spans, right: Spans) -> Floats:
    """Hours that every left span shares with every right span, shape (n_left, n_right)."""
    begin = np.maximum(left[:, None, 0], right[None, :, 0])
    end = np.minimum(left[:, None, 1], right[None, :, 1])
    return np.asarray(np.clip(end - begin, 0.0, None))


def merged(spans: Spans) -> Spans:
    """Union of spans as spans that do not overlap, in order."""
    out: list[list[float]] = []
    for begin, end in spans[np.argsort(spans[:, 0], kind="stable")].tolist():
        if out and begin <= out[-1][1]:
            out[-1][1] = max(out[-1][1], end)
        else:
            out.append([begin, end])
    return np.array(out, dtype=np.float64).reshape(-1, 2)


def united_iou(pieces: Spans, event: Spans) -> float:
    """Intersection over union of several spans, united, and one event of shape (1, 2)."""
    union = merged(pieces)
    shared = float(shared_h(union, event).sum())
    whole = float(hours_of(union).sum() + hours_of(event).sum()) - shared
    return shared / whole if whole > 0 else 0.0


def owners(findings: Spans, events: Spans, right: Flags | None = None) -> NDArray[np.int64]:
    """Event with which each finding shares the most time; -1 where it shares none.

    Where events overlap, of those that share at least half as much with it as the first: one
    whose cause it names, else the one that it fits best (intersection over union).

    Parameters
    ----------
    findings : array, shape (n, 2)
    events : array, shape (m, 2)
    right : array of bool, shape (n, m), optional
        Whether a finding names the cause of an event.

    Returns
    -------
    array of int, shape (n_findings,)
    """
    owner = np.full(len(findings), -1, dtype=np.int64)
    if not len(events):
        return owner
    shared, iou = shared_h(findings, events), _each_iou(findings, events)
    meets = shared_h(events, events) > 0
    for i in np.flatnonzero(shared.max(axis=1, initial=0.0) > 0).tolist():
        first = int(shared[i].argmax())
        rivals = np.flatnonzero(meets[first] & (shared[i] >= RIVAL_SHARE * shared[i, first]))
        named = rivals[right[i, rivals]] if right is not None else rivals[:0]
        rivals = named if named.size else rivals
        owner[i] = rivals[iou[i, rivals].argmax()] if rivals.size > 1 or named.size else first
    return owner


def _each_iou(findings: Spans, events: Spans) -> Floats:
    shared = shared_h(findings, events)
    union = hours_of(findings)[:, None] + hours_of(events)[None, :] - shared
    return np.asarray(shared / np.maximum(union, _LEAST_H))


def false_ones(findings: Spans, events: Spans) -> Flags:
    """Findings that speak of no event.

    Less than half of their own time lies in events, and the intersection over union with every
    single event stays below 0.1.
    """
    own = np.maximum(hours_of(findings), _LEAST_H)
    inside = shared_h(findings, merged(events)).sum(axis=1) / own
    best = _each_iou(findings, events).max(axis=1, initial=0.0)
    return np.asarray((inside < FALSE_SHARE) & (best < FALSE_IOU))


def before_too_many_false(findings: Spans, events: Spans, most_false: float) -> int:
    """How many findings, best first, stand before one false finding more than allowed.

    Rules that cry often find much. Read down to the same number of false findings, lists of any
    length can be compared.
    """
    wrong = np.cumsum(false_ones(findings, events))
    return int(np.searchsorted(wrong, np.floor(most_false), side="right"))


def pointing(findings: Spans, events: Spans, right: Flags | None = None) -> NDArray[np.int64]:
    """Event that each finding points at; -1 where it points at none.

    A finding points at the event with which it shares the most time, when at least half of its
    own time lies in that event or the two have an intersection over union of at least 0.5. One
    finding over the whole season so points at nothing. `right` is that of `owners`.

    Returns
    -------
    array of int, shape (n_findings,)
    """
    target = owners(findings, events, right)
    rows = np.flatnonzero(target >= 0)
    if rows.size == 0:
        return target
    shared, iou = shared_h(findings, events), _each_iou(findings, events)
    own = np.maximum(hours_of(findings), _LEAST_H)
    at = (rows, target[rows])
    weak = (shared[at] < FALSE_SHARE * own[rows]) & (iou[at] < FOUND_IOU)
    target[rows[weak]] = -1
    return target


def claimed(findings: Spans, confusers: Spans, events: Spans) -> int:
    """How many look-alikes are claimed as a loss.

    By a finding that touches no event and has at least half of its own time in the look-alike,
    or covers at least half of the look-alike.
    """
    free = findings[owners(findings, events) < 0]
    shared = shared_h(free, confusers)
    of_finding = shared >= 0.5 * np.maximum(hours_of(free), _LEAST_H)[:, None]
    of_confuser = shared >= 0.5 * hours_of(confusers)[None, :]
    return int(((of_finding | of_confuser) & (shared > 0)).any(axis=0).sum())
