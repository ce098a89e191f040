"""Multivariate outliers on residual vectors: hours that look like no usual hour.

An isolation forest (scikit-learn) scores 15-minute blocks of physics residuals. Its scores are
compared with those of the station's own quiet blocks, and a verdict is given per run of blocks,
never per reading: single readings are far too dependent to count one by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sklearn.ensemble import IsolationForest

from models.base import Array, bridge_runs, robust_sd, runs_of

_TREES = 200
_SEED = 20_251


@dataclass(frozen=True)
class OutlierScore:
    """How unusual each block is.

    Attributes
    ----------
    p : ndarray, shape (n,)
        Share of quiet blocks at least as unusual, never below 1 / (quiet + 1); NaN where the
        block has no data.
    """

    p: Array

    def runs(self, limit: float, shortest: int) -> list[tuple[int, int]]:
        """Runs of blocks with p at most `limit`, bridged over one block."""
        low = np.nan_to_num(self.p, nan=1.0) <= limit
        return [(a, b) for a, b in bridge_runs(runs_of(low), 1) if b - a >= shortest]

    def share_below(self, start: int, end: int, limit: float = 0.05) -> float:
        """Share of measured blocks of an episode that are unusual at `limit`."""
        part = self.p[start:end]
        part = part[np.isfinite(part)]
        return float((part <= limit).mean()) if len(part) else float("nan")


def score_blocks(residuals: Array, quiet: NDArray[np.bool_]) -> OutlierScore:
    """Score blocks of residual vectors against the quiet ones.

    Parameters
    ----------
    residuals : ndarray, shape (n, k)
        One row a block, NaN where missing. Columns that never vary are left out; single missing
        entries count as zero, the usual value of a residual.
    quiet : ndarray of bool, shape (n,)
        Blocks nothing is known to have happened in. The forest learns from every other one and
        the p-values come from the rest, so that no block is judged by a forest grown on it alone.

    Returns
    -------
    OutlierScore
    """
    spread = np.array([robust_sd(column[quiet]) for column in residuals.T])
    useful = np.isfinite(spread) & (spread > 1e-12)
    known = np.isfinite(residuals[:, useful]).sum(axis=1) >= max(1, useful.sum() // 2)
    p = np.full(len(residuals), np.nan)
    calm = np.flatnonzero(quiet & known)
    if useful.sum() < 2 or len(calm) < 200:
        return OutlierScore(p)
    scaled = np.clip(np.nan_to_num(residuals[:, useful] / spread[useful], nan=0.0), -20.0, 20.0)
    forest = IsolationForest(n_estimators=_TREES, random_state=_SEED, n_jobs=1)
    forest.fit(scaled[calm[::2]])
    unusual = -forest.score_samples(scaled)
    reference = np.sort(unusual[calm[1::2]])
    above = len(reference) - np.searchsorted(reference, unusual, side="left")
    p[known] = ((above + 1.0) / (len(reference) + 1.0))[known]
    return OutlierScore(p)
