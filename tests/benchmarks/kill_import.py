"""Kill an import at random moments; the next run must leave what an undisturbed one leaves.

    python tests/benchmarks/kill_import.py               # 20 kills
    python tests/benchmarks/kill_import.py --kills 200   # about ten minutes

A store that holds some days already is copied; an import of four exports into it (CSV, gzipped
CSV and two Parquet files, one of them late and reaching into known days) is killed without
warning; sometimes the run after it is killed too. Then a run is left to its end. Lake, ledger
and waiting days must equal those of an import that nobody disturbed: the lake byte for byte.
"""

from __future__ import annotations

import argparse
import gzip
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from pipeline.mill.description import load_mill
from pipeline.stages.stages import pull
from pipeline.store.folders import store_of

ROOT = Path(__file__).resolve().parents[2]
START = datetime(2025, 10, 6, tzinfo=UTC)
TAGS = ("LT.AI212", "ST.AI308", "ST.TI304", "MJ.FI101", "NOT.OURS")
#: Loads what an import needs once; then has each import done by a process of its own, that says
#: when it is about to begin, and tells how that ended.
SERVER = """
import json, os, sys, traceback
from pathlib import Path
from pipeline.mill.description import load_mill
from pipeline.stages import pull
for line in sys.stdin:
    mill, *exports = map(Path, json.loads(line))
    child = os.fork()
    if not child:
        print("go", os.getpid(), flush=True)
        try:
            pull(load_mill(mill), exports)
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    print("ended", os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


class Importer:
    """Imports in processes that can be killed."""

    def __enter__(self):
        command = [sys.executable, "-c", SERVER]
        # A group of its own, so that an import under way does not outlive a trial that failed.
        self._server = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        return self

    def __exit__(self, *_):
        os.killpg(self._server.pid, signal.SIGKILL)  # it is our child: its number is not reused
        self._server.__exit__(None, None, None)

    def run(self, store: Path, exports: list[Path], stop_after_s: float | None = None) -> bool:
        """Import in another process; True when it was killed before its end."""
        self._server.stdin.write(json.dumps([str(store / "mill.toml"), *map(str, exports)]) + "\n")
        self._server.stdin.flush()
        _, child = self._server.stdout.readline().split()
        if stop_after_s is not None:
            time.sleep(stop_after_s)
            with suppress(ProcessLookupError):
                os.kill(int(child), signal.SIGKILL)
        _, code = self._server.stdout.readline().split()
        if int(code) not in (0, -signal.SIGKILL):
            raise RuntimeError(f"the import ended with {code}")
        return int(code) == -signal.SIGKILL


@dataclass
class Outcome:
    """How many trials ended as they should, and where the kills fell."""

    kills: int = 0
    finished_first: int = 0
    wrong: list[str] = field(default_factory=list)
    fell: Counter[str] = field(default_factory=Counter)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        outcome = disturb(Path(name), args.kills, args.seed, say=print)
    print(f"{outcome.kills} kills; {outcome.finished_first} imports ended before theirs")
    print("What they left: " + ", ".join(f"{k} {n}" for k, n in sorted(outcome.fell.items())))
    print(f"Lake, ledger or waiting days not as undisturbed: {len(outcome.wrong)}")
    for line in outcome.wrong:
        print("  " + line)
    return 1 if outcome.wrong else 0


def disturb(folder: Path, kills: int, seed: int = 1, rows: int = 30_000, say=None) -> Outcome:
    """Kill imports below `folder` until `kills` of them died; see the head of this file."""
    rng = random.Random(seed)
    known, exports = write_exports(folder, rows)
    before = folder / "before"
    pull(mill_in(before), [known])
    undisturbed = copied(before, folder / "undisturbed")
    outcome, trial = Outcome(), 0
    with Importer() as importer:
        importer.run(copied(before, folder / "warm"), exports)  # all code is loaded now
        started = time.monotonic()
        importer.run(undisturbed, exports)
        lasts_s = time.monotonic() - started
        expected = state(undisturbed)
        while outcome.kills < kills:
            trial += 1
            store = copied(before, folder / "disturbed")
            for _ in range(rng.choice((1, 1, 1, 2, 3))):
                if importer.run(store, exports, stop_after_s=rng.uniform(0.0, lasts_s)):
                    outcome.kills += 1
                    outcome.fell[what_is_left(store)] += 1
                    lasts_s *= 1.1
                else:
                    outcome.finished_first += 1
                    lasts_s *= 0.8  # a machine that others use is now fast, now slow
            importer.run(store, exports)
            found = state(store)
            if found != expected:
                outcome.wrong.append(f"trial {trial}: {differences(found, expected)}")
            if say and trial % 10 == 0:
                say(f"  {outcome.kills} kills, {len(outcome.wrong)} wrong", flush=True)
    return outcome


def state(store: Path) -> dict[str, object]:
    """All that must not depend on a kill."""
    mill = mill_in(store)
    root = mill.lake_path
    files = {p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*") if p.is_file()}
    kept = store_of(mill)
    return {**files, "sources": kept.sources().rows(), "waiting": kept.pending_days()}


def differences(found: dict[str, object], expected: dict[str, object]) -> list[str]:
    keys = sorted(found.keys() | expected.keys())
    return [key for key in keys if found.get(key) != expected.get(key)]


def what_is_left(store: Path) -> str:
    """Where in the import a kill fell, as far as its leavings tell."""
    incoming = store / "lake" / "incoming"
    if (incoming / "plan.json").exists():
        return "while being carried out"
    if (incoming / "plan").exists():
        return "while days were worked out"
    if list(incoming.glob("*/finished.json")):
        return "after some exports were read"
    return "while reading" if incoming.exists() else "before or after"


def mill_in(store: Path):
    return load_mill(store / "mill.toml")


def copied(before: Path, target: Path) -> Path:
    shutil.rmtree(target, ignore_errors=True)
    return Path(shutil.copytree(before, target))


def write_exports(folder: Path, rows: int) -> tuple[Path, list[Path]]:
    """Describe a mill in ``before``; write an export for it and the four that follow."""
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    start, end = text.index("[mail]"), text.index("[exports]")
    text = re.sub(r'(?m)^store = ".*"$', 'store = "."', text[:start] + text[end:])
    before = folder / "before"
    before.mkdir(parents=True)
    (before / "mill.toml").write_text(text, encoding="utf-8")
    frames = [readings(rows, day, seed) for seed, day in enumerate((0.0, 1.5, 3.0, 4.5, 0.8))]
    known = folder / "tags_known.parquet"
    frames[0].write_parquet(known)
    exports = [folder / name for name in ("tags_a.csv", "tags_b.csv.gz")]
    for path, frame in zip(exports, frames[1:3], strict=True):
        iso = frame.with_columns(pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ"))
        content = iso.write_csv().encode()
        path.write_bytes(gzip.compress(content, 1) if path.suffix == ".gz" else content)
    for name, frame in zip(("tags_c.parquet", "tags_late.parquet"), frames[3:], strict=True):
        frame.write_parquet(folder / name)
        exports.append(folder / name)
    return known, exports


def readings(rows: int, from_day: float, seed: int) -> pl.DataFrame:
    """Two days of five tags, one of which the mill does not have."""
    rng = random.Random(seed)
    step = timedelta(days=2) / (rows // len(TAGS))
    times = [START + timedelta(days=from_day) + k * step for k in range(rows // len(TAGS))]
    return pl.DataFrame(
        {
            "time": [t for t in times for _ in TAGS],
            "tag": TAGS * len(times),
            "value": [round(7 + rng.random(), 3) for _ in range(len(times) * len(TAGS))],
            "quality": ["good" if rng.random() > 0.01 else "bad" for _ in range(len(times) * 5)],
        },
        schema_overrides={"time": pl.Datetime("us", "UTC")},
    )


if __name__ == "__main__":
    sys.exit(main())
