"""How much of the planted loss is found: Brindlewater's season, then seasons never tuned on.

    python tests/benchmarks/planted.py                # the sample season
    python tests/benchmarks/planted.py --proof        # seeds 201-205, other mills, never tuned on
    python tests/benchmarks/planted.py --seeds 301 302

Each season goes through the same stages as a user's data: exports pulled into a lake, derived,
searched, ranked into DuckDB. Beside each: report nothing, flag everything, and the alarm most
mills have, a fixed limit on the clear juice's pH. Marks follow ``models/scorecard.py``.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from models.baselines import fixed_limit_clear_ph, flag_everything, report_nothing
from models.scorecard import Scorecard, as_text, score
from models.simulator import draw_plant, simulate_season
from pipeline.config import Mill, load_mill
from pipeline.sample import write_sample
from pipeline.stages import derive, detect, pull
from pipeline.windows import lake_of, store_of

ROOT = Path(__file__).resolve().parents[2]
PROOF_SEEDS = (201, 202, 203, 204, 205)
CLEAR_PH = "ST.AI308"


@dataclass(frozen=True)
class Season:
    name: str
    folder: Path
    truth: pl.DataFrame


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--proof", action="store_true", help="five seasons never used for tuning")
    parser.add_argument("--seeds", nargs="*", type=int, default=[], help="seeds to simulate")
    parser.add_argument("--weeks", type=int, default=8)
    args = parser.parse_args()
    seeds = [*(PROOF_SEEDS if args.proof else ()), *args.seeds]
    with tempfile.TemporaryDirectory() as name:
        scratch = Path(name)
        cards = [mark(season, scratch) for season in seasons(scratch, seeds, args.weeks)]
    if len(cards) > 1:
        print(summary(cards))
    return 0


def seasons(scratch: Path, seeds: list[int], weeks: int) -> Iterator[Season]:
    if not seeds:
        folder = ROOT / "sample_parquet"
        truth = pl.read_parquet(folder / "planted.parquet")
        yield Season("sample (looked at while tuning)", folder, truth)
    for seed in seeds:
        folder = scratch / f"exports_{seed}"
        season = simulate_season(seed, weeks, parameters=draw_plant(seed))
        write_sample(folder, season)
        yield Season(f"seed {seed}", folder, season.truth)


def mark(season: Season, scratch: Path) -> Scorecard:
    mill = load_mill(ROOT / "configs" / "demo_mill.toml")
    mill = mill.with_store(scratch / f"store_{season.folder.name}")
    began = time.perf_counter()
    findings = find(mill, season.folder)
    seconds = time.perf_counter() - began
    readings = clear_ph_readings(mill)
    start, end = readings["ts_utc"].min(), readings["ts_utc"].max()
    weeks = (end - start).total_seconds() / 604_800
    methods = {
        "lostpol": findings,
        "nothing": report_nothing(),
        "everything": flag_everything(start, end, float(season.truth["lost_t"].sum())),
        "clear pH < 6.8": fixed_limit_clear_ph(readings),
    }
    cards = {name: score(season.truth, found, weeks) for name, found in methods.items()}
    print(f"\n== {season.name}: {weeks:.1f} weeks, {seconds:.0f} s from exports to findings")
    print(as_text(cards))
    return cards["lostpol"]


def find(mill: Mill, folder: Path) -> pl.DataFrame:
    files = sorted(p for p in folder.glob("*.parquet") if p.name != "planted.parquet")
    pull(mill, files)
    derive(mill)
    detect(mill, "backfill", lake_of(mill).days()[0])
    return store_of(mill).findings()


def clear_ph_readings(mill: Mill) -> pl.DataFrame:
    lake = lake_of(mill)
    days = lake.days()
    found = lake.read_readings(days[0], days[-1], tags=[CLEAR_PH])
    return found.filter(~pl.col("bad")).select("ts_utc", pl.col("value").alias("ph_clear"))


def summary(cards: list[Scorecard]) -> str:
    found = sum(c.found_t for c in cards) / sum(c.planted_t for c in cards)
    false = statistics.mean(c.false_per_week for c in cards)
    claimed, looked = sum(c.confusers_claimed for c in cards), sum(c.confusers for c in cards)
    factor = statistics.median(c.factor_error for c in cards if c.factor_error)
    cause = statistics.mean(c.cause_accuracy for c in cards if c.cause_accuracy is not None)
    cover = statistics.mean(c.coverage for c in cards if c.coverage is not None)
    return (
        f"\n== lostpol over {len(cards)} seasons\n"
        f"tonnes found {found:.2f} (wanted at least 0.70)\n"
        f"false findings a week {false:.2f} (wanted at most 1)\n"
        f"look-alikes claimed as losses {claimed} of {looked} (wanted 0)\n"
        f"median factor error of the tonnes {factor:.2f} (wanted at most 1.5)\n"
        f"cause right {cause:.2f} (wanted at least 0.70)\n"
        f"90 % intervals that hold the truth {cover:.2f}"
    )


if __name__ == "__main__":
    sys.exit(main())
