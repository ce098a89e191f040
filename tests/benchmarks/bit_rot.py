"""Flip single bits in a store, one at a time: each must be named, and cured by what is named.

    python tests/benchmarks/bit_rot.py                # 400 flips, about ten minutes
    python tests/benchmarks/bit_rot.py --flips 40 --seed 2

A small mill has pulled three exports, one of them a correction, one with rows refused. One bit of
one stored file is flipped: of readings, of features, or of the ledger (notes and refused rows).
Then

- ``lostpol health`` must name that file or its day, and end with code 7;
- reading it for work must refuse it: whatever else is counted as read wrong in silence. What the
  same file would have been read as without its hash is counted beside it;
- the commands that ``health`` named are run as they stand. In every fourth case the exports were
  moved to another folder before, so that only a pull that names them can cure;
- lake and findings must then be what they were, byte for byte, and the rotten file be kept.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import shlex
import shutil
import sys
import tempfile
import time
from collections import Counter
from contextlib import contextmanager, nullcontext, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from io import BytesIO, StringIO
from pathlib import Path

import polars as pl

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))

from lakes import describe, two_days  # beside this folder

from pipeline.cli.app import run
from pipeline.lake import RottenError, lake_of, whole_bytes
from pipeline.mill import Mill
from pipeline.run import order
from pipeline.store import store_of

KINDS = ("readings", "features", "features", "ledger")
#: What the clock said, and so differs between two runs.
CLOCK = ("started_at", "finished_at")


@dataclass
class Outcome:
    """What became of the flips."""

    flips: Counter[str] = field(default_factory=Counter)
    named: int = 0
    silent: list[str] = field(default_factory=list)
    other_numbers: int = 0
    whole: int = 0
    same_findings: int = 0
    by_pull: int = 0
    wrong: list[str] = field(default_factory=list)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--flips", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pages", action="store_true", help="draw the report after each cure")
    args = parser.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="lostpol_rot_") as name:
        outcome = rot(Path(name), args.flips, args.seed, say=print, pages=args.pages)
    flips = outcome.flips.total()
    kinds = ", ".join(f"{kind} {n}" for kind, n in sorted(outcome.flips.items()))
    print(f"{flips} flipped bits ({kinds}) in {time.monotonic() - began:.0f} s")
    print(f"named by health: {outcome.named}")
    print(f"read wrong in silence: {len(outcome.silent)}")
    print(f"would have been read as other content without a hash: {outcome.other_numbers}")
    print(f"store whole again after the named cure: {outcome.whole} "
          f"({outcome.by_pull} of them by a pull that names the exports)")  # fmt: skip
    print(f"findings as before: {outcome.same_findings}")
    for line in [*outcome.silent, *outcome.wrong]:
        print("  " + line)
    return 1 if outcome.silent or outcome.wrong else 0


def rot(folder: Path, flips: int, seed: int = 1, say=None, *, pages: bool = False) -> Outcome:
    """Flip bits of a store below `folder`; see the head of this file."""
    with no_pages() if not pages else nullcontext():
        return flipped(folder, flips, random.Random(seed), say)


@contextmanager
def no_pages():
    """Leave the pages of reports undrawn: they change no store, and take most of the time."""
    drawn = order.write_season_report
    order.write_season_report = lambda mill, *_: mill.reports_path / "not drawn"
    try:
        yield
    finally:
        order.write_season_report = drawn


def flipped(folder: Path, flips: int, rng: random.Random, say) -> Outcome:
    outcome = Outcome()
    mill, exports = small_mill(folder)
    before, found = state(mill), findings(mill)
    if not found.height or not any(name.startswith("refused/") for name in before):
        raise RuntimeError("the small mill lost nothing, or nothing was refused")
    shutil.copytree(mill.store_path, folder / "sound")
    for number in range(flips):
        kind = KINDS[number % len(KINDS)]
        name = rng.choice(sorted(n for n in before if kind_of(n) == kind))
        at = flip(mill, name, rng)
        outcome.flips[kind] += 1
        far = rng.random() < 0.25
        case = f"flip {number}, {name}, bit {at}" + ", exports moved" * far
        trial(mill, exports, name, before, outcome, case, far=far)
        if state(mill) == before:
            outcome.whole += 1
        else:
            outcome.wrong.append(f"{case}: {differences(state(mill), before)}")
        if findings(mill).equals(found):
            outcome.same_findings += 1
        else:
            outcome.wrong.append(f"{case}: findings differ")
        shutil.rmtree(mill.store_path)
        shutil.copytree(folder / "sound", mill.store_path)
        if say and (number + 1) % 20 == 0:
            say(f"  {number + 1} flips, {len(outcome.wrong)} wrong", flush=True)
    return outcome


def trial(mill, exports, name, before, outcome, case, *, far) -> None:
    """See one flipped bit named and refused, then do as told."""
    was = before[name]
    if would_differ(was, Path(mill.lake_path, name).read_bytes()):
        outcome.other_numbers += 1
    try:
        whole_bytes(lake_of(mill).storage, name)
        outcome.silent.append(case)
    except RottenError:
        pass
    away = exports[0].parent.with_name("elsewhere")
    if far:
        exports[0].parent.rename(away)
    cures = told(mill, name)
    outcome.named += bool(cures)
    for command in cures:
        words = shlex.split(command)[1:]
        moved = [str(away / word) if (away / word).exists() else word for word in words]
        outcome.by_pull += words[0] == "pull"
        code, text = quietly(moved)
        if code:
            outcome.wrong.append(f"{case}: {command} ended with {code}: {text[-300:]}")
    if far:
        away.rename(exports[0].parent)
    kept = sorted((mill.lake_path / "aside").rglob(f"{Path(name).name}.*"))
    if not kept:
        outcome.wrong.append(f"{case}: the rotten file was not kept")


def told(mill: Mill, name: str) -> list[str]:
    """Commands that health names for a file, in order; none when it does not name the file."""
    code, text = quietly(["health", str(mill.config_path), "--json"])
    day = re.search(r"date=(\S+?)/", name)
    what = day[1] if day else Path(name).name
    shown, _ = json.JSONDecoder().raw_decode(text)  # what is wrong follows, for people
    signs = [s for s in shown["signs"] if s["about"] == "Stored days"]
    cures = [s["cure"] for s in signs if what in s["what"] and s["state"] == "wrong"]
    if code != 7 or len(cures) != 1:
        return []
    return re.findall(r"lostpol (?:pull|backfill) [^;:]+", cures[0])


def quietly(words: list[str]) -> tuple[int, str]:
    """Exit code of a command, and what it said."""
    out = StringIO()
    with redirect_stdout(out), redirect_stderr(out):
        code = run(words)
    return code, out.getvalue()


def small_mill(folder: Path) -> tuple[Mill, list[Path]]:
    """Two days of a mill with a loss, a correction of the second, and a late export of both."""
    mill = describe(folder / "mill")
    exports = folder / "exports"
    exports.mkdir()
    first, second = two_days(exports)
    thin = pl.read_parquet(first)
    thin = thin.with_columns(at=pl.col("time").dt.truncate("1m")).unique(
        ["tag", "at"], keep="first", maintain_order=True
    )
    thin = thin.drop("at")
    late = pl.col("tag") == "ST.TI304"
    thin.filter(~late).write_parquet(first)
    thin.filter(late).with_columns(pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ")).write_csv(
        exports / "late.csv"
    )
    files = [first, second, exports / "late.csv"]
    for command in (["pull", *map(str, files[:1])], ["pull", *map(str, files[1:])], ["backfill"]):
        code, text = quietly([command[0], str(mill.config_path), *command[1:]])
        if code:
            raise RuntimeError(f"{command[0]} ended with {code}: {text}")
    return mill, files


def state(mill: Mill) -> dict[str, bytes]:
    """Every stored file but those set aside."""
    root = Path(mill.lake_path)
    files = {p.relative_to(root).as_posix(): p for p in root.rglob("*") if p.is_file()}
    return {n: p.read_bytes() for n, p in files.items() if not n.startswith("aside/")}


def findings(mill: Mill) -> pl.DataFrame:
    """What was found, ids included."""
    return store_of(mill).findings(withdrawn=True).drop(CLOCK, strict=False)


def kind_of(name: str) -> str:
    """Readings, features or ledger."""
    head = name.split("/", maxsplit=1)[0]
    return head if head in {"readings", "features"} else "ledger"


def flip(mill: Mill, name: str, rng: random.Random) -> int:
    """Flip one bit of a stored file, anywhere in it; its place."""
    path = Path(mill.lake_path, name)
    content = bytearray(path.read_bytes())
    at = rng.randrange(8 * len(content))
    content[at // 8] ^= 1 << at % 8
    path.write_bytes(content)
    return at


def would_differ(was: bytes, now: bytes) -> bool:
    """Whether a reader that knows of no hash would take a flipped file for other content."""
    try:
        if was[:1] == b"{":
            return json.loads(was) != json.loads(now)
        one, other = pl.read_parquet(BytesIO(was)), pl.read_parquet(BytesIO(now))
        return one.schema != other.schema or not one.equals(other)
    except BaseException:  # noqa: BLE001  (a reader may fail in any way; it does not go on)
        return False


def differences(found: dict[str, bytes], expected: dict[str, bytes]) -> list[str]:
    """Names of files that are not what they were."""
    return [n for n in sorted(found.keys() | expected.keys()) if found.get(n) != expected.get(n)]


if __name__ == "__main__":
    raise SystemExit(main())
