"""Eight mills backfilled on a Dask cluster of 1, 2 and 4 worker processes, beside one process.

    python tests/benchmarks/many_mills.py                  # short seasons of 28 days
    python tests/benchmarks/many_mills.py --days 180       # whole ones; hours on two cores

Each mill is the small one of nights.py with its own search window of the sample weeks. All exports
are pulled once; then every run starts from a copy of the same eight stores and does what
``lostpol backfill MILL... --cluster --workers N`` does: days and search windows as tasks through
Prefect, findings and reports by the one process that asked. Findings and every file of the lake
must be the same as from one process without any cluster.

The cost model at the end takes its rates from the stages of the run without a cluster: what grows
with days (derive, search) is shared by the workers, what the one writer does (the report) is not.
Every process keeps to one thread, so that workers are compared with one another. More workers than
cores cannot be faster: their efficiency says what the machine has, not the code.
"""

from __future__ import annotations

import argparse
import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"):
    os.environ.setdefault(_name, "1")

import shutil  # noqa: E402  threads are set before anything that starts them is loaded
import tempfile  # noqa: E402
import time  # noqa: E402
from datetime import timedelta  # noqa: E402
from pathlib import Path  # noqa: E402

import polars as pl  # noqa: E402
from nights import FIRST, KINDS, Season, describe, digests  # noqa: E402  beside this file

from pipeline.lake.coverage import lake_of  # noqa: E402
from pipeline.mill.description import Mill  # noqa: E402
from pipeline.run import order  # noqa: E402
from pipeline.schedule.cluster import Cluster, backfill_together  # noqa: E402
from pipeline.stages.search_results import FOUND, SEARCHED  # noqa: E402
from pipeline.stages.stages import pull  # noqa: E402
from pipeline.store.folders import store_of  # noqa: E402

STRIDE_DAYS = 5
GROUP_MILLS, GROUP_SEASONS, SEASON_DAYS = 200, 10, 180


def pulled_mills(folder: Path, mills: int, days: int) -> None:
    """Stores of all mills, with exports pulled and nothing worked out."""
    season = Season()
    for number in range(mills):
        home = folder / f"mill{number}"
        mill = describe(home)
        first = FIRST + timedelta(days=STRIDE_DAYS * number)
        files = [
            path
            for day in range(days)
            for path in season.write(home / "exports", first + timedelta(days=day), f"{day:03d}")
        ]
        pull(mill, files)


def copied(source: Path, target: Path, mills: int) -> list[Mill]:
    """Fresh copies to work on."""
    made = []
    for number in range(mills):
        home = target / f"mill{number}"
        shutil.copytree(source / f"mill{number}" / "store", home / "store")
        made.append(describe(home))
    return made


def leavings(mills: list[Mill]) -> list[tuple[pl.DataFrame, dict[str, dict[str, str]]]]:
    """Findings, and the hash of every file, of each mill."""
    return [
        (
            store_of(mill).findings(),
            {kind: digests(lake_of(mill), kind) for kind in (*KINDS, FOUND, SEARCHED)},
        )
        for mill in mills
    ]


def same(one: list[tuple[pl.DataFrame, dict]], other: list[tuple[pl.DataFrame, dict]]) -> bool:
    return all(a[0].equals(b[0]) and a[1] == b[1] for a, b in zip(one, other, strict=True))


def stage_seconds(mills: list[Mill]) -> dict[str, float]:
    """Seconds of each stage, of all mills together."""
    told = pl.concat([store_of(mill).stages() for mill in mills])
    sums = told.filter(pl.col("stage") != "whole").group_by("stage").agg(pl.col("took_s").sum())
    return dict(sums.iter_rows())


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--mills", type=int, default=8)
    parser.add_argument("--days", type=int, default=28)
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2, 4])
    parser.add_argument("--folder", type=Path, help="where to work; default: temporary")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=args.folder, prefix="lostpol_mills_") as name:
        return compare(Path(name), args.mills, args.days, args.workers)


def compare(folder: Path, count: int, days: int, workers: list[int]) -> int:
    cores = os.cpu_count() or 1
    pulled_mills(folder / "pulled", count, days)
    alone = copied(folder / "pulled", folder / "alone", count)
    began = time.perf_counter()
    for mill in alone:
        order.backfill(mill)
    plain = time.perf_counter() - began
    expected = leavings(alone)
    found = sum(table.height for table, _ in expected)
    print(f"{count} mills x {days} days, {cores} cores, load {os.getloadavg()[0]:.1f}; "
          f"{found} findings")  # fmt: skip
    print(f"{'one process, no cluster':<26}{plain:8.1f} s")
    base, equal = None, True
    for n in workers:
        mills = copied(folder / "pulled", folder / f"on{n}", count)
        began = time.perf_counter()
        backfill_together(mills, Cluster(workers=n))
        took = time.perf_counter() - began
        alike = same(expected, leavings(mills))
        equal &= alike
        base = took * n if base is None else base
        note = f" (only {cores} cores: no more than {100 * cores / n:.0f} % can be expected)"
        percent = 100 * base / took / n
        print(f"{n} worker processes        {took:8.1f} s, efficiency {percent:5.0f} %"
              f"{note if n > cores else ''}; findings and lake "
              f"{'identical' if alike else 'DIFFER'}")  # fmt: skip
        shutil.rmtree(folder / f"on{n}")
    _model(stage_seconds(alone), count * days, count)
    return 0 if equal else 1


def _model(seconds: dict[str, float], mill_days: int, mills: int) -> None:
    """What a group would take, from the rates of the run without a cluster."""
    spread = (seconds["derive"] + seconds["detect"]) / mill_days
    writer = seconds["report"] / mills
    days = GROUP_MILLS * GROUP_SEASONS * SEASON_DAYS
    print(f"rates: derive {1e3 * seconds['derive'] / mill_days:.0f} ms and search "
          f"{1e3 * seconds['detect'] / mill_days:.0f} ms a mill-day on one worker; report "
          f"{writer:.1f} s a mill by the one writer")  # fmt: skip
    print(f"model, {GROUP_MILLS} mills x {GROUP_SEASONS} seasons of {SEASON_DAYS} days "
          f"({days:,} mill-days): {days * spread / 3600:.1f} core hours + "
          f"{GROUP_MILLS * writer / 3600:.2f} h of the writer")  # fmt: skip
    for n in (2, 8, 32, 128):
        hours = days * spread / n / 3600.0 + GROUP_MILLS * writer / 3600.0
        print(f"  {n:4d} workers, a core each: {hours:6.1f} h")


if __name__ == "__main__":
    raise SystemExit(main())
