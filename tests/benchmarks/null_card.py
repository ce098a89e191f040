"""The null card of chosen noises and seeds, and how much is found of planted shapes.

    python tests/benchmarks/null_card.py --noise ou_24h --rate 0.2
    python tests/benchmarks/null_card.py --power                 # what is found of planted shapes

``lostpol scorecard --null-card`` prints the card for a proof; this is for looking while the search
is built: seeds are 7000 and up, one for each series, the same for every rate and shape.
"""

from __future__ import annotations

import argparse
import math
import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"):
    os.environ[_name] = "1"

import time  # noqa: E402  threads are set before anything that starts them is loaded

import numpy as np  # noqa: E402

from models.base import Array  # noqa: E402
from models.judge import (  # noqa: E402
    NOISES,
    NULL_LEGEND,
    SHAPES,
    WEEK_MIN,
    draw_noise,
    ideal_scores,
    null_head,
    null_text,
    plant,
    seen_of,
    stretches,
)
from models.judge.marks import FOUND_IOU  # noqa: E402
from models.judge.noises import FAST_MIN, ou_long_run_variance  # noqa: E402
from pipeline.proof import RATES, NullPlan, null_lines  # noqa: E402

FIRST_SEED = 7000
POWER_RATE = 0.042
STRENGTHS = (5.0, 7.0, 10.0)
#: Autocorrelation of the noise at one minute.
PHI = math.exp(-1.0 / FAST_MIN)
#: Series of noise alone from which the limit of the ideal detector is read off.
IDEAL_SERIES = 200


def null_card(plan: NullPlan) -> None:
    print(null_head())
    for line in null_lines(plan):
        print(null_text(line), flush=True)
    print(NULL_LEGEND)


def ideal_limit(shape: str, weeks: int, first_seed: int) -> float:
    """Strength that the ideal detector reaches by chance `POWER_RATE` times a week."""
    quiet = (draw_noise("ou_45min", first_seed + i, weeks * WEEK_MIN) for i in range(IDEAL_SERIES))
    highest = [float(ideal_scores(shape, series, PHI).max()) for series in quiet]
    return float(np.quantile(highest, math.exp(-POWER_RATE * weeks)))


def ideal_finds(shape: str, series: Array, planted: Array, limit: float) -> bool:
    """Whether the ideal detector passes its limit at a place that overlaps the loss."""
    lost = np.flatnonzero(planted)
    length = int(lost[-1]) + 1 - int(lost[0])
    near = ideal_scores(shape, series, PHI)[int(lost[0]) - length + 1 : int(lost[-1]) + 1]
    return bool(near.max() >= limit)


def power_card(weeks: int, seeds: range) -> None:
    lrv_min = ou_long_run_variance(FAST_MIN)
    print(
        f"Planted in noise of memory 45 min, {POWER_RATE:g} a week asked, {len(seeds)} series of "
        f"{weeks} weeks (seeds {seeds[0]} to {seeds[-1]}).\nz: all that is "
        "lost, over the standard error of the noise's sum from the shape's first to its last "
        f"minute.\ntouched: something found overlaps it; ideal: a matched filter that knows shape "
        f"and noise, not the place, does ({IDEAL_SERIES} series of noise set its limit);\nshared: "
        f"found and loss share {FOUND_IOU:g} of the time of either; covered: mean share of the "
        "loss inside what was found, of those touched.\n\n"
        f"{'shape':<32}{'z':>4}{'touched':>9}{'ideal':>7}{'shared':>8}{'covered':>9}"
    )
    for shape in SHAPES:
        limit = ideal_limit(shape, weeks, seeds[-1] + 1)
        for z in STRENGTHS:
            minutes = weeks * WEEK_MIN
            planted = plant(shape, z, lrv_min, minutes)
            series = [draw_noise("ou_45min", s, minutes) + planted for s in seeds]
            seen = [seen_of(planted, stretches(one, POWER_RATE)) for one in series]
            ideal = [ideal_finds(shape, one, planted, limit) for one in series]
            covered = [s.covered for s in seen if s.touched]
            print(
                f"{shape:<32}{z:>4g}{np.mean([s.touched for s in seen]):>9.2f}"
                f"{np.mean(ideal):>7.2f}{np.mean([s.shared >= FOUND_IOU for s in seen]):>8.2f}"
                f"{np.mean(covered) if covered else 0.0:>9.2f}",
                flush=True,
            )


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--replicates", type=int, default=20, help="series a line")
    parser.add_argument("--jobs", type=int, default=1, help="series of noise at the same time")
    parser.add_argument("--weeks", type=int, default=8, help="weeks a series")
    parser.add_argument("--noise", action="append", choices=list(NOISES), help="may be repeated")
    parser.add_argument("--rate", action="append", type=float, help="asked a week; may be repeated")
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--power", action="store_true", help="planted shapes instead")
    args = parser.parse_args()
    began = time.perf_counter()
    seeds = range(args.first_seed, args.first_seed + args.replicates)
    if args.power:
        power_card(args.weeks, seeds)
    else:
        names, rates = tuple(args.noise or NOISES), tuple(args.rate or RATES)
        null_card(NullPlan(names, rates, weeks=args.weeks, jobs=args.jobs, seeds=tuple(seeds)))
    print(f"\n{time.perf_counter() - began:.0f} s")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
