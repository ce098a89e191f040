"""Change points with a penalty scaled to the long-run variance.

The search is ruptures' exact kernel search with the linear kernel (least squares). The penalty is
what keeps it honest: on autocorrelated data the usual choices find dozens of changes where there
are none.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.machinery import PathFinder
from importlib.util import find_spec, module_from_spec
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from models.base import Array, long_run_variance, runs_of

#: Series (n, 1), penalty and shortest period; gives n + 1 positions.
Solver = Callable[[NDArray[np.float64], float, int], NDArray[np.int64]]


@dataclass(frozen=True, slots=True)
class Segment:
    """A period of readings with one mean.

    Attributes
    ----------
    start, end : int
        First reading and the one after the last.
    mean : float
        Mean of the measured readings [unit of the series].
    z : float
        Mean in standard errors, from the long-run variance.
    """

    start: int
    end: int
    mean: float
    z: float


def change_points(values: Array, lrv: float, penalty: float, min_size: int = 2) -> list[int]:
    """Positions where the mean changes, without 0 and n: the least-squares optimum.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Finite series, evenly spaced.
    lrv : float
        Long-run variance [unit squared].
    penalty : float
        Price of a change point [long-run variances]: a period inside the series needs two, and pays
        where its squared strength exceeds twice the penalty.
    min_size : int
        Shortest period [readings].

    Raises
    ------
    ValueError
        If a value is not finite (a single NaN makes the search return nonsense without a word).
    """
    if not np.isfinite(values).all():
        raise ValueError("values must be finite: fill or cut gaps before looking for changes")
    if len(values) < 2 * min_size or not (lrv > 0 and math.isfinite(lrv)):
        return []
    signal: NDArray[np.float64] = (values / math.sqrt(lrv)).reshape(-1, 1)
    befores = _solver()(signal, penalty, min_size)
    found, at = [], int(befores[-1])
    while at > 0:
        found.append(at)
        at = int(befores[at])
    return found[::-1]


@cache
def _solver() -> Solver:
    """Give ruptures' compiled exact search, for each position the change point before it.

    It is taken from its own file. The package around it (`ruptures.KernelCPD`, which does no more
    than call it) loads all of its costs, and with them scipy's statistics: most of a second for
    whoever asks when one signal moved.

    Raises
    ------
    ImportError
        This ruptures keeps it elsewhere.
    """
    package = find_spec("ruptures")
    folders = list(package.submodule_search_locations or ()) if package else []
    spec = PathFinder.find_spec("ekcpd", [f"{folder}/detection/_detection" for folder in folders])
    if spec is None or spec.loader is None:
        raise ImportError("the compiled search of ruptures is not where it was", name="ruptures")
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    solver: Solver = module.ekcpd_pelt_L2
    return solver


def segments(
    values: Array, penalty: float, min_size: int = 2, lrv: float | None = None, bridge: int = 32
) -> list[Segment]:
    """Periods of constant mean of a series with gaps.

    A gap of up to `bridge` readings is bridged by a straight line, a longer one by zero, the value
    of a residual when nothing happens. Means and their errors use measured readings only.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Residual with NaN where missing.
    penalty, min_size
        See `change_points`.
    lrv : float, optional
        Long-run variance; estimated from `values` when absent.
    bridge : int
        Longest gap bridged [readings].
    """
    measured = np.isfinite(values)
    spread = long_run_variance(values) if lrv is None else lrv
    if not measured.any() or not (spread > 0 and math.isfinite(spread)):
        return []
    filled = _bridged(values, measured, bridge)
    bounds = [0, *change_points(filled, spread, penalty, min_size), len(values)]
    result = []
    for start, end in pairwise(bounds):
        count = int(measured[start:end].sum())
        mean = float(values[start:end][measured[start:end]].mean()) if count else 0.0
        result.append(Segment(start, end, mean, mean * math.sqrt(count / spread)))
    return result


def _bridged(values: Array, measured: NDArray[np.bool_], bridge: int) -> Array:
    known = np.flatnonzero(measured)
    filled = np.interp(np.arange(len(values)), known, values[known])
    for start, end in runs_of(~measured):
        if end - start > bridge or start == 0 or end == len(values):
            filled[start:end] = 0.0
    return filled
