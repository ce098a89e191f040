"""How good the order of a list is: discounted gain against the best possible list."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.judge.marks import Spans, pointing

Floats = NDArray[np.float64]


def discounted_gain(gains: Floats, most: int = 10) -> float:
    """Sum of gains, each divided by log2(place + 1), over the first `most` places.

    Parameters
    ----------
    gains : array, shape (n,)
        Gain at each place of a list, first place first.
    most : int
        Places that count.

    Returns
    -------
    float

    Notes
    -----
    K. Jarvelin, J. Kekalainen, "Cumulated gain-based evaluation of IR techniques", ACM Trans. Inf.
    Syst. 20 (2002) 422-446, with the gain itself (not a power of two of it) and the discount
    log2(place + 1) (memory), as scikit-learn's ``ndcg_score`` has it.
    """
    kept = gains[:most]
    return float((kept / np.log2(np.arange(kept.size) + 2.0)).sum())


def ndcg(findings: Spans, events: Spans, planted_t: Floats, most: int = 10) -> float | None:
    """Worth of the first places of a list, as a share of what the best list would hold there.

    Parameters
    ----------
    findings : array, shape (n, 2)
        Start and end [h], best rank first.
    events : array, shape (m, 2)
        Planted losses [h].
    planted_t : array, shape (m,)
        Tonnes planted with each [t]; at one price per tonne, money orders them alike.
    most : int
        Places that count.

    Returns
    -------
    float or None
        0 to 1; None when nothing was planted.

    Notes
    -----
    The gain of a finding is the planted tonnes of the event it points at (``marks.pointing``),
    given once: a second finding that points at the same event gains nothing. The best list names
    the largest events in order, so a list that leaves out a large event cannot reach 1, and one
    finding over the whole season gains nothing. Where every event has exactly one finding this
    is scikit-learn's ``ndcg_score`` of the findings' gains.
    """
    gains = np.zeros(len(findings))
    given: set[int] = set()
    for place, event in enumerate(pointing(findings, events).tolist()):
        if event >= 0 and event not in given:
            gains[place] = planted_t[event]
            given.add(event)
    best = discounted_gain(np.sort(np.maximum(planted_t, 0.0))[::-1], most)
    return discounted_gain(gains, most) / best if best > 0 else None
