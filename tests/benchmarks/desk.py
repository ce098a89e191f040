"""How fast the review desk answers, beside a bare Parquet read of the columns it draws.

    python tests/benchmarks/desk.py [--days 180] [--looks 60] [--browser]

A season of simulated minutes is put into a lake as the stages put it there. Then, in one process
of its own, the desk is started and asked as a browser asks: the first view of the whole season with
every tag as a lane, from a desk just started and from one that has read its season; then looks at
random windows, each with every tag. With ``--browser`` the same in Chromium, from the key press to
the drawn page, with the memory of the page. Aims: first view under 1 s, 95 % of looks under 0.2 s.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from urllib.request import urlopen

import numpy as np
import polars as pl
from whole_job import describe

from features.base import STATION_COLUMNS, polars_schema
from models.find import FINDING_COLUMNS, LOSS_COLUMNS
from pipeline.lake import GRID, LOSSES, STATION, lake_of
from pipeline.stages import keep_season
from pipeline.store import RunResult, store_of

ROOT = Path(__file__).resolve().parents[2]
FIRST = date(2025, 6, 1)
DAY_MIN = 1440


def fill(mill, days: int) -> list[str]:
    """Minutes of so many days and columns; which columns the desk draws."""
    rng, lake = np.random.default_rng(11), lake_of(mill)
    names = [signal.name for signal in mill.station.signals]
    for number in range(days):
        day = FIRST + timedelta(days=number)
        start = datetime(day.year, day.month, day.day, tzinfo=UTC)
        axis = pl.datetime_range(start, start + timedelta(days=1), "1m", eager=True,
                                 closed="left", time_unit="us")  # fmt: skip
        walk = np.cumsum(rng.normal(size=(len(names), DAY_MIN)), axis=1)
        columns = dict(zip(names, 50.0 + walk.round(3), strict=True))
        lake.write_features(GRID, day, pl.DataFrame({"ts_utc": axis, **columns}))
        excess = 10.0 + np.cumsum(rng.normal(size=DAY_MIN)) * 0.3
        rows = dict.fromkeys(LOSS_COLUMNS) | {
            "ts_utc": axis, "loss_kg_h": 70.0 + excess, "unavoidable_kg_h": np.full(DAY_MIN, 70.0),
            "excess_kg_h": excess, "measured": np.ones(DAY_MIN, dtype=bool),
            "level_log_sd": np.full(DAY_MIN, 0.2), "ph_sd": np.full(DAY_MIN, 0.05),
            "ph_memory_h": np.full(DAY_MIN, 6.0),
        }  # fmt: skip
        lake.write_features(LOSSES, day, pl.DataFrame(rows, schema=polars_schema(LOSS_COLUMNS)))
        station = dict.fromkeys(STATION_COLUMNS) | {
            "ts_utc": axis, "sucrose_feed_kg_h": np.full(DAY_MIN, 32_000.0),
            "stopped": rng.random(DAY_MIN) < 0.001,
        }  # fmt: skip
        schema = polars_schema(STATION_COLUMNS)
        lake.write_features(STATION, day, pl.DataFrame(station, schema=schema))
    return names


def publish(mill, days: int) -> None:
    """A finished run with a finding every other day."""
    start = datetime(FIRST.year, FIRST.month, FIRST.day, tzinfo=UTC)
    end = start + timedelta(days=days)
    run = {
        "run_id": "bench", "flow": "backfill", "window_start": start, "window_end": end,
        "as_of": end, "inputs_hash": "x", "config_hash": "x", "versions": "{}", "minutes": None,
        "findings": None, "multiplier": 1.5, "multiplier_low": 1.2, "multiplier_high": 1.9,
        "multiplier_pairs": 300, "started_at": end, "finished_at": end, "state": "finished",
    }  # fmt: skip
    found = []
    for number in range(0, days, 2):
        began = start + timedelta(days=number, hours=number % 20)
        row = dict.fromkeys(FINDING_COLUMNS) | {
            "section": "settler", "cause": ("overheating", "tank_held", "low_limed_ph")[number % 3],
            "started": began, "ended": began + timedelta(hours=9), "lost_t": 1.0, "lost_t_low": 0.5,
            "lost_t_high": 2.0, "value": 520.0, "currency": "USD", "confidence": 0.8,
            "p_value": 0.001, "q_value": 0.01, "mark": "confident", "status": "ended",
            "evidence": '{"facts": []}', "rank": None,
        }  # fmt: skip
        found.append(row)
    described = {"name": mill.name, "zone": mill.zone, "currency": mill.currency,
                 "price_per_t": mill.price_per_t}  # fmt: skip
    store_of(mill).publish_run(RunResult(run, described, found, None, len(found)))


def bare(mill, names: list[str]) -> float:
    """Read the columns that the view draws, and nothing else, straight from the files [s]."""
    began = time.perf_counter()
    root = Path(mill.lake_path) / "features"
    pl.scan_parquet(root / GRID / "*" / "*.parquet").select(["ts_utc", *names]).collect()
    kept = ["ts_utc", "unavoidable_kg_h", "excess_kg_h", "measured"]
    pl.scan_parquet(root / LOSSES / "*" / "*.parquet").select(kept).collect()
    kept = ["ts_utc", "sucrose_feed_kg_h", "stopped"]
    pl.scan_parquet(root / STATION / "*" / "*.parquet").select(kept).collect()
    return time.perf_counter() - began


def timed(address: str) -> tuple[float, int]:
    began = time.perf_counter()
    with urlopen(address) as answer:
        size = len(answer.read())
    return time.perf_counter() - began, size


def looks(days: int, count: int) -> list[str]:
    """Windows from ten minutes to the season, as people look closer, wider and aside."""
    draw, start = random.Random(5), datetime(FIRST.year, FIRST.month, FIRST.day, tzinfo=UTC)
    found = []
    for _ in range(count):
        length = timedelta(minutes=20 * (days * 72) ** draw.random())
        first = start + draw.random() * (timedelta(days=days) - length)
        stamps = [f"{m:%Y-%m-%dT%H:%MZ}" for m in (first, first + length)]
        found.append(f"from={stamps[0]}&to={stamps[1]}")
    return found


def served(mill):
    """The desk in a process of its own, its address, and how long until that was printed [s]."""
    began = time.perf_counter()
    command = [sys.executable, "-m", "pipeline.cli", "desk", str(mill.config_path), "--no-browser"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    line = process.stdout.readline()
    return process, re.search(r"http://\S+", line)[0], time.perf_counter() - began


def peak_mib(pid: int) -> float:
    text = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    return int(re.search(r"VmHWM:\s+(\d+)", text)[1]) / 1024


def renderer_mib() -> float:
    """Most memory of a process that draws a page, among those this one started [MiB]."""
    mothers, drawing = {}, []
    for path in Path("/proc").glob("[0-9]*"):
        try:
            fields = (path / "stat").read_text(encoding="utf-8").rpartition(") ")[2].split()
            mothers[int(path.name)] = int(fields[1])
            if b"--type=renderer" in (path / "cmdline").read_bytes():
                drawing.append(int(path.name))
        except OSError:
            continue  # gone meanwhile
    found = [0.0]
    for pid in drawing:
        mother = pid
        while mother > 1 and mother != os.getpid():
            mother = mothers.get(mother, 1)
        if mother == os.getpid():
            text = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="utf-8")
            found.append(int(re.search(r"Pss:\s+(\d+)", text)[1]) / 1024)
    return max(found)


def processor_s(pid: int) -> float:
    """Processor time of a process so far [s]: on a busy machine it tells more than the clock."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(") ")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def in_browser(address: str, windows: list[str]) -> None:
    """The same from the key press to the drawn page, in Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        path = os.environ.get("CHROMIUM") or shutil.which("chromium")
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        began = time.perf_counter()
        page.goto(f"{address}?tag=all&w=976")
        page.evaluate("new Promise(d => requestAnimationFrame(() => setTimeout(d, 0)))")
        print(f"browser, first view to drawn page: {time.perf_counter() - began:.2f} s")
        look = """(query) => new Promise((done) => {
            const began = performance.now(), link = document.createElement("a");
            link.className = "button";
            link.href = location.pathname + "?tag=all&w=976&" + query;
            document.querySelector("main").append(link);
            const seen = new MutationObserver(() => {
              seen.disconnect();
              requestAnimationFrame(() => setTimeout(() => done(performance.now() - began), 0));
            });
            seen.observe(document.body, { childList: true });
            link.click();
        })"""
        took = [page.evaluate(look, query) / 1000 for query in windows]
        told("browser, looks from click to drawn page", took)
        print(f"browser, memory of the page's process: {renderer_mib():.0f} MiB")
        browser.close()


def told(what: str, took: list[float]) -> None:
    middle, late = np.quantile(took, [0.5, 0.95])
    print(f"{what}: median {1000 * middle:.0f} ms, 95 % under {1000 * late:.0f} ms, "
          f"most {1000 * max(took):.0f} ms ({len(took)})")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=180)
    parser.add_argument("--looks", type=int, default=60)
    parser.add_argument("--browser", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        mill = describe(Path(folder))
        names = fill(mill, asked.days)
        publish(mill, asked.days)
        print(f"{asked.days} days, {len(names)} tags drawn, minutes; load {os.getloadavg()[0]:.1f}")
        first = bare(mill, names)
        began = time.perf_counter()
        keep_season(mill)
        print(f"kept at the end of a run: {time.perf_counter() - began:.2f} s")
        print(f"bare read of the same columns: {first:.2f} s, again {bare(mill, names):.2f} s")
        process, root, until = served(mill)
        address = f"{root}m/{mill.key}/"
        cold, size = timed(f"{address}?tag=all")
        print(f"desk: address after {until:.2f} s; first view at once {cold:.2f} s "
              f"({size / 2**20:.1f} MiB)")  # fmt: skip
        warm = min(timed(f"{address}?tag=all")[0] for _ in range(3))
        print(f"desk: first view of one that has read its season: {warm:.2f} s")
        windows = looks(asked.days, asked.looks)
        for what, more in (("desk, looks", "tag=all&"), ("desk, strips alone", "")):
            before = processor_s(process.pid)
            told(what, [timed(f"{address}?{more}{q}")[0] for q in windows])
            spent = (processor_s(process.pid) - before) / len(windows)
            print(f"    processor time of the desk for each: {1000 * spent:.0f} ms")
        if asked.browser:
            in_browser(address, windows)
        print(f"desk: peak memory {peak_mib(process.pid):.0f} MiB")
        process.send_signal(signal.SIGINT)
        process.wait()


if __name__ == "__main__":
    main()
