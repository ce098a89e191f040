"""How long the search of a whole season takes, beside one plain isolation forest on the same data.

    python tests/benchmarks/search_season.py            # 180 days, 40 residuals, one core

Forty residual series at one minute go the way of the nightly run: slow baseline, 15-minute means,
windows of every length, chance learnt from the better hours of each series, edges moved to the
minute, twice. Two seasons: one with episodes, and one without any change. The yardstick is the fit
of scikit-learn's ``IsolationForest`` with its defaults on the same minutes, in the same run on the
same core.
"""

from __future__ import annotations

import argparse
import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"):
    os.environ[_name] = "1"

import math  # noqa: E402  threads are set before anything that starts them is loaded
import time  # noqa: E402

import numpy as np  # noqa: E402
from scipy.signal import lfilter  # noqa: E402
from sklearn.ensemble import IsolationForest  # noqa: E402

from models.search.episodes import find_spans, residual_of  # noqa: E402
from models.search.look import look_at  # noqa: E402

DAY_MIN = 1_440
FALSE_PER_WEEK = 0.5


def season(rng: np.random.Generator, days: int, series: int, episodes: int) -> np.ndarray:
    """Residuals [kg/h], one row a series: AR(1) noise of phi 0.95 or 0.99 with a slow drift."""
    n = days * DAY_MIN
    rows = np.empty((series, n))
    slow = np.linspace(0.0, 1.0, n)
    for k in range(series):
        phi = (0.95, 0.99)[k % 2]
        noise = lfilter([math.sqrt(1 - phi**2)], [1, -phi], rng.standard_normal(n))
        rows[k] = noise + np.sin(2 * math.pi * (slow * 2 + rng.uniform())) * 0.3
        for start in rng.integers(0, n - 3 * DAY_MIN, episodes):
            rows[k, start : start + int(rng.integers(180, 2 * DAY_MIN))] += rng.uniform(2.0, 5.0)
    return rows


def search(rows: np.ndarray) -> int:
    """Search all series, twice; return how many episodes were found."""
    rate = FALSE_PER_WEEK / len(rows)
    quiet = np.ones(rows.shape, dtype=bool)
    looks = [look_at(row, None) for row in rows]
    found = 0
    for _ in range(2):
        found = 0
        for row, own, look in zip(rows, quiet, looks, strict=True):
            spans = find_spans(residual_of(row, own, look), rate, 0.5, 1.0)
            found += len(spans)
            for span in spans:
                own[max(span.start - 60, 0) : span.end + 60] = False
    return found


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--days", type=int, default=180)
    parser.add_argument("--series", type=int, default=40)
    args = parser.parse_args()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    print(f"{args.days} days at one minute, {args.series} residuals, one core; processor seconds")
    print(
        f"{'season':<22}{'episodes':>10}{'search s':>10}{'forest s':>10}{'ratio':>8}{'wall s':>8}"
    )
    for name, episodes in (("with episodes", 12), ("healthy", 0)):
        rows = season(np.random.default_rng(180), args.days, args.series, episodes)
        wall, began = time.perf_counter(), time.process_time()
        found = search(rows)
        took, waited = time.process_time() - began, time.perf_counter() - wall
        began = time.process_time()
        IsolationForest(random_state=0, n_jobs=1).fit(rows.T)
        forest = time.process_time() - began
        print(
            f"{name:<22}{found:>10}{took:>10.1f}{forest:>10.1f}{took / forest:>8.1f}{waited:>8.1f}"
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
