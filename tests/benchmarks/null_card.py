"""Null card: how often the search takes noise for a loss, by kind of noise, beside what was asked.

    python tests/benchmarks/null_card.py                         # all noises, three rates
    python tests/benchmarks/null_card.py --noise ou_24h --rate 0.2
    python tests/benchmarks/null_card.py --power                 # what is found of planted shapes

Each series is one channel of so many weeks in which nothing is lost. It goes through
``models.detect.find_candidates``, as every channel of a mill does, with its chance curve learnt on
its own hours. What is accepted is counted before anything asks whether it is worth a line: a mill's
list holds far fewer. Seeds are 7000 and up, one for each series; the same for every rate and shape.
"""

from __future__ import annotations

import argparse
import math
import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"):
    os.environ[_name] = "1"

import time  # noqa: E402  threads are set before anything that starts them is loaded
from typing import NamedTuple  # noqa: E402

import numpy as np  # noqa: E402

from models.base import Array  # noqa: E402
from models.judge import (  # noqa: E402
    NOISES,
    SHAPES,
    Rate,
    draw_noise,
    ideal_scores,
    p_values,
    plant,
    seen_of,
    stretches,
)
from models.judge.marks import FOUND_IOU  # noqa: E402
from models.judge.noises import FAST_MIN, ou_long_run_variance  # noqa: E402
from models.judge.null_card import KEPT_TIMES, WEEK_MIN  # noqa: E402
from models.search.chance import CELL_H  # noqa: E402

FIRST_SEED = 7000
RATES = (0.05, 0.2, 0.5)
#: p-value that strays are counted at: rarer than any of `RATES` asks of six hours.
SMALL_P = 0.001
POWER_RATE = 0.042
STRENGTHS = (5.0, 7.0, 10.0)
#: Autocorrelation of the noise at one minute.
PHI = math.exp(-1.0 / FAST_MIN)
#: Series of noise alone from which the limit of the ideal detector is read off.
IDEAL_SERIES = 200


class Line(NamedTuple):
    """One noise at one rate: stretches, strays of small p-value, most in a series, time taken."""

    rate: Rate
    small: Rate
    most: int
    share_of_time: float


def null_line(name: str, asked: float, weeks: int, seeds: range) -> Line:
    """Search one series of a noise for each seed."""
    counts, small, taken_min = [], 0, 0
    for seed in seeds:
        found = stretches(draw_noise(name, seed, weeks * WEEK_MIN), asked, NOISES[name].usual)
        counts.append(len(found))
        small += int((p_values(found) <= SMALL_P).sum())
        taken_min += sum(c.span.end - c.span.start for c in found)
    watched = float(weeks * len(seeds))
    return Line(
        Rate(sum(counts), watched, asked),
        Rate(small, watched, SMALL_P * 168.0 / CELL_H),
        max(counts),
        taken_min / (watched * WEEK_MIN),
    )


def verdict(rate: Rate) -> str:
    """Whether the rate asked was kept, and whether chance could have said so."""
    if rate.kept:
        return "yes"
    low, high = rate.interval()
    sure = low > KEPT_TIMES[1] or high < KEPT_TIMES[0]
    return f"too {'many' if rate.times > 1.0 else 'few'}{'' if sure else ' ?'}"


def null_card(names: list[str], rates: list[float], weeks: int, seeds: range) -> None:
    print(
        f"Accepted in noise alone, one channel, {len(seeds)} series of {weeks} weeks a line (seeds "
        f"{seeds[0]} to {seeds[-1]}), before asking whether it is worth a line."
        f"\nkept: got between {KEPT_TIMES[0]:.2f} and {KEPT_TIMES[1]:g} times asked; '?' where the "
        "interval reaches into that. Interval: exact Poisson, 90 %; too narrow where few series\n"
        "hold most. most: in one series. time: share of it taken for a loss. p: stretches with a "
        f"p-value up to {SMALL_P:g}, over what that p-value promises.\n\n"
        f"{'--noise':<14}{'':<40}{'asked/week':>11}{'count':>7}{'got/week':>10}{'got/asked':>11}"
        f"{'interval':>14}  {'kept':<11}{'most':>6}{'time':>7}{'p':>8}"
    )
    for name in names:
        for asked in rates:
            rate, small, most, share = null_line(name, asked, weeks, seeds)
            low, high = rate.interval()
            print(
                f"{name:<14}{NOISES[name].words:<40}{asked:>11g}{rate.count:>7}{rate.got:>10.3f}"
                f"{rate.times:>11.2f}{f'{low:.2f}-{high:.2f}':>14}  {verdict(rate):<11}"
                f"{most:>6}{share:>7.1%}{small.times:>8.1f}",
                flush=True,
            )


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
    parser.add_argument("--replicates", type=int, help="series a line (20)")
    parser.add_argument("--weeks", type=int, default=8, help="weeks a series")
    parser.add_argument("--noise", action="append", choices=list(NOISES), help="may be repeated")
    parser.add_argument("--rate", action="append", type=float, help="asked a week; may be repeated")
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--power", action="store_true", help="planted shapes instead")
    args = parser.parse_args()
    began = time.perf_counter()
    count = args.replicates or 20
    seeds = range(args.first_seed, args.first_seed + count)
    if args.power:
        power_card(args.weeks, seeds)
    else:
        names, rates = args.noise or list(NOISES), args.rate or list(RATES)
        null_card(names, rates, args.weeks, seeds)
    print(f"\n{time.perf_counter() - began:.0f} s on one core")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
