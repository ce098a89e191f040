"""How long a season takes to derive: 180 days at 1 min, beside reading it and beside plain pandas.

    python tests/benchmarks/features_season.py            # 180 days
    python tests/benchmarks/features_season.py --days 30

The grid is synthetic, of the demonstration mill. It is derived in one go, and week by week with the
days before it, as the pipeline does. References in the same run: reading the same columns from
Parquet, and a plain version with pandas columns and a loop over minutes, on a slice and then
extrapolated per day. The plain version shares the formulas for juice and rates and the smoothing of
levels; carrying parcels it does by itself, and its numbers are compared with the derived ones.
Nothing is asserted on time.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
from features_plain import Plain

from features.base.station import Station
from features.flow.minutes import Derived, derive
from pipeline.mill.description import load_mill
from pipeline.stages.days import BEYOND, BLOCK_DAYS, WARM_UP_DAYS

try:
    import pandas as pd
except ImportError:
    pd = None

CONFIG = Path(__file__).resolve().parents[2] / "configs" / "demo_mill.toml"
DAY_MIN = 1440
MOST_TIMES_READ, MOST_TIMES_READ_PARTED, LEAST_TIMES_PANDAS = 15.0, 20.0, 10.0
START = datetime(2025, 10, 6, tzinfo=UTC)
COMPARED = (
    "temp_degc", "ph_cold", "ph_hot", "brix_pct", "volume_m3", "sucrose_held_kg", "inversion_1_h",
    "loss_kg_h", "rs_destroyed_kg_h", "residence_min", "residence_sd_min", "exposure_eqmin100",
)  # fmt: skip


def synthetic_grid(station: Station, days: int) -> pl.DataFrame:
    """A swinging grid of every signal; a stop of two hours in each week but the first day."""
    n = days * DAY_MIN
    rng = np.random.default_rng(20251006)
    minute = np.arange(n)
    usual = {"flow": 265.0, "temperature": 97.0, "ph": 7.0, "level": 60.0, "mud_level": 45.0,
             "brix": 14.5, "turbidity": 25.0, "conductivity": 4.2, "steam_pressure": 165.0,
             "cane_rate": 250.0, "imbibition_flow": 75.0, "lime_flow": 2600.0,
             "flocculant_flow": 900.0}  # fmt: skip
    targets = {v.name: v.temp_degc for v in station.vessels}
    stopped = (minute % (7 * DAY_MIN) >= 5 * DAY_MIN) & (minute % (7 * DAY_MIN) < 5 * DAY_MIN + 120)
    columns: dict[str, np.ndarray] = {}
    for signal in station.signals:
        level = usual.get(signal.quantity, 1.0)
        if signal.quantity == "temperature":
            level = targets.get(signal.place, 35.0)
        if signal.port == "mud" and signal.quantity == "flow":
            level = 25.0
        if signal.quantity == "ph" and signal.place == "mixed_juice":
            level = 5.2
        if signal.quantity == "ph" and signal.place == "liming_tank":
            level = 7.5
        if signal.quantity == "brix" and signal.place == "first_evaporator":
            level = 20.0
        swing = 0.02 * np.sin(minute / rng.uniform(60, 600)) + 0.003 * rng.standard_normal(n)
        values = level * (1.0 + swing)
        columns[signal.name] = (
            np.where(stopped, 0.0, values) if signal.quantity == "flow" else values
        )
    stamps = pl.datetime_range(START, START + timedelta(minutes=n - 1), "1m", time_unit="us",
                               time_zone="UTC", eager=True).alias("ts_utc")  # fmt: skip
    return pl.DataFrame({"ts_utc": stamps} | columns)


def block_by_block(grid: pl.DataFrame, station: Station) -> int:
    """Derive every week as the pipeline does: with the days before it and a little beyond."""
    rows = 0
    ahead = int(BEYOND / timedelta(minutes=1))
    for first in range(0, grid.height, BLOCK_DAYS * DAY_MIN):
        start = max(first - WARM_UP_DAYS * DAY_MIN, 0)
        part = grid.slice(start, first + BLOCK_DAYS * DAY_MIN + ahead - start)
        rows += derive(part, station).zone_minutes.height
    return rows


def timed(work: Callable[[], object]) -> tuple[float, object]:
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def against_pandas(grid: pl.DataFrame, station: Station, minutes: int) -> float | None:
    """Seconds the plain version takes for a day; says how well the numbers agree."""
    if pd is None:
        print("plain pandas: not measured, pandas is not installed here (pip install pandas)")
        return None
    part = grid.head(minutes)
    plain = Plain(part, station)
    seconds, _zones = timed(plain.run)
    zones = pd.concat(plain.zones, ignore_index=True)
    whole = derive(part, station)
    found, train = whole.zone_minutes, whole.station_minutes
    worst = 0.0
    for name, dose in (("residence_train_min", "minutes"), ("exposure_train_eqmin100", "exposure")):
        theirs = plain.doses[dose]
        worst = max(worst, float(np.max(np.abs(train[name].to_numpy() / theirs - 1.0))))
    inverted = -100.0 * np.expm1(-plain.doses["inversion"])
    worst = max(
        worst, float(np.max(np.abs(train["inverted_train_pct"].to_numpy() / inverted - 1.0)))
    )
    for zone in found["zone"].unique(maintain_order=True):
        ours, theirs = found.filter(zone=zone), zones[zones["zone"] == zone]
        for name in COMPARED:
            a, b = ours[name].to_numpy(), theirs[name].to_numpy()
            scale = np.maximum(np.abs(b), 1e-9)
            gap = np.abs(a - b) / scale
            if name == "residence_sd_min":
                gap = gap[b > 1.0]  # a difference of large squares: no digits left near nought
            worst = max(worst, float(np.max(gap, initial=0.0)))
    verdict = "the same numbers" if worst < 1e-6 else "NOT the same numbers"
    print(f"plain pandas on {minutes / DAY_MIN:g} days: {seconds:.1f} s; {verdict}, "
          f"worst relative difference {worst:.1e} over {len(COMPARED)} columns of every zone "
          "and 3 of the train")  # fmt: skip
    print("  (derive also works out factors, references, gaps and stops)")
    return seconds / minutes * DAY_MIN


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--days", type=int, default=180)
    parser.add_argument("--slice-days", type=float, default=1.0)
    args = parser.parse_args()
    station = load_mill(CONFIG).station
    grid = synthetic_grid(station, args.days)
    with tempfile.TemporaryDirectory() as folder:
        for day in range(args.days):
            grid.slice(day * DAY_MIN, DAY_MIN).write_parquet(Path(folder) / f"{day:03d}.parquet")
        read_s = min(timed(lambda: pl.read_parquet(f"{folder}/*.parquet"))[0] for _ in range(3))
        print(f"{args.days} days, {grid.height} minutes, {len(grid.columns)} columns")
        print(f"read from Parquet, a file a day: {read_s:.2f} s; memory so far {peak_mb():.0f} MB")
        parted_s, rows = timed(lambda: block_by_block(grid, station))
        print(f"derived week by week, with days before: {parted_s:.1f} s, {rows} zone minutes; "
              f"peak memory {peak_mb():.0f} MB")  # fmt: skip
        whole_s, derived = timed(lambda: derive(grid, station))
        assert isinstance(derived, Derived)
        print(f"derived in one go: {whole_s:.1f} s, {derived.zone_minutes.height} zone minutes; "
              f"peak memory {peak_mb():.0f} MB")  # fmt: skip
    plain_day_s = against_pandas(grid, station, int(args.slice_days * DAY_MIN))
    most = (MOST_TIMES_READ, MOST_TIMES_READ_PARTED)
    for (name, seconds), aim in zip(
        (("in one go", whole_s), ("week by week", parted_s)), most, strict=True
    ):
        line = f"{name}: {seconds / read_s:.0f} x the read (at most {aim:g} wanted)"
        if plain_day_s is not None:
            faster = plain_day_s * args.days / seconds
            line += (
                f", {faster:.0f} x faster than pandas by the day (at least {LEAST_TIMES_PANDAS:g})"
            )
        print(line)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
