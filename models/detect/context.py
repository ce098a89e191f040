"""What every later judgement may look at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Station
from models.amount import ProbeBias
from models.base import Minutes


@dataclass(frozen=True)
class Context:
    """What the judgement of a cause may look at.

    Attributes
    ----------
    minutes : Minutes
    station : Station
    biases : dict of ProbeBias
        By point: ``limed``, ``clear``, ``mixed``.
    quiet : ndarray of bool, shape (n,)
        True outside every candidate and stop.
    lab : DataFrame or None
        Laboratory results.
    """

    minutes: Minutes
    station: Station
    biases: dict[str, ProbeBias]
    quiet: NDArray[np.bool_]
    lab: pl.DataFrame | None = None
