"""False discoveries over a season: p-values of all findings judged together, and their marks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from models.base import Array
from models.search.chance import CELL_H

LISTED = "listed"
CONFIDENT = "confident"
#: Share of the confident findings that may be chance.
CONFIDENT_Q = 0.05


def cells_in(minutes: int, channels: int) -> int:
    """Hypotheses of a season: one a channel and cell, whether a finding came of it or not."""
    return max(math.ceil(minutes / 60.0 / CELL_H), 1) * max(channels, 1)


def q_values(p: Array, tests: int) -> Array:
    """False-discovery rate at which each finding would still stand, whatever their dependence.

    The step-up of Y. Benjamini & D. Yekutieli, Ann. Stat. 29 (2001) 1165-1188 (memory; checked
    against ``scipy.stats.false_discovery_control``). Channels share flow and pH, with either sign,
    so that the milder rule of Benjamini & Hochberg would have to be taken on trust. Cells without a
    finding count as tests with p = 1: what was searched and found empty was searched all the same.

    Parameters
    ----------
    p : ndarray, shape (k,)
        p-values of the findings.
    tests : int
        Hypotheses looked at, at least `k` (else `k` are counted).

    Returns
    -------
    ndarray, shape (k,)
        Between 0 and 1, in the order of `p`.

    Raises
    ------
    ValueError
        If a p-value does not lie between 0 and 1.
    """
    if len(p) == 0:
        return np.empty(0)
    if not ((p >= 0.0) & (p <= 1.0)).all():
        raise ValueError("p-values must lie between 0 and 1")
    count = max(tests, len(p))
    # The last terms of the harmonic sum come from its asymptote: exact to 1e-9 beyond a thousand.
    harmonic = (
        float((1.0 / np.arange(1, count + 1)).sum())
        if count <= 1_000
        else math.log(count) + np.euler_gamma + 0.5 / count - 1.0 / (12.0 * count**2)
    )
    order = np.argsort(p, kind="stable")
    scaled = p[order] * count * harmonic / np.arange(1, len(p) + 1)
    # Cells without a finding have p = 1 and can lower no finding's value below 1.
    falling = np.minimum.accumulate(scaled[::-1])[::-1]
    result = np.empty(len(p))
    result[order] = np.minimum(falling, 1.0)
    return result


def marks(q: Array) -> list[str]:
    """Mark each finding: ``confident`` where chance may be one in twenty of them, else ``listed``.

    The list itself is the liberal one: it admits what `false_findings_per_week` allows.
    """
    return [CONFIDENT if value <= CONFIDENT_Q else LISTED for value in q]


def with_marks(
    rows: Sequence[Mapping[str, object]], p: Sequence[float], tests: int
) -> list[dict[str, object]]:
    """Findings with their ``p_value``, ``q_value`` and ``mark``, in the same order."""
    q = q_values(np.array(p), tests)
    judged = zip(rows, p, q, marks(q), strict=True)
    return [
        {**row, "p_value": chance, "q_value": float(share), "mark": mark}
        for row, chance, share, mark in judged
    ]
