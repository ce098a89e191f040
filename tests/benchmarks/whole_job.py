"""The whole job on a season: exports in, report out; time, memory, and what it is compared with.

    python tests/benchmarks/whole_job.py                # 180 days x 40 tags x 5 s; 8 GB of disk
    python tests/benchmarks/whole_job.py --days 7
    python tests/benchmarks/whole_job.py --workers 1    # in one process

The readings are those of the sample weeks, laid one after the other, put on a beat of five seconds
with a little noise, and written as one Parquet export a week; nine more tags repeat others. Pull,
derive, search and report then run in a process of its own by the same stages as a user's data, with
as many processes beside it as ``lostpol backfill`` takes here. The peak is the resident memory of
the largest of them, and all together are told too. The aims are 45 times the bare scan, 2 GiB, 5
times the pace of plain pandas and twice that of plain polars.

Bare scan: every value of every column of the same exports, by the fastest of polars, pyarrow and
duckdb. Plain pandas, on the first days of the same exports: read, sort, drop repeats, a rolling
median against spikes, time-weighted minute means with boundary rows, the juice followed through
the station minute by minute (the plain version of features_season.py, which gives the same numbers
as lostpol), sums by day, one Parquet file a day. It finds no buffer reading and no frozen probe,
keeps no account of sources and sensors, corrects no probe, searches nothing and draws nothing: it
does less, so that the ratio to it is rather too small than too large.

Plain polars, on the first weeks: `whole_polars.py`, whose head says what it leaves out.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import duckdb
import numpy as np
import polars as pl
import pyarrow.dataset as ds
from features_season import Plain  # beside this file
from whole_polars import polars_job

from pipeline.base.cores import cores_here, over_cores
from pipeline.lake.coverage import lake_of
from pipeline.mill.description import Mill, load_mill
from pipeline.present.view import write_season_report
from pipeline.stages.stages import derive, detect, pull
from pipeline.store.folders import store_of

ROOT = Path(__file__).resolve().parents[2]
START = datetime(2025, 10, 7, tzinfo=UTC)
STEP_S = 5
SAMPLE_DAYS = 54
SEED = 124
#: Tags beyond the 31 of the sample: name, quantity, place, unit, and the tag they repeat.
MORE = (
    ("XT.AI901", "conductivity", "mixed_juice", "mS/cm", "ST.AI310"),
    ("XT.AI902", "conductivity", "liming_tank", "mS/cm", "ST.AI310"),
    ("XT.AI903", "conductivity", "clear_juice_tank", "mS/cm", "ST.AI310"),
    ("XT.AI904", "turbidity", "clear_juice_tank", "NTU", "ST.AI309"),
    ("XT.AI905", "turbidity", "mixed_juice", "NTU", "ST.AI309"),
    ("XT.PI906", "steam_pressure", "primary_heater", "kPa", "SH.PI222"),
    ("XT.PI907", "steam_pressure", "clear_juice_heater", "kPa", "SH.PI222"),
    ("XT.PI908", "steam_pressure", "first_evaporator", "kPa", "SH.PI222"),
    ("XT.AI909", "brix", "clear_juice_tank", "%", "MJ.AI103"),
)
AIM_SCANS, AIM_GIB, AIM_PANDAS, AIM_POLARS = 45.0, 2.0, 5.0, 2.0


def describe(folder: Path) -> Mill:
    """Brindlewater with forty tags, all read every five seconds."""
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    text = re.sub(r'(?m)^store = ".*"$', f'store = "{folder / "store"}"', text)
    text = re.sub(r"(?ms)^\[mail\]\n.*?^(?=\[)", "", text)
    text = re.sub(r"(?m)^every_s = \d+$", f"every_s = {STEP_S}", text)
    for tag, quantity, place, unit, _ in MORE:
        text += (
            f'\n[tags."{tag}"]\nquantity = "{quantity}"\nplace = "{place}"\nunit = "{unit}"\n'
            f"range = [0.0, 1500.0]\nevery_s = {STEP_S}\n"
        )
    path = folder / "mill.toml"
    path.write_text(text, encoding="utf-8")
    return load_mill(path)


def write_exports(folder: Path, days: int) -> int:
    """Write one Parquet export a week and the laboratory's results; returns the readings."""
    rng = np.random.default_rng(SEED)
    weeks = sorted((ROOT / "sample_parquet").glob("tags_*.parquet"))
    known = pl.concat([pl.read_parquet(path) for path in weeks]).filter(pl.col("quality") == "good")
    by_tag = {
        tag: (rows["time"].to_physical().to_numpy() / 1e6, rows["value"].to_numpy())
        for (tag,), rows in known.sort("time").partition_by("tag", as_dict=True).items()
    }
    sources = dict.fromkeys(by_tag) | {tag: None for tag, *_ in MORE}
    sources = {tag: tag for tag in sorted(by_tag)} | {tag: like for tag, *_, like in MORE}
    total = 0
    for first in range(0, days, 7):
        frames = [_day(rng, sources, by_tag, day) for day in range(first, min(first + 7, days))]
        week = pl.concat(frames)
        total += week.height
        week.write_parquet(folder / f"tags_{first:03d}.parquet", compression="zstd")
    _write_lab(folder, days)
    return total


def _day(
    rng: np.random.Generator,
    sources: dict[str, str],
    by_tag: dict[str, tuple[np.ndarray, np.ndarray]],
    day: int,
) -> pl.DataFrame:
    """All readings of one UTC day, in order of time as a historian exports them."""
    n = 86_400 // STEP_S
    offset = np.arange(n) * float(STEP_S)
    begin = (START + timedelta(days=day % SAMPLE_DAYS)).timestamp()
    values = np.empty((n, len(sources)))
    for k, like in enumerate(sources.values()):
        at, value = by_tag[like]
        held = np.interp(begin + offset, at, value)
        values[:, k] = held + rng.normal(0.0, 1e-4 * np.abs(value).mean(), n)
    ms = (START + timedelta(days=day)).timestamp() * 1e3 + 1e3 * offset
    return pl.DataFrame(
        {
            "time": np.repeat(ms.astype(np.int64), len(sources)),
            "tag": pl.Series(list(sources)).gather(np.tile(np.arange(len(sources)), n)),
            "value": np.round(values, 3).ravel(),
        }
    ).with_columns(
        pl.from_epoch("time", time_unit="ms")
        .dt.replace_time_zone("UTC")
        .cast(pl.Datetime("us", "UTC")),
        quality=pl.lit("good"),
    )


def _write_lab(folder: Path, days: int) -> None:
    lab = pl.read_parquet(ROOT / "sample_parquet" / "lab.parquet").with_columns(
        at=pl.col("sampled").str.to_datetime("%Y-%m-%d %H:%M")
    )
    start = START.replace(tzinfo=None)
    lab = lab.filter(pl.col("at").is_between(start, start + timedelta(days=SAMPLE_DAYS), "left"))
    rounds = -(-days // SAMPLE_DAYS)
    laid = pl.concat(
        [lab.with_columns(pl.col("at") + timedelta(days=n * SAMPLE_DAYS)) for n in range(rounds)]
    ).filter(pl.col("at") < start + timedelta(days=days))
    laid.select(
        pl.col("at").dt.strftime("%Y-%m-%d %H:%M").alias("sampled"), "point_analyte", "result"
    ).write_parquet(folder / "lab.parquet")


# Jobs, each in a process of its own --------------------------------------------------------------


def lostpol_job(folder: Path, workers: int) -> dict[str, float]:
    """Pull, derive, search, report."""
    mill = describe(folder)
    files = [*sorted(folder.glob("tags_*.parquet")), folder / "lab.parquet"]
    seconds: dict[str, float] = {}
    clock = time.perf_counter()

    def lap(name: str) -> None:
        nonlocal clock
        seconds[name] = time.perf_counter() - clock
        clock = time.perf_counter()

    pull(mill, files)
    lap("pull")
    with over_cores(workers or None) as spread:
        derive(mill, None, spread=spread)
        lap("derive")
        judged = detect(mill, "backfill", lake_of(mill).days()[0], spread=spread)
        lap("search")
    write_season_report(mill, judged.window)
    lap("report")
    seconds["findings"] = store_of(mill).findings().height
    return seconds


def scan_job(folder: Path, engine: str) -> dict[str, float]:
    """Read every value of every column, and do nothing with it."""
    files = sorted(folder.glob("tags_*.parquet"))
    began = time.perf_counter()
    for path in files:
        if engine == "polars":
            frame = pl.scan_parquet(path)
            columns = [pl.col("value").sum(), pl.col("time").max(), pl.col("tag").max(),
                       pl.col("quality").max()]  # fmt: skip
            frame.select(columns).collect()
        elif engine == "pyarrow":
            for batch in ds.dataset(path).to_batches():
                len(batch)
        else:
            query = "SELECT sum(value), max(time), max(tag), max(quality) FROM read_parquet(?)"
            duckdb.execute(query, [str(path)]).fetchall()
    return {"seconds": time.perf_counter() - began}


def pandas_job(folder: Path, days: int) -> dict[str, float]:
    """The same job in plain pandas; the head of this file says what it leaves out."""
    import pandas as pd

    out = folder / "pandas"
    out.mkdir(exist_ok=True)
    mill = describe(folder)
    end = pd.Timestamp(START) + pd.Timedelta(days=days)
    began = time.perf_counter()
    starts = {p: int(p.stem.split("_")[1]) for p in sorted(folder.glob("tags_*.parquet"))}
    frames = [pd.read_parquet(path) for path, day in starts.items() if day < days]
    readings = pd.concat(frames)
    readings = readings[(readings["time"] < end) & (readings["quality"] == "good")]
    readings = readings.sort_values(["tag", "time"]).drop_duplicates(["tag", "time"])
    grid = pd.DataFrame(
        {tag: _pandas_minutes(pd, rows) for tag, rows in readings.groupby("tag", sort=False)}
    )
    tags = {s.tag: s.name for s in mill.station.signals}
    known = grid.rename(columns=tags).ffill().bfill()
    plain = Plain(pl.DataFrame({name: known[name].to_numpy() for name in known}), mill.station)
    with np.errstate(all="ignore"):  # a stop divides by nought here
        zones = plain.run()
    minute = pd.Series(np.tile(grid.index, len(zones) // len(grid)))
    zones["loss_kg_h"].groupby([zones["zone"], minute.dt.date]).sum().to_frame().to_parquet(
        out / "daily.parquet"
    )
    for day, rows in grid.groupby(grid.index.date):
        rows.to_parquet(out / f"{day}.parquet")
    return {"seconds": time.perf_counter() - began}


def _pandas_minutes(pd, rows):  # pandas is optional here, and has no types to name
    """Time-weighted mean of each minute of one tag, spikes left out."""
    series = rows.set_index("time")["value"]
    middle = series.rolling(15, center=True, min_periods=1).median()
    off = (series - middle).abs()
    spread = off.rolling(361, center=True, min_periods=1).median()
    series = series[~(off > 10.0 * spread.clip(lower=1e-6) + 1e-3 * middle.abs())]
    edges = pd.date_range(series.index[0].floor("min"), series.index[-1].ceil("min"), freq="min")
    whole = series.reindex(series.index.union(edges)).interpolate("time", limit_area="inside")
    seconds = whole.index.to_series().diff().shift(-1).dt.total_seconds()
    area = (whole + whole.shift(-1)) / 2.0 * seconds
    minute = whole.index.floor("min")
    return area.groupby(minute).sum() / seconds.groupby(minute).sum()


def timed(job: str, folder: Path, *words: str) -> dict[str, float]:
    """Run a job in a process of its own; its figures, with its peak memory [GiB]."""
    command = [sys.executable, __file__, "--job", job, str(folder), *words]
    most = 0.0
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        while process.poll() is None:
            most = max(most, _resident_gib(process.pid))
            time.sleep(0.2)
        text = process.stdout.read() if process.stdout else ""
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, command)
    return json.loads(text.splitlines()[-1]) | {"together_gib": most}


def _resident_gib(pid: int) -> float:
    """Resident memory of a process and of all that it started [GiB]; 0 where /proc lacks."""
    try:
        size = int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
        below = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except OSError:
        return 0.0
    return size / 2**30 + sum(_resident_gib(int(child)) for child in below)


def work(job: str, folder: Path, *words: str) -> int:
    jobs = {"lostpol": lostpol_job, "scan": scan_job, "pandas": pandas_job,
            "polars": lambda of, days: polars_job(of, describe(of), days)}  # fmt: skip
    argument = words[0] if job == "scan" else int(words[0])
    told = jobs[job](folder, argument)
    peaks = [resource.getrusage(who).ru_maxrss
             for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]  # fmt: skip
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    told["cpu_s"] = sum(u.ru_utime + u.ru_stime for u in used)
    told["peak_gib"] = max(peaks) / 2**20
    print(json.dumps(told))
    return 0


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--days", type=int, default=180)
    parser.add_argument("--workers", type=int, default=0, help="default: as backfill here")
    parser.add_argument("--pandas-days", type=int, default=3)
    parser.add_argument("--polars-days", type=int, default=28)
    parser.add_argument("--folder", type=Path, help="where to write; default: temporary")
    parser.add_argument("--job", nargs="+", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.job:
        return work(args.job[0], Path(args.job[1]), *args.job[2:])
    with tempfile.TemporaryDirectory(dir=args.folder, prefix="lostpol_whole_") as name:
        return compare(Path(name), args.days, args.workers, (args.pandas_days, args.polars_days))


def compare(folder: Path, days: int, workers: int, plain_days: tuple[int, int]) -> int:
    readings = write_exports(folder, days)
    load = os.getloadavg()[0]
    print(f"{readings:,} readings: {days} days, 40 tags, every {STEP_S} s; {os.cpu_count()} cores, "
          f"load before the start {load:.1f}")  # fmt: skip
    scans = {engine: timed("scan", folder, engine) for engine in ("polars", "pyarrow", "duckdb")}
    best = min(scans, key=lambda engine: scans[engine]["seconds"])
    scan = scans[best]
    own = timed("lostpol", folder, str(workers))
    parts = {k: v for k, v in own.items() if not k.endswith(("findings", "_gib", "cpu_s"))}
    total = sum(parts.values())
    print("lostpol [s]: " + ", ".join(f"{name} {s:.1f}" for name, s in parts.items()))
    print(f"  whole job {total:.1f} s wall, {own['cpu_s']:.1f} s processor")
    print(f"  processes: {workers or cores_here()}; {own['findings']:.0f} findings")
    print(f"  peak of the largest {own['peak_gib']:.2f} GiB, aim {AIM_GIB:.0f}; "
          f"of all together {own['together_gib']:.2f}")  # fmt: skip
    print(f"bare scan by {best}: {scan['seconds']:.2f} s wall, {scan['cpu_s']:.2f} s processor; "
          f"the whole job takes {total / scan['seconds']:.0f} times as long, aim "
          f"{AIM_SCANS:.0f}")  # fmt: skip
    ahead = [("polars", "polars", plain_days[1], AIM_POLARS)]
    ahead += [("pandas", "pandas", plain_days[0], AIM_PANDAS)]
    for name, module, some, aim in ahead:
        _beside(folder, (name, module, min(some, days), aim), (total / days, own["cpu_s"] / days))
    print(f"load at the end {os.getloadavg()[0]:.1f}")
    return 0


def _beside(folder: Path, plain: tuple[str, str, int, float], own_day: tuple[float, float]) -> None:
    """Print how a plain job on some days compares with a day of the whole job [s, processor s]."""
    name, module, days, aim = plain
    if importlib.util.find_spec(module) is None:
        print(f"{module} is not installed, so there is no comparison with it")
        return
    told = timed(name, folder, str(days))
    wall, processor = told["seconds"] / days, told["cpu_s"] / days
    print(f"{name}: {wall:.2f} s a day of data ({processor:.2f} s processor) on {days} days, peak "
          f"{told['peak_gib']:.2f} GiB; lostpol {own_day[0]:.2f} s a day "
          f"({own_day[1]:.2f} s processor)")  # fmt: skip
    print(f"  lostpol is {wall / own_day[0]:.1f} times as fast a day (by processor time "
          f"{processor / own_day[1]:.1f}); aim {aim:.0f}")  # fmt: skip


if __name__ == "__main__":
    raise SystemExit(main())
