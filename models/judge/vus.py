"""Volume under the precision-recall surface: one number for a score against labelled periods.

Ordinary precision and recall count single readings, so that a score that rises a few minutes late
is punished as if it had found nothing. Here each labelled period has soft shoulders, of every width
up to a longest one, and the areas under the curves of all widths are averaged.

Definition: J. Paparrizos, P. Boniol, T. Palpanas, R. S. Tsay, A. Elmore & M. J. Franklin, "Volume
Under the Surface", PVLDB 15 (2022) 2774-2787 (memory; numbers checked against the authors' package
``vus``, see the tests).

Only the benchmark on a real plant's record asks for it: a mill's season has no labels.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.base import Array, runs_of

_THRESHOLDS = 250


def vus_pr(label: NDArray[np.bool_], score: Array, longest: int = 100) -> float:
    """Mean area under the precision-recall curves of labels with shoulders of every width.

    Parameters
    ----------
    label : ndarray of bool, shape (n,)
        True in labelled periods; at least one.
    score : ndarray, shape (n,)
        Higher where more unusual; NaN counts as the lowest.
    longest : int
        Largest width; a period's shoulder on either side is half of the width [readings].

    Returns
    -------
    float
        0 to 1. A score without any skill gets about the share of labelled readings.

    Raises
    ------
    ValueError
        If nothing is labelled or the lengths differ.
    """
    if label.shape != score.shape or not label.any():
        raise ValueError("label and score must be as long as one another, and something labelled")
    known = np.where(np.isfinite(score), score, np.nanmin(score))
    order = np.argsort(-known, kind="stable")
    falling = known[order]
    at = np.linspace(0, len(known) - 1, _THRESHOLDS).astype(int)
    limits = falling[at]
    flagged = np.searchsorted(-falling, -limits, side="right")
    areas = [_area(label, known, order, limits, flagged, width) for width in range(longest + 1)]
    return float(np.mean(areas))


def _area(
    label: NDArray[np.bool_],
    score: Array,
    order: NDArray[np.intp],
    limits: Array,
    flagged: NDArray[np.intp],
    width: int,
) -> float:
    """Area under one curve: precision over the recall gained at each lower limit."""
    soft = _soft_label(label, width)
    hits = np.cumsum(soft[order])[flagged - 1]
    in_core = np.cumsum(label[order])[flagged - 1]
    # A shoulder counts as something to be found only as far as it was flagged.
    wanted = label.sum() + 0.5 * (hits - in_core)
    peaks = np.array([score[a:b].max() for a, b in runs_of(_reach(label, width))])
    met = (peaks[:, None] >= limits).mean(axis=0)
    recall = np.minimum(hits / wanted, 1.0) * met
    return float((np.diff(recall, prepend=0.0) * hits / flagged).sum())


def _soft_label(label: NDArray[np.bool_], width: int) -> Array:
    """One inside, ``sqrt(1 - distance / width)`` up to half the width outside, at most one."""
    soft = label.astype(float)
    steps = np.arange(1, width // 2 + 1)
    for start, end in runs_of(label):
        after, before = end - 1 + steps, start - steps
        fall = np.sqrt(1.0 - steps / width) if width else np.empty(0)
        soft[after[after < len(soft)]] += fall[after < len(soft)]
        soft[before[before >= 0]] += fall[before >= 0]
    return np.minimum(soft, 1.0)


def _reach(label: NDArray[np.bool_], width: int) -> NDArray[np.bool_]:
    """Labelled periods with their shoulders; those that touch count as one."""
    reach = label.copy()
    for start, end in runs_of(label):
        reach[max(start - width // 2, 0) : end + width // 2] = True
    return reach
