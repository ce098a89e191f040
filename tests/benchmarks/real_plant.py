"""Judge screening and the search for unusual periods on a real plant record with labelled events.

Usage: ``python tests/benchmarks/real_plant.py --data PATH`` where PATH is the record (or a folder
with one ``*.csv.gz`` of it); see ``tests/water_plant/water_plant.toml`` for its origin. Recall
means nothing without a rate of false alarms, so flagging nothing, flagging everything and periods
of the same lengths at random times stand beside the result, from the same run.

One setting is judged: readings screened as in every run, the rate of false findings that every mill
starts with, and all limits learnt on the first part of the record, in which nothing is labelled.
The form of the search was built with this record in sight, so that a record never seen would judge
it better. VUS-PR is the volume under the precision-recall surface (``models/vus.py``).
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from features.signal.counts import quality_counts
from features.signal.grid import to_grid
from features.signal.quality import screen
from models.base.settings import Settings
from models.judge.vus import vus_pr
from models.search.unusual import surprise, unusual_periods
from pipeline.lake.lake import Lake
from pipeline.mill.description import Mill, load_mill
from pipeline.pull.pull import pull_files

CONFIG = Path(__file__).parents[1] / "water_plant" / "water_plant.toml"
LABEL = "EVENT"
MINUTE = timedelta(minutes=1)
WEEK_MIN = 10_080
#: The part of the record taken as usual, as in the reference figures for this record.
TRAIN_ROWS = 16_165
RANDOM_DRAWS = 300

Period = tuple[datetime, datetime]


@dataclass(frozen=True)
class Record:
    """The record on the grid: as exported, screened, and how it got there."""

    raw: pl.DataFrame
    screened: pl.DataFrame
    counts: pl.DataFrame
    seconds: dict[str, float]
    bad_on_arrival: dict[str, int]


def gridded(mill: Mill, path: Path) -> Record:
    """Pull the record into the mill's store, screen it and grid it to one minute."""
    seconds, start = {}, time.perf_counter()

    def lap(name: str) -> None:
        nonlocal start
        seconds[name], start = time.perf_counter() - start, time.perf_counter()

    result = pull_files(mill, [path])
    source = result.sources[0]
    assert source.rows_read == source.kept + source.merged + sum(source.refused.values())
    assert result.missing_tags == ()
    lap("pull")
    readings = Lake(mill.lake_path).read_readings(date.min, date.max)
    lap("read")
    signals = mill.station.signals
    sound = screen(readings, signals, mill.station.lab)
    lap("screen")
    first = source.first_utc.replace(second=0, microsecond=0)
    window = (first, source.last_utc.replace(second=0, microsecond=0) + MINUTE)
    raw, screened = to_grid(readings, signals, *window), to_grid(sound, signals, *window)
    lap("grid, twice")
    return Record(raw, screened, quality_counts(sound), seconds, dict(source.bad))


def labelled_minutes(path: Path, zone: str, minutes: pl.Series) -> np.ndarray:
    """Minutes of the grid that the plant itself labelled as an event."""
    table = pl.read_csv(path, columns=["Time", LABEL], infer_schema=False)
    times = table["Time"].str.to_datetime("%Y-%m-%d %H:%M:%S", time_unit="us")
    in_utc = times.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    events = in_utc.dt.convert_time_zone("UTC").filter(table[LABEL].str.to_uppercase() == "TRUE")
    return minutes.is_in(events.implode()).to_numpy()


def found_periods(grid: pl.DataFrame, train_rows: int, false_per_week: float) -> list[Period]:
    """Periods the search reports: first and last minute of each."""
    found = unusual_periods(grid, train_rows, false_per_week)
    return list(found.select("started", "ended").iter_rows())


def runs(flags: np.ndarray) -> list[tuple[int, int]]:
    """Half-open runs of flagged minutes."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def flagged(periods: Sequence[Period], minutes: pl.Series) -> list[tuple[int, int]]:
    """Periods as half-open runs of grid positions."""
    first = minutes[0]
    return [((a - first) // MINUTE, (b - first) // MINUTE + 1) for a, b in periods]


def scores(found: Sequence[tuple[int, int]], label: np.ndarray, start: int) -> dict[str, float]:
    """Events hit, false runs and minutes, on the part of the record after the training."""
    truth = label[start:]
    flags = np.zeros(truth.size, dtype=bool)
    false_runs = 0
    for a, b in found:
        lo, hi = max(a - start, 0), b - start
        flags[lo:hi] = True
        false_runs += not truth[lo:hi].any()
    events = runs(truth)
    hit = sum(bool(flags[a:b].any()) for a, b in events)
    weeks = truth.size / WEEK_MIN
    return {
        "events": len(events),
        "hit": hit,
        "false runs a week": false_runs / weeks,
        "false minutes a week": float((flags & ~truth).sum()) / weeks,
        "event minutes flagged": float(flags[truth].mean()) if truth.any() else 0.0,
    }


def at_random(found: Sequence[tuple[int, int]], label: np.ndarray, start: int) -> dict[str, float]:
    """Mean score of periods of the same lengths at random times."""
    rng = np.random.default_rng(0)
    draws = []
    for _ in range(RANDOM_DRAWS):
        moved = []
        for a, b in found:
            at = int(rng.integers(start, max(label.size - (b - a), start + 1)))
            moved.append((at, at + b - a))
        draws.append(scores(moved, label, start))
    return {key: float(np.mean([draw[key] for draw in draws])) for key in draws[0]}


def line(name: str, score: dict[str, float], volume: float) -> None:
    """Print one row of the table."""
    print(
        f"{name:<44}{score['hit']:>6.1f} of {score['events']:<4.0f}"
        f"{score['false runs a week']:>10.2f}{score['false minutes a week']:>12.0f}"
        f"{score['event minutes flagged']:>12.0%}{volume:>8.2f}"
    )


def report(record: Record, label: np.ndarray) -> None:
    """Print what screening marked and what the search found."""
    print("\nSeconds:", ", ".join(f"{k} {v:.2f}" for k, v in record.seconds.items()))
    print("Bad on arrival:", record.bad_on_arrival)
    marks = record.counts.filter(pl.col("reason") != "good")
    print("Marked by reason:", dict(marks.group_by("reason").agg(pl.sum("readings")).iter_rows()))
    values = [c for c in record.raw.columns if c != "ts_utc"]
    taken = (
        pl.DataFrame(
            {c: record.raw[c].is_not_null() & record.screened[c].is_null() for c in values}
        )
        .select(pl.any_horizontal(pl.all()))
        .to_series()
        .to_numpy()
    )
    quiet, events = taken[~label].mean(), taken[label].mean() if label.any() else 0.0
    print(
        f"Minutes where screening took a signal away: {quiet:.2%} outside events, {events:.2%} in"
    )
    print(
        f"\n{'':<44}{'events hit':>13}{'false/week':>10}{'false min/w':>12}{'event min':>12}"
        f"{'VUS-PR':>8}"
    )
    judged = label[TRAIN_ROWS:]
    constant = vus_pr(judged, np.zeros(judged.size))
    line("flag nothing", scores([], label, TRAIN_ROWS), constant)
    line("flag everything", scores([(TRAIN_ROWS, label.size)], label, TRAIN_ROWS), constant)
    rate = Settings().false_findings_per_week
    score = surprise(record.screened, TRAIN_ROWS)[TRAIN_ROWS:]
    found = flagged(found_periods(record.screened, TRAIN_ROWS, rate), record.screened["ts_utc"])
    name = f"unusual periods, {rate:g} false/week asked"
    line(name, scores(found, label, TRAIN_ROWS), vus_pr(judged, score))
    noise = np.random.default_rng(0).standard_normal(judged.size)
    line("  same lengths at random", at_random(found, label, TRAIN_ROWS), vus_pr(judged, noise))


def main() -> int:
    """Run the comparison; say so and stop quietly where the record is absent."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True, help="the record, or its folder")
    given = parser.parse_args().data
    path = next(iter(sorted(given.glob("*.csv.gz"))), given) if given.is_dir() else given
    if not path.is_file():
        print(f"No plant record at {given}: nothing compared. Name the file with --data.")
        return 0
    with tempfile.TemporaryDirectory() as store:
        mill = load_mill(CONFIG).with_store(Path(store))
        record = gridded(mill, path)
        label = labelled_minutes(path, mill.zone, record.raw["ts_utc"])
    print(f"{path.name}: {label.size} minutes, {len(runs(label))} events labelled by the plant")
    report(record, label)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
