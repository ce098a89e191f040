"""Throw spoiled exports at the command: no fault of its own, no hang, no row unaccounted for.

    python tests/benchmarks/mutate_exports.py --count 5000

The dialects of ``tests/pipeline/exports/dialects`` are cut, spliced, doubled, encoded anew in part,
or have bytes, cells and lines changed; the same seed gives the same files. Each is pulled by the
command in this process into an emptied lake, a sample by a process of its own besides. It must end
with code 0 or 3 and in words. Rows read = new + known already + refused, new = readings in the
lake; and where the lines below the headings can be counted without a reader, rows read = what they
give.
"""

from __future__ import annotations

import argparse
import gzip
import math
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Final

sys.path.insert(0, str(Path(__file__).parents[1] / "pipeline" / "exports" / "dialects"))

from dialect_judge import COUNTS, call, lake
from dialect_list import all_dialects
from dialect_truth import Dialect, description

ROOT: Final = Path(__file__).parents[2]
#: A dialect takes a tenth of a second; one that takes this long hangs [s].
SLOWEST_S: Final = 20
ODD: Final = (
    b'"', b"'", b",", b";", b"\t", b"\n", b"\r", b"\x00", b"\xff", b"\xef\xbb\xbf", b"nan", b"inf",
    b"1e999", b"-", b"/", b"99/99/9999", b"31/12/9999", b"0x", b"PAR1", b"PK\x03\x04", b"\x1f\x8b",
    b"=", b"9" * 400, b"UTC", b"24:00", "\u202f".encode(), "\u0661".encode(), "ºF".encode(),
    "é".encode("latin-1"), "\U0001f36c".encode(),
)  # fmt: skip


class HungError(BaseException):
    """No answer in time; no ``Exception``, so that the command cannot take it for its own."""


@dataclass(frozen=True)
class Result:
    """What became of a file: a word for the count, and the fault if there is one."""

    word: str
    fault: str = ""


def flip(data: bytes, rng: random.Random) -> bytes:
    spoiled = bytearray(data)
    for _ in range(rng.randint(1, 8)):
        if spoiled:
            spoiled[rng.randrange(len(spoiled))] = rng.randrange(256)
    return bytes(spoiled)


def insert(data: bytes, rng: random.Random) -> bytes:
    k = rng.randrange(len(data) + 1)
    return data[:k] + rng.choice(ODD) * rng.randint(1, 3) + data[k:]


def cut(data: bytes, rng: random.Random) -> bytes:
    a, b = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    return data[:a] + data[b:] if rng.random() < 0.5 else data[:b]


def splice(data: bytes, rng: random.Random) -> bytes:
    other = rng.choice(_contents())
    return data[: rng.randrange(len(data) + 1)] + other[rng.randrange(len(other) + 1) :]


def lines_moved(data: bytes, rng: random.Random) -> bytes:
    """Two lines exchanged, one repeated, one left out, one cut short, or the headings again."""
    lines = data.split(b"\n")
    a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
    match rng.randrange(5):
        case 0:
            lines[a], lines[b] = lines[b], lines[a]
        case 1:
            lines[b:b] = [lines[a]] * rng.randint(1, 3)
        case 2:
            del lines[a]
        case 3:
            lines[a] = lines[a][: rng.randrange(len(lines[a]) + 1)]
        case _:
            lines.insert(b, lines[0])
    return b"\n".join(lines)


def cells_changed(data: bytes, rng: random.Random) -> bytes:
    """A cell exchanged for another, for nothing, or for something odd."""
    cells = list(re.finditer(rb"[^,;\t\n\r|]+", data[:100_000]))
    if not cells:
        return data
    cell, other = rng.choice(cells), rng.choice(cells)
    new = rng.choice((other[0], b"", rng.choice(ODD), str(rng.uniform(-1e6, 1e20)).encode()))
    return data[: cell.start()] + new + data[cell.end() :]


def marks_changed(data: bytes, rng: random.Random) -> bytes:
    marks = (b",", b";", b"\t", b"|", b".", b"/", b"-", b":", b" ", b'"', b"\n")
    return data.replace(rng.choice(marks), rng.choice(marks))


def encodings_mixed(data: bytes, rng: random.Random) -> bytes:
    """The rest of the file in another encoding."""
    k = rng.randrange(len(data) + 1)
    rest = data[k:].decode("utf-8", "replace") + "°é"
    return data[:k] + rest.encode(
        rng.choice(("utf-16-le", "latin-1", "cp1252", "utf-8-sig")), "replace"
    )


def packed_badly(data: bytes, rng: random.Random) -> bytes:
    """One or two gzip members, the last perhaps cut short or with rubbish behind."""
    k = rng.randrange(len(data) + 1)
    members = gzip.compress(data[:k], mtime=0) + gzip.compress(data[k:], mtime=0)
    return rng.choice(
        (
            members,
            members[: rng.randrange(10, len(members))],
            members + b"\x00" * 9,
            members + b"xx",
        )
    )


CHANGES: Final = (
    flip, insert, cut, splice, lines_moved, lines_moved, cells_changed, cells_changed,
    marks_changed, encodings_mixed, packed_badly,
)  # fmt: skip


def _contents() -> list[bytes]:
    return [next(iter(d.files.values())) for d in _seeds()]


def _seeds() -> list[Dialect]:
    return [d for d in all_dialects() if len(d.files) == 1 and not d.is_answer]


def spoil(data: bytes, rng: random.Random) -> bytes:
    """One to four random changes; one in four files has only whole lines or cells changed."""
    gentle = rng.random() < 0.25
    for _ in range(rng.randint(1, 4)):
        change = rng.choice((lines_moved, cells_changed) if gentle else CHANGES)
        data = change(data, rng) if data else data
    return data[: 1 << 21]


def plain_count(seed: Dialect, before: bytes, after: bytes) -> int | None:
    """Readings that lines below the headings offer; None where that takes a reader to know.

    Only files of the grid, whose first line is as it was and stays the only one of its kind, plain
    text without quotes or empty headings: each line that is not empty is a row.
    """
    if seed.axis != "grid" or b'"' in after or b"\r" in after or b"\x00" in after:
        return None
    top, _, rest = after.partition(b"\n")
    if top != before.partition(b"\n")[0] or not rest:
        return None
    try:
        lines = rest.decode().split("\n")
    except UnicodeDecodeError:
        return None
    delimiter = next(mark for mark in ";\t|," if mark in top.decode())
    # A line without a figure right under the headings is a line of units or descriptions.
    while lines and not re.search(r"\d", lines[0]):
        del lines[0]
    columns = top.decode().count(delimiter)
    weight = columns if top.decode().startswith("time" + delimiter + "MJ") else 1
    return weight * sum(1 for line in lines if line.replace(delimiter, ""))


def judged(folder: Path, name: str, code: int, out: str, err: str, offered: int | None) -> Result:
    """Check exit code, words, counts and lake of one pull."""
    found = lake(folder / "store" / "lake")
    if code not in (0, 3) or "Traceback" in err + out:
        return Result("FAULT", f"exit {code}: {' '.join(err.split())[-300:]}")
    if code == 3:
        worded = name in err and all(word in err for word in ("What:", "Where:", "Next:"))
        said = f"{len(found)} readings stored; said {' '.join(err.split())[:300]}"
        return Result("FAULT", said) if found or not worded else Result("refused whole")
    counts = [[int(n.replace(",", "")) for n in row[1:]] for row in COUNTS.findall(out)]
    read, new, known, refused = counts[0] if len(counts) == 1 else (0, 0, 0, 1)
    told = f"{read} read, {new} new, {known} known, {refused} refused; {len(found)} stored"
    rules_hold = all(
        (value is None or math.isfinite(value)) and bad == (why is not None)
        for value, bad, why in found.values()
    )
    if read != new + known + refused or new != len(found) or not rules_hold:
        return Result("FAULT", told)
    if offered is not None and offered != read:
        return Result("FAULT", f"{told}; {offered} in the file")
    return Result("read" if offered is None else "read and counted")


def one(folder: Path, seed: Dialect, data: bytes, before: bytes, *, apart: bool = False) -> Result:
    """Pull one spoiled file."""
    mill, (name,) = folder / "mill.toml", seed.files
    mill.write_text(description(seed), encoding="utf-8")
    shutil.rmtree(folder / "store" / "lake", ignore_errors=True)
    export = folder / name
    export.write_bytes(data)
    try:
        if apart:
            words = [sys.executable, "-m", "pipeline.cli", "pull", str(mill), str(export)]
            ended = subprocess.run(
                words, capture_output=True, text=True, cwd=ROOT, timeout=60, check=False
            )
            code, out, err = ended.returncode, ended.stdout, ended.stderr
        else:
            said = call("pull", str(mill), str(export))
            code, out, err = said.code, said.out, said.err
    except (HungError, subprocess.TimeoutExpired):
        return Result("FAULT", "no answer")
    finally:
        export.unlink(missing_ok=True)
    return judged(folder, name, code, out, err, plain_count(seed, before, data))


def run(count: int, seed: int, *, apart: int = 0, keep: Path | None = None) -> Counter[str]:
    """Spoil and pull `count` files, `apart` of them in a process of their own as well."""
    rng, seeds = random.Random(seed), _seeds()
    grid = [d for d in seeds if d.axis == "grid"]
    outcome: Counter[str] = Counter()
    signal.signal(signal.SIGALRM, _hung)
    with tempfile.TemporaryDirectory() as place:
        for number in range(count):
            chosen = rng.choice(grid if rng.random() < 0.3 else seeds)
            before = next(iter(chosen.files.values()))
            data = spoil(before, rng)
            begun = time.monotonic()
            signal.alarm(SLOWEST_S)
            result = one(Path(place), chosen, data, before)
            signal.alarm(0)
            took_ms = int(1000 * (time.monotonic() - begun))
            outcome["slowest ms"] = max(outcome["slowest ms"], took_ms)
            if not result.fault and apart and number % max(count // apart, 1) == 0:
                other = one(Path(place), chosen, data, before, apart=True)
                outcome["apart"] += 1
                if other != result:
                    result = Result("FAULT", f"alone: {other}; in this process: {result}")
            outcome[result.word] += 1
            if result.fault:
                print(f"{number} {chosen.name}: {result.fault}", flush=True)
                if keep is not None:
                    keep.mkdir(parents=True, exist_ok=True)
                    (keep / f"{number}_{next(iter(chosen.files))}").write_bytes(data)
                    (keep / f"{number}.toml").write_text(description(chosen), encoding="utf-8")
    return outcome


def _hung(_number: int, _frame: object) -> None:
    raise HungError


def main() -> int:
    """Print what became of the files."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--apart", type=int, default=40, help="how many also in a process of their own"
    )
    parser.add_argument("--keep", type=Path, help="folder for the files that show a fault")
    given = parser.parse_args()
    started = time.monotonic()
    outcome = run(given.count, given.seed, apart=given.apart, keep=given.keep)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{given.count} spoiled files in {time.monotonic() - started:.0f} s: {outcome['read']} "
        f"read, {outcome['read and counted']} read and their lines counted, "
        f"{outcome['refused whole']} refused whole, {outcome['FAULT']} faults; "
        f"{outcome['apart']} also in a process of their own; slowest {outcome['slowest ms']} ms; "
        f"peak memory {peak:.0f} MiB"
    )
    return 1 if outcome["FAULT"] else 0


if __name__ == "__main__":
    sys.exit(main())
