"""Tonnes of periods at random against the truth of simulated mills: do the intervals hold?

    python tests/benchmarks/periods.py --seeds 300 301 [--periods 15] [--keep FOLDER]

Of each mill a quarter of the periods is quiet, a quarter holds a planted loss, a quarter a stop,
and a quarter crosses the change of the clocks; beside them every day, every week and the season.
Printed: how often the interval of the loss holds the truth; the largest difference between a
period and the sum of adjoining ones; the largest difference between a finding and its own period.
With --keep the mills stay in FOLDER and are used again.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from models.simulator import draw_hard_mill, simulate_season
from pipeline.base import DataError, Window
from pipeline.lake import lake_of
from pipeline.mill import Mill, load_mill
from pipeline.period import reckon
from pipeline.proof.sample import HIDDEN, write_sample
from pipeline.proof.told import described
from pipeline.stages import derive, detect, pull
from pipeline.store import published_store_of

TEMPLATE = Path(__file__).resolve().parents[2] / "configs" / "demo_mill.toml"
KINDS = ("quiet", "faulty", "stop", "clocks")
WEEKS = 6
#: Loss that the mill knows nothing of is no loss of its station.
OUTSIDE = "destroyed_filtrate_tank_kg_h"


def made(seed: int, folder: Path) -> Mill:
    """A simulated mill, searched; what lies in the folder already is taken."""
    home = folder / f"mill{seed}"
    if (home / "done").exists():
        return load_mill(home / "mill.toml")
    home.mkdir(parents=True, exist_ok=True)
    hard = draw_hard_mill(seed)
    season = simulate_season(seed, WEEKS, parameters=hard.plant, habits=hard.habits)
    series = season.lab["point_analyte"].unique().to_list()
    mill = described(TEMPLATE, hard, seed, series, home)
    files = [f for f in write_sample(home / "exports", season) if f.stem not in HIDDEN]
    season.planted.write_parquet(home / "minutes.parquet")
    season.truth.write_parquet(home / "events.parquet")
    pull(mill, files)
    derive(mill)
    detect(mill, "backfill", lake_of(mill).days()[0])
    (home / "done").touch()
    return mill


def drawn(rng: np.random.Generator, kind: str, truth: pl.DataFrame, events: pl.DataFrame) -> Window:
    """A period of a kind: two hours to ten days, whole minutes."""
    first, last = truth["ts_utc"][0], truth["ts_utc"][-1]
    stops = events.filter(pl.col("cause").is_in(["standing_juice", "handled_stop"]))
    losses = events.filter((pl.col("kind") == "loss") & (pl.col("lost_t") > 0.1))
    for _ in range(10_000):
        minutes = round(float(np.exp(rng.uniform(np.log(120), np.log(14_400)))))
        room = int((last - first).total_seconds() // 60) - minutes
        start = first + timedelta(minutes=int(rng.integers(0, max(room, 1))))
        period = Window(start, start + timedelta(minutes=minutes))
        has = {"faulty": losses, "stop": stops, "quiet": events}.get(kind)
        if has is None:
            change = datetime(2025, 11, 2, 7, tzinfo=first.tzinfo)
            fits = period.start < change < period.end
        else:
            touched = has.filter(
                (pl.col("start_utc") < period.end) & (pl.col("end_utc") > period.start)
            ).height
            fits = bool(touched) != (kind == "quiet")
        if fits:
            return period
    raise SystemExit(f"no period of the kind {kind} in this season")


def true_t(truth: pl.DataFrame, period: Window) -> float:
    """Tonnes truly lost in a period; five-minute means, their ends shared by time."""
    width = timedelta(minutes=5)
    start = pl.max_horizontal(pl.col("ts_utc"), pl.lit(period.start))
    end = pl.min_horizontal(pl.col("ts_utc") + width, pl.lit(period.end))
    hours = (end - start).dt.total_seconds().clip(0) / 3600.0
    zones = [
        c
        for c in truth.columns
        if c.startswith("destroyed_") and c not in ("destroyed_kg_h", OUTSIDE)
    ]
    return float(truth.select((pl.sum_horizontal(zones) * hours).sum()).item()) / 1000.0


def judge_mill(seed: int, mill: Mill, home: Path, count: int) -> list[dict[str, object]]:
    """Periods of one mill, each with its tonnes, interval, truth and what adjoining ones give."""
    truth, events = (pl.read_parquet(home / f"{n}.parquet") for n in ("minutes", "events"))
    rng = np.random.default_rng(np.random.SeedSequence([seed, 53]))
    rows: list[dict[str, object]] = []
    for number in range(count):
        kind = KINDS[number % len(KINDS)]
        period = drawn(rng, kind, truth, events)
        try:
            began = time.perf_counter()
            whole = reckon(mill, period)
            seconds = time.perf_counter() - began
        except DataError:
            continue
        split = period.start + timedelta(
            minutes=int(rng.integers(1, (period.end - period.start) / timedelta(minutes=1)))
        )
        parts = [
            reckon(mill, Window(*bounds)).account
            for bounds in ((period.start, split), (split, period.end))
        ]
        lost = whole.account.lost
        truly = true_t(truth, period)
        rows.append(
            {
                "seed": seed, "kind": kind, "start": period.start, "hours":
                (period.end - period.start) / timedelta(hours=1), "lost_t": lost.mid,
                "low": lost.low, "high": lost.high, "true_t": truly,
                "holds": lost.low <= truly <= lost.high,
                "apart": abs(sum(p.lost.mid for p in parts) - lost.mid),
                "apart_usual": abs(
                    sum(p.above_usual.mid for p in parts) - whole.account.above_usual.mid
                ),
                "seconds": seconds,
            }
        )  # fmt: skip
    return rows


def calendar(seed: int, mill: Mill, home: Path) -> list[dict[str, object]]:
    """Every day, every week and the season of a mill, each with its tonnes, interval and truth."""
    truth = pl.read_parquet(home / "minutes.parquet")
    first = truth["ts_utc"][0]
    last = first + timedelta(days=int((truth["ts_utc"][-1] - first) / timedelta(days=1)))
    lengths = {"day": timedelta(days=1), "week": timedelta(days=7), "season": last - first}
    rows: list[dict[str, object]] = []
    for kind, length in lengths.items():
        for n in range(int((last - first) / length)):
            period = Window(first + n * length, first + (n + 1) * length)
            try:
                lost = reckon(mill, period).account.lost
            except DataError:
                continue
            truly = true_t(truth, period)
            rows.append(
                {"seed": seed, "kind": kind, "lost_t": lost.mid, "true_t": truly,
                 "width": lost.high / max(lost.low, 1e-9), "holds": lost.low <= truly <= lost.high}
            )  # fmt: skip
    return rows


def findings_apart(mill: Mill) -> tuple[int, float]:
    """Largest difference between a finding and what its own period says of it [t]."""
    apart = [0.0]
    rows = published_store_of(mill).findings().to_dicts()
    for row in rows:
        account = reckon(mill, Window(row["started"], row["ended"])).account
        here = [f for f in account.findings if f.finding_id == row["finding_id"]]
        apart.append(abs(here[0].here.mid - row["lost_t"]))
    return len(rows), max(apart)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, nargs="+", default=[300, 301])
    parser.add_argument("--periods", type=int, default=15, help="a mill")
    parser.add_argument("--keep", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="lostpol_periods_") as name:
        folder = given.keep or Path(name)
        rows: list[dict[str, object]] = []
        spans: list[dict[str, object]] = []
        for seed in given.seeds:
            mill = made(seed, folder)
            spans += calendar(seed, mill, folder / f"mill{seed}")
            mine = judge_mill(seed, mill, folder / f"mill{seed}", given.periods)
            rows += mine
            count, apart = findings_apart(mill)
            held = sum(bool(row["holds"]) for row in mine)
            print(f"mill {seed}: {held} of {len(mine)} intervals hold; {count} findings, "
                  f"their own periods apart by {apart:.2g} t at most", flush=True)  # fmt: skip
    frame = pl.DataFrame(rows)
    with pl.Config(tbl_rows=100, tbl_cols=20, tbl_width_chars=160, float_precision=2):
        print(frame.drop("apart", "apart_usual", "seconds"))
        ratio = (pl.col("lost_t") / pl.col("true_t")).log()
        print(
            frame.group_by("kind").agg(
                pl.len(),
                pl.col("holds").mean(),
                ratio.median().exp().alias("claimed over true"),
            )
        )
    by_length = (
        pl.DataFrame(spans)
        .group_by("kind", maintain_order=True)
        .agg(
            pl.len(),
            pl.col("holds").mean(),
            (pl.col("lost_t") / pl.col("true_t")).median().alias("claimed over true"),
            pl.col("width").median().alias("high over low"),
        )
    )
    print(by_length)
    print(f"interval holds: {100 * frame['holds'].mean():.0f} % of {frame.height} (wanted 85-95)")
    print(f"adjoining periods: apart by {frame['apart'].max():.2g} t lost, "
          f"{frame['apart_usual'].max():.2g} t above the usual, at most")  # fmt: skip
    print(
        f"a period takes {frame['seconds'].median():.2f} s (median), {frame['seconds'].max():.2f}"
    )


if __name__ == "__main__":
    main()
