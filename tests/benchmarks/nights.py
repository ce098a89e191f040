"""A season night by night beside one backfill of the same exports: same findings, flat cost.

    python tests/benchmarks/nights.py                  # 180 nights; about a quarter of an hour
    python tests/benchmarks/nights.py --nights 20
    python tests/benchmarks/nights.py --begin 150      # the nights before are backfilled in one go

The sample weeks are laid one after the other until the season is full: a station of four vessels,
fifteen tags and the laboratory, in local times of a zone whose clocks change twice on the way. Each
night at five the exports of the last day lie in the inbox and ``lostpol nightly`` runs. Some come
days late, some never, some come again with other numbers (yesterday's, last week's, and once those
of months ago), and for five days nothing runs. At the end the same files go, in the same order,
into an empty store, which is backfilled once.

Compared: the table of findings, sensor health, and every day of the lake. Columns of findings left
out: ``first_seen`` (a night sees a loss before the season is over), and ``finding_id``, which is
made from what was known of the loss when it was first seen. Findings that a night took back stay in
the nightly store as ``withdrawn``; a backfill never had them.

Cost is processor time of the whole run, report and all. The slope is that of Theil and Sen (median
of the slopes between all pairs of nights) through the nights after the 60th, when every look-back
is full: nights that correct a day of months ago cost more, whenever they come.
"""

from __future__ import annotations

import argparse
import hashlib
import os

# Before anything that starts threads is loaded; a test that imports this keeps its environment.
if __name__ == "__main__":
    for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"):
        os.environ.setdefault(_name, "1")

import re
import tempfile
import time
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from scipy.stats import theilslopes

from pipeline.lake.coverage import lake_of
from pipeline.lake.lake import Lake
from pipeline.mill.description import Mill, load_mill
from pipeline.pull import inbox
from pipeline.run import order
from pipeline.stages.search_results import season_days
from pipeline.stages.stages import derive, detect, pull
from pipeline.store.folders import store_of

ROOT = Path(__file__).resolve().parents[2]
ZONE = ZoneInfo("America/Chicago")
FIRST = date(2025, 10, 6)
TAGS = (
    "MJ.FI101", "MJ.TI102", "MJ.AI103", "LT.FI211", "LT.AI212", "LT.LI213", "LT.TI214",
    "SH.TI221", "ST.FI301", "ST.LI303", "ST.TI304", "ST.AI308", "CT.LI401", "CT.TI402",
    "CT.FI403",
)  # fmt: skip
VESSELS = ("liming_tank", "secondary_heater", "settler", "clear_juice_tank")
ONE_DAY = timedelta(days=1)
#: A correction of a day this long ago lies in no window that a night searches anyway [days].
MONTHS_BACK = 80
SAMPLE_DAYS = 56
MAY_DIFFER = ("finding_id", "first_seen")
KINDS = ("grid", "station", "zones", "losses", "notices", "daily", "health", "sensors")


def describe(folder: Path) -> Mill:
    """A small mill, with a short look-back so that a season has many search windows."""
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    text = re.sub(r'(?m)^store = ".*"$', f'store = "{folder / "store"}"', text)
    text = re.sub(r'(?m)^inbox = ".*"$', f'inbox = "{folder / "inbox"}"', text)
    text = re.sub(r"(?ms)^\[mail\]\n.*?^(?=\[)", "", text)
    text = re.sub(r"(?m)^look_back_days = .*$", "look_back_days = 14", text)
    text = re.sub(r'(?m)^time_zone = "UTC"\n', "", text)
    head, *rest = re.split(r"(?m)^(?=\[\[train\]\]|\[tags\.|\[lab\.)", text)
    kept = [part for part in rest if _wanted(part)]
    path = folder / "mill.toml"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "inbox").mkdir(exist_ok=True)
    path.write_text(head + "".join(kept), encoding="utf-8")
    return load_mill(path)


def _wanted(part: str) -> bool:
    if part.startswith("[[train]]"):
        return any(f'name = "{name}"' in part for name in VESSELS)
    tag = re.search(r'"(.+?)"', part)
    return part.startswith("[lab.") or (tag is not None and tag[1] in TAGS)


@dataclass
class Season:
    """Exports of every local day, each as tags and laboratory in local text."""

    tags: pl.DataFrame = field(init=False)
    lab: pl.DataFrame = field(init=False)

    def __post_init__(self) -> None:
        weeks = [pl.read_parquet(p) for p in sorted((ROOT / "sample_parquet").glob("tags_*"))]
        known = pl.concat(weeks).filter(pl.col("tag").is_in(list(TAGS)))
        self.tags = known.sort("time", "tag")
        lab = pl.read_parquet(ROOT / "sample_parquet" / "lab.parquet")
        self.lab = lab.with_columns(at=pl.col("sampled").str.to_datetime("%Y-%m-%d %H:%M"))

    def write(self, folder: Path, day: date, name: str, shift: float = 0.0) -> list[Path]:
        """Write the export of a local day; `shift` is added to the limed pH of its morning."""
        folder.mkdir(parents=True, exist_ok=True)
        round_, offset = divmod((day - FIRST).days, SAMPLE_DAYS)
        source = FIRST + offset * ONE_DAY
        later = round_ * SAMPLE_DAYS * ONE_DAY
        start, end = (datetime(d.year, d.month, d.day, tzinfo=ZONE).astimezone(UTC)
                      for d in (day, day + ONE_DAY))  # fmt: skip
        utc = self.tags.filter(
            pl.col("time").is_between(start - later, end - later, closed="left")
        ).with_columns(pl.col("time") + later)
        local = pl.col("time").dt.convert_time_zone(str(ZONE))
        morning = (pl.col("tag") == "LT.AI212") & local.dt.hour().is_between(6, 11)
        tags = utc.with_columns(
            pl.when(morning)
            .then(pl.col("value") + shift)
            .otherwise("value")
            .round(3)
            .alias("value")
        ).with_columns(local.dt.strftime("%Y-%m-%d %H:%M:%S").alias("time"))
        lab = self.lab.filter(pl.col("at").dt.date() == source).select(
            (pl.col("at") + later).dt.strftime("%Y-%m-%d %H:%M").alias("sampled"),
            "point_analyte",
            "result",
        )
        paths = [folder / f"tags_{name}.csv", folder / f"lab_{name}.parquet"]
        tags.write_csv(paths[0])
        lab.write_parquet(paths[1])
        return paths


#: By night: day of the season, shift of its limed pH, sort of export.
Arrivals = dict[int, list[tuple[int, float, str]]]


def arrivals(nights: int, rng: np.random.Generator) -> Arrivals:
    """What arrives on which night: day of the season, shift of its limed pH, sort of export."""
    plan: Arrivals = {n: [] for n in range(nights)}
    for day in range(nights):
        late = int(rng.integers(2, 8)) if rng.uniform() < 0.08 else 0
        missing = rng.uniform() < 0.03 and 0 < day < nights - 1
        if not missing and day + late < nights:
            plan[day + late].append((day, 0.0, "late" if late else "on time"))
        if rng.uniform() < 0.08:
            back = int(rng.choice([1, 6, 12, 90]))
            if day - back >= 0:
                plan[day].append((day - back, float(rng.uniform(-0.4, 0.4)), "corrected"))
    return plan


@dataclass
class Hints:
    """What a night cost."""

    seconds: dict[int, float] = field(default_factory=dict)
    back: dict[int, float] = field(default_factory=dict)
    files: list[Path] = field(default_factory=list)
    sorts: dict[str, int] = field(default_factory=dict)


def nightly_season(
    mill: Mill, plan: Arrivals, off: range, first: date = FIRST, begin: int = 0
) -> Hints:
    """Run every night from `begin` on that is not in `off`, on what had arrived by then."""
    season, told, nights = Season(), Hints(), len(plan)
    inbox = mill.inbox_path
    if inbox is None:
        raise ValueError("the mill has no inbox")
    for night in range(nights):
        for day, shift, sort in sorted(plan[night]):
            name = f"{night:03d}_{first + day * ONE_DAY}"
            told.files += season.write(inbox, first + day * ONE_DAY, name, shift)
            told.sorts[sort] = told.sorts.get(sort, 0) + 1
        if night == begin - 1:
            pull(mill, told.files)
            derive(mill)
            detect(mill, "backfill", lake_of(mill).days()[0])
        if night < begin:
            continue
        if night in off:
            told.sorts["night without a run"] = told.sorts.get("night without a run", 0) + 1
            continue
        began = time.process_time()
        order.nightly(mill)
        told.seconds[night] = time.process_time() - began
        if any(night - day >= MONTHS_BACK for day, _, _ in plan[night]):
            told.back[night] = told.seconds[night]
    return told


def differences(nightly: Mill, whole: Mill) -> list[str]:
    """Everything in which two stores differ and should not."""
    found = []
    tables = [_findings(mill) for mill in (nightly, whole)]
    if not tables[0].equals(tables[1]):
        found.append(f"findings: {tables[0].height} nightly, {tables[1].height} by backfill")
        found += [
            f"findings: column {name} differs"
            for name in tables[0].columns
            if tables[0].height == tables[1].height and not tables[0][name].equals(tables[1][name])
        ]
    days = lake_of(whole).days()
    health = [store_of(mill).sensors(days[0], days[-1]) for mill in (nightly, whole)]
    if not health[0].equals(health[1]):
        found.append("sensor health differs")
    if not season_days(nightly, lake_of(nightly)).equals(season_days(whole, lake_of(whole))):
        found.append("sums of the season's days differ")
    for kind in ("readings", *KINDS):
        one, other = (digests(lake_of(mill), kind) for mill in (nightly, whole))
        if one != other:
            odd = sorted(d for d in one.keys() | other.keys() if one.get(d) != other.get(d))
            found.append(f"lake, {kind}: {len(odd)} days differ, the first is {odd[0]}")
    return found


def _findings(mill: Mill) -> pl.DataFrame:
    return store_of(mill).findings().drop(MAY_DIFFER).sort("started", "section", "cause")


def digests(lake: Lake, kind: str) -> dict[str, str]:
    """Hash of each stored day of a kind."""
    root = lake.root / ("readings" if kind == "readings" else f"features/{kind}")
    return {
        p.parent.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in root.glob("*/*.parquet")
    }


def backfilled(folder: Path, files: list[Path]) -> Mill:
    """An empty store into which all files go in their order, worked out and searched once."""
    mill = describe(folder)
    pull(mill, files)
    derive(mill)
    detect(mill, "backfill", lake_of(mill).days()[0])
    return mill


def slope(cost: dict[int, float], after: int) -> tuple[float, float, float, float]:
    """Median cost of a night [s]; slope and its 90 % interval [ms a night]."""
    night = [n for n in cost if n >= after]
    seconds = [cost[n] for n in night]
    gradient, _, low, high = theilslopes(seconds, night, alpha=0.9)
    return float(np.median(seconds)), 1e3 * gradient, 1e3 * low, 1e3 * high


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--nights", type=int, default=180)
    parser.add_argument("--begin", type=int, default=0, help="first night that runs by itself")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--folder", type=Path, help="where to work; default: temporary")
    args = parser.parse_args()
    inbox.PAUSE_S = 0.0  # files are there as a whole
    with tempfile.TemporaryDirectory(dir=args.folder, prefix="lostpol_nights_") as name:
        folder = Path(name)
        began = time.perf_counter()
        mill = describe(folder / "nightly")
        plan = arrivals(args.nights, np.random.default_rng(args.seed))
        if args.nights > MONTHS_BACK + 10:  # one that is sure to come, and to reach far back
            plan[args.nights - 2].append((args.nights - 92, 0.3, "corrected"))
        off = range(args.nights // 2, args.nights // 2 + 5) if args.nights >= 12 else range(0)
        told = nightly_season(mill, plan, off, begin=args.begin)
        took = time.perf_counter() - began
        whole = backfilled(folder / "whole", told.files)
        odd = differences(mill, whole)
        print(f"{args.nights} nights in {took:.0f} s; exports: {told.sorts}")
        every = store_of(mill).findings(withdrawn=True)
        taken_back = every.filter(pl.col("status") == "withdrawn").height
        print(f"findings: {every.height - taken_back}, and {taken_back} taken back on the way")
        alike = (
            store_of(mill)
            .findings()["finding_id"]
            .is_in(store_of(whole).findings()["finding_id"].to_list())
        )
        print(f"of them {alike.sum()} have the same finding_id, too")
        for part in range(0, args.nights, 30):
            cost = [s for n, s in told.seconds.items() if part <= n < part + 30]
            if cost:
                print(f"nights {part:3d}-{part + 29:3d}: median {np.median(cost):5.2f} s a night, "
                      f"most {max(cost):5.2f}")  # fmt: skip
        for night, seconds in told.back.items():
            print(f"night {night}, with a correction of months ago: {seconds:.2f} s")
        after = max(min(60, args.nights // 3), args.begin)
        level, *told_slope = slope(told.seconds, after)
        gradient, low, high = told_slope
        print(f"from night {after} on: {level:.2f} s a night, slope {gradient:+.2f} ms a night "
              f"(90 % {low:+.2f} to {high:+.2f}), {100 * gradient / level / 1e3 * 100:+.1f} % of "
              "it in a hundred nights")  # fmt: skip
        for line in odd:
            print("DIFFERS", line)
        print("equal to one backfill" if not odd else "NOT equal to one backfill")
    return 1 if odd else 0


if __name__ == "__main__":
    raise SystemExit(main())
