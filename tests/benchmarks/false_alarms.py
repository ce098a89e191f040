"""How often chance alone passes the search, beside the rate it was asked for.

    python tests/benchmarks/false_alarms.py                  # AR(1) noise
    python tests/benchmarks/false_alarms.py --seeds 100 101  # and quiet hours of two seasons

The penalty is learnt on six weeks of noise and judged on others of the same plant; of a season, on
the hours that the search itself left over, and judged on those that truly were quiet (no planted
event or look-alike, no stop). Beside it the default of a first season, and the power that is left,
beside that of the known-position test.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl
from scipy.signal import lfilter
from scipy.stats import norm

import models.find as search
from models.base.minutes import Minutes
from models.base.series import block_means, long_run_variance
from models.detect.candidates import Candidate
from models.detect.channels import Channel, stop_runs
from models.search.chance import calibrate
from models.search.changepoint import default_penalty, segments, z_for_false_rate
from models.search.episodes import Residual, residual_of
from models.simulator import draw_plant, simulate_season
from pipeline.mill.description import load_mill
from pipeline.proof.sample import write_sample
from pipeline.stages.stages import derive, detect, pull

ROOT = Path(__file__).resolve().parents[2]
STATED = (0.02, 0.05, 0.2)
WEEK = 672


def ar1(rng: np.random.Generator, weeks: int, phi: float, step: float) -> np.ndarray:
    """Quarter-hour means of unit noise at one minute, quantised to `step`."""
    start = [phi * rng.standard_normal()]
    noise = rng.standard_normal(weeks * 10_080)
    x = lfilter([math.sqrt(1 - phi**2)], [1, -phi], noise, zi=start)[0]
    return block_means(np.round(x / step) * step if step else x, 15)


def wander(blocks: np.ndarray) -> float:
    """Long-run variance as the search takes it."""
    return max(long_run_variance(blocks, size) for size in (16, 48))


def passed(blocks: np.ndarray, penalty: float, lrv: float, z: float) -> int:
    """Stretches that pass."""
    return sum(s.z >= z for s in segments(blocks, penalty, lrv=lrv))


def on_noise(plants: int = 12, weeks: int = 40) -> None:
    """Rates on AR(1) noise."""
    z_default = z_for_false_rate(0.5, 10)
    head = "".join(f"{f'asked {r:g}':>12}" for r in STATED)
    print(f"False stretches a week and series on AR(1) noise\n{'':<24}{'default':>10}{head}")
    for phi in (0.8, 0.95, 0.99):
        for step in (0.0, 0.5):
            default, got = 0, np.zeros(len(STATED))
            for seed in range(plants):
                rng = np.random.default_rng([seed, int(1000 * phi)])
                learnt = ar1(rng, 6, phi, step)
                lrv = wander(learnt)
                chance = calibrate(learnt, np.ones(len(learnt), dtype=bool), lrv)
                fresh = ar1(rng, weeks, phi, step)
                price = default_penalty(8 * WEEK, z_default)
                default += passed(fresh, price, lrv, z_default)
                for k, rate in enumerate(STATED):
                    got[k] += passed(fresh, chance.penalty(rate), lrv, chance.z_for(rate))
            cells = "".join(f"{v / plants / weeks:>12.4f}" for v in got)
            name = f"phi {phi:g}{', quantised' if step else ''}"
            print(f"{name:<24}{default / plants / weeks:>10.4f}{cells}", flush=True)


def power(draws: int = 100) -> None:
    """Share of 8-hour shifts found in eight weeks, beside the known-position test."""
    print(f"\nShifts of 8 h found at the default (ideal), height in limits\n{'':<10}", end="")
    shares = (0.75, 1.0, 1.25, 1.5)
    print("".join(f"{s:>16g}" for s in shares))
    n, length = 8 * 10_080, 480
    event = (n // 2, n // 2 + length)
    price = default_penalty(n // 15, 3.0)
    lag = np.arange(1, length)
    for phi in (0.8, 0.95, 0.99):
        limit = math.sqrt(2 * price * (1 + phi) / (1 - phi) / length)
        sd = math.sqrt((1 + 2 * float(((1 - lag / length) * phi**lag).sum())) / length)
        found = np.zeros(len(shares))
        for seed in range(draws):
            noise = ar1(np.random.default_rng([7, seed]), 8, phi, 0.0)
            for k, share in enumerate(shares):
                blocks = noise.copy()
                blocks[event[0] // 15 : event[1] // 15] += share * limit
                found[k] += was_found(blocks, price, event)
        cells = [f"{f / draws:.2f} ({norm.cdf((s - 1) * limit / sd):.2f})" for f, s in
                 zip(found, shares, strict=True)]  # fmt: skip
        print(f"phi {phi:<6g}" + "".join(f"{c:>16}" for c in cells), flush=True)


def was_found(blocks: np.ndarray, price: float, event: tuple[int, int]) -> bool:
    """True where a stretch shares at least half of the time that it or the event covers."""
    parts = segments(blocks, price, lrv=wander(blocks))
    bounds = [15 * p.start for p in parts] + [15 * len(blocks)]
    for a, b in pairwise(bounds):
        shared = max(0, min(b, event[1]) - max(a, event[0]))
        if shared / (b - a + event[1] - event[0] - shared) >= 0.5:
            return True
    return False


def on_seasons(seeds: list[int], weeks: int = 8) -> None:
    """Rates on the quiet hours of simulated seasons."""
    got = {"default": 0, **dict.fromkeys(STATED, 0)}
    total = 0.0
    z = z_for_false_rate(0.5, 10)
    for seed in seeds:
        for residual, quiet, left_over in quiet_channels(seed, weeks):
            lrv = residual.lrv_block
            chance = calibrate(residual.block_kg_h, left_over, lrv)
            rest = np.where(quiet, residual.block_kg_h, np.nan)
            total += float(np.isfinite(rest).sum()) / WEEK
            got["default"] += passed(rest, default_penalty(len(rest), z), lrv, z)
            for rate in STATED:
                got[rate] += passed(rest, chance.penalty(rate), lrv, chance.z_for(rate))
    print(f"\nOn {total:.0f} quiet channel weeks of seasons {seeds}: false stretches a week")
    for name, count in got.items():
        print(f"  asked {name}: {count / total:.3f} ({count})")


def quiet_channels(seed: int, weeks: int) -> Iterator[tuple[Residual, np.ndarray, np.ndarray]]:
    """Residual of every channel of a simulated season, truly quiet blocks, and those left over."""
    seen: list[tuple[Minutes, list[Channel], list[Candidate]]] = []
    usual = search.find_candidates

    def looked_at(minutes: Minutes, channels: list[Channel], *rest: object) -> list[Candidate]:
        found = usual(minutes, channels, *rest)
        seen.append((minutes, channels, found))
        return found

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        season = simulate_season(seed, weeks, parameters=draw_plant(seed))
        write_sample(folder / "exports", season)
        mill = load_mill(ROOT / "configs" / "demo_mill.toml").with_store(folder / "store")
        files = sorted((folder / "exports").glob("*.parquet"))
        pull(mill, [f for f in files if f.name != "planted.parquet"])
        derive(mill)
        search.find_candidates = looked_at
        try:
            detect(mill, "backfill")
        finally:
            search.find_candidates = usual
    minutes, channels, found = seen[-1]
    left_over = without_stops(minutes)
    for item in found:
        left_over[max(item.span.start - 60, 0) : item.span.end + 60] = False
    quiet = untouched(minutes, season.truth)
    in_blocks = [block_means(mask.astype(float), 15) > 0.5 for mask in (quiet, left_over)]
    for channel in channels:
        if channel.name != "standing":
            yield residual_of(channel.kg_h, left_over), in_blocks[0], in_blocks[1]


def untouched(minutes: Minutes, truth: pl.DataFrame) -> np.ndarray:
    """Minutes outside planted events, look-alikes and stops, and what follows them."""
    quiet = without_stops(minutes)
    for row in truth.iter_rows(named=True):
        start, end = minutes.index_of(row["start_utc"]), minutes.index_of(row["end_utc"])
        quiet[max(start - 180, 0) : max(end + 360, 0)] = False
    return quiet


def without_stops(minutes: Minutes) -> np.ndarray:
    """Minutes outside stops and the hours after them."""
    running = np.ones(minutes.n, dtype=bool)
    for start, end in stop_runs(minutes):
        running[max(start - 30, 0) : end + 180] = False
    return running


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--seeds", nargs="*", type=int, default=[], help="seasons to simulate")
    seeds = parser.parse_args().seeds
    on_noise()
    power()
    if seeds:
        on_seasons(seeds)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
