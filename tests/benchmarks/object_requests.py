"""Requests, bytes and waiting of a lake in an object store, and what a group of mills would take.

    python tests/benchmarks/object_requests.py                    # 56 days, then a night
    python tests/benchmarks/object_requests.py --days 180 --wait-ms 20

The small mill of nights.py, its lake at a URL: an object store held in memory, each of whose
answers is counted and comes late by so many milliseconds. What an object store bills is counted as
it bills it: a list by its pages of a thousand names. Findings must be the same as with the lake in
a folder.

The group at the end is worked out from these counts alone. Prices are arguments; the defaults are
list prices from memory, without any for bytes within one place.
"""

from __future__ import annotations

import argparse
import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"):
    os.environ.setdefault(_name, "1")

import math  # noqa: E402  threads are set before anything that starts them is loaded
import tempfile  # noqa: E402
import time  # noqa: E402
from collections import Counter  # noqa: E402
from datetime import timedelta  # noqa: E402
from pathlib import Path  # noqa: E402
from unittest.mock import patch  # noqa: E402

from nights import FIRST, Season, describe  # noqa: E402  beside this file

from pipeline.lake import objects  # noqa: E402
from pipeline.lake.coverage import lake_of  # noqa: E402
from pipeline.mill.description import load_mill  # noqa: E402
from pipeline.present.view import write_season_report  # noqa: E402
from pipeline.pull import inbox  # noqa: E402
from pipeline.run import order  # noqa: E402
from pipeline.stages.stages import derive, detect, pull  # noqa: E402
from pipeline.store.folders import store_of  # noqa: E402

PAGE = 1000
#: What each call of the library asks of the store.
REQUESTS = {"info": "HEAD", "ukey": "HEAD", "modified": "HEAD", "cat_file": "GET",
            "pipe_file": "PUT", "rm_file": "DELETE", "find": "LIST"}  # fmt: skip


class Counted:
    """An object store whose answers are counted, and late."""

    def __init__(self, wait_s: float) -> None:
        self.wait_s, self.stage = wait_s, ""
        self.asked: Counter[tuple[str, str]] = Counter()
        self.bytes: Counter[tuple[str, str]] = Counter()

    def over(self, opened):
        """What opens a lake's URL, with every call counted."""

        def open_counted(url, process):
            system, path = opened(url, process)
            return _Through(system, self), path

        return open_counted

    def note(self, request: str, answer, arguments) -> None:
        pages = max(math.ceil(len(answer) / PAGE), 1) if request == "LIST" else 1
        self.asked[self.stage, request] += pages
        size = answer if request == "GET" else arguments[1] if request == "PUT" else b""
        self.bytes[self.stage, request] += len(size)
        time.sleep(pages * self.wait_s)


class _Through:
    """The library's file system, call by call."""

    def __init__(self, system, counted: Counted) -> None:
        self._system, self._counted = system, counted

    def __getattr__(self, name):
        call = getattr(self._system, name)
        request = REQUESTS.get(name)
        if request is None:
            return call

        def told(*arguments, **options):
            answer: object = ()
            try:
                answer = call(*arguments, **options)
                return answer
            finally:
                self._counted.note(request, answer, arguments)

        return told


def mill_at(folder: Path, lake: str | None):
    """The small mill, its lake in its store or at a URL."""
    mill = describe(folder)
    if lake is not None:
        text = mill.config_path.read_text(encoding="utf-8")
        mill.config_path.write_text(text.replace("[mill]\n", f'[mill]\nlake = "{lake}"\n', 1))
    return load_mill(mill.config_path)


def worked_out(folder: Path, lake: str | None, days: int, counted: Counted):
    """A season pulled, worked out, searched and reported on, then one night; seconds by stage."""
    mill, season, seconds = mill_at(folder, lake), Season(), {}
    files = [
        path
        for n in range(days)
        for path in season.write(folder / "exports", FIRST + timedelta(days=n), f"{n:03d}")
    ]
    for stage in ("pull", "derive", "search", "report", "a night"):
        counted.stage, began = stage, time.perf_counter()
        if stage == "pull":
            pull(mill, files)
        elif stage == "derive":
            derive(mill)
        elif stage == "search":
            window = detect(mill, "backfill", lake_of(mill).days()[0]).window
        elif stage == "report":
            write_season_report(mill, window)
        else:
            season.write(mill.inbox_path, FIRST + timedelta(days=days), "new")
            began = time.perf_counter()
            order.nightly(mill)
        seconds[stage] = time.perf_counter() - began
    return mill, seconds


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--days", type=int, default=56)
    parser.add_argument("--wait-ms", type=float, nargs="+", default=[0.0, 20.0])
    parser.add_argument("--mills", type=int, default=200)
    parser.add_argument("--season-days", type=int, default=1800)
    parser.add_argument("--put-price", type=float, default=5.0, help="PUT, LIST [per million]")
    parser.add_argument("--get-price", type=float, default=0.4, help="GET, HEAD [per million]")
    args = parser.parse_args()
    inbox.PAUSE_S = 0.0  # files are there as a whole
    with tempfile.TemporaryDirectory(prefix="lostpol_objects_") as name:
        usual, here = worked_out(Path(name) / "folder", None, args.days, Counted(0.0))
        print(f"lake in a folder [s]: {_seconds(here)}; load {os.getloadavg()[0]:.1f}")
        for wait_ms in args.wait_ms:
            counted = Counted(wait_ms / 1e3)
            objects._opened.cache_clear()
            with patch.object(objects, "_opened", counted.over(objects._opened)):
                home = Path(name) / f"late_{wait_ms:.0f}"
                lake = f"memory://late_{wait_ms:.0f}"
                mill, seconds = worked_out(home, lake, args.days, counted)
                same = store_of(mill).findings().drop("first_seen", "finding_id").equals(
                    store_of(usual).findings().drop("first_seen", "finding_id"))  # fmt: skip
            print(f"answers late by {wait_ms:.0f} ms [s]: {_seconds(seconds)}; findings "
                  f"{'the same' if same else 'NOT the same'}")  # fmt: skip
        _tell(counted, args.days)
        _group(counted, args)
    return 0


def _seconds(seconds: dict[str, float]) -> str:
    return ", ".join(f"{stage} {s:.1f}" for stage, s in seconds.items())


def _tell(counted: Counted, days: int) -> None:
    print("requests a day of data (of a night: in all), and MB:")
    for stage in dict.fromkeys(stage for stage, _ in counted.asked):
        per = 1 if stage == "a night" else days
        row = {r: n for (of, r), n in counted.asked.items() if of == stage}
        size = sum(n for (of, _), n in counted.bytes.items() if of == stage)
        words = ", ".join(f"{request} {number / per:.1f}" for request, number in row.items())
        print(f"  {stage}: {words}; {size / per / 1e6:.2f} MB")


def _group(counted: Counted, args: argparse.Namespace) -> None:
    """What many mills and seasons ask for, if each day asks for as much as these do."""
    stages = ("pull", "derive", "search", "report")
    days = args.mills * args.season_days
    dear, cheap = (
        sum(counted.asked[stage, r] for stage in stages for r in kinds) / args.days * days
        for kinds in (("PUT", "LIST"), ("GET", "HEAD"))
    )
    stored = sum(counted.bytes[stage, "PUT"] for stage in stages) / args.days * days
    price = (dear * args.put_price + cheap * args.get_price) / 1e6
    print(f"{args.mills} mills x {args.season_days} days: {dear / 1e6:.0f} million PUT and LIST, "
          f"{cheap / 1e6:.0f} million GET and HEAD, {price:,.0f} at these prices; "
          f"{stored / 1e9:,.0f} GB written")  # fmt: skip


if __name__ == "__main__":
    raise SystemExit(main())
