"""Spoil exports at random and read them: no traceback, no hang, no row unaccounted for.

    python tests/benchmarks/fuzz_readers.py --count 20000

Each file of the corpus is cut, spliced, doubled, repacked or has bytes, cells or lines changed;
the same seed gives the same files. What comes out must be readings or a refusal in three parts.
Of every file read, rows offered = readings given + rows refused, and every refusal is of a row.
"""

from __future__ import annotations

import argparse
import faulthandler
import gzip
import json
import random
import re
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from pipeline.base.errors import LostpolError
from pipeline.exports.export import export_readings
from pipeline.lake.refused import Tally
from pipeline.mill.export_layout import ExportLayout
from pipeline.mill.units import UnitChange, signal_change

FILES: Final = Path(__file__).parents[1] / "pipeline" / "exports" / "corpus" / "files"
QUANTITIES: Final = {
    "MJ.FI101": "flow", "LT.AI212": "ph", "SH.TI221": "temperature", "LAB CJ rs": "other",
}  # fmt: skip
WORDS: Final = ("read", "read, lines counted", "refused whole", "FAULT")
#: A corpus file takes milliseconds; one that takes this long hangs [s].
SLOWEST_S: Final = 20
ODD: Final = (
    b'"', b"'", b",", b";", b"\t", b"\n", b"\r", b"\x00", b"\xff", b"\xef\xbb\xbf", b"nan", b"inf",
    b"1e999", b"-", b"/", b"99/99/9999", b"0x", b"PAR1", b"PK\x03\x04", b"\x1f\x8b", b"=",
    b"9" * 400,
    "\u202f".encode(), "\u0661".encode(), "\U0001f36c".encode(),
)  # fmt: skip


@dataclass(frozen=True)
class FuzzMill:
    zone: str = "America/Chicago"
    ambiguous: str = "first"
    missing: str = "shift_forward"
    unit_changes: dict = field(default_factory=lambda: dict.fromkeys(QUANTITIES, UnitChange()))

    def change_from(self, tag, unit):
        return signal_change(QUANTITIES[tag], unit) if tag in QUANTITIES else None


def spoil(data: bytes, rng: random.Random, others: list[bytes]) -> bytes:
    """One to four random changes."""
    for _ in range(rng.randint(1, 4)):
        data = rng.choice(CHANGES)(data, rng, others)
    return data


def at(data, rng):
    return rng.randrange(len(data) + 1)


def flip(data, rng, others):
    spoiled = bytearray(data)
    for _ in range(rng.randint(1, 8)):
        if spoiled:
            spoiled[rng.randrange(len(spoiled))] = rng.randrange(256)
    return bytes(spoiled)


def insert(data, rng, others):
    k = at(data, rng)
    return data[:k] + rng.choice(ODD) * rng.randint(1, 3) + data[k:]


def cut(data, rng, others):
    a, b = sorted((at(data, rng), at(data, rng)))
    return data[:a] + data[b:] if rng.random() < 0.5 else data[:b]


def double(data, rng, others):
    a, b = sorted((at(data, rng), at(data, rng)))
    return data[:b] + data[a:b] * rng.randint(1, 5) + data[b:]


def splice(data, rng, others):
    other = rng.choice(others)
    return data[: at(data, rng)] + other[at(other, rng) :]


def exchange_lines(data, rng, others):
    lines = data.split(b"\n")
    a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]
    return b"\n".join(lines)


def exchange_cell(data, rng, others):
    cells = list(re.finditer(rb"[^,;\t\n\r|]+", data[:100_000]))
    if not cells:
        return data
    cell, other = rng.choice(cells), rng.choice(cells)
    new = rng.choice((other[0], b"", rng.choice(ODD), str(rng.uniform(-1e6, 1e20)).encode()))
    return data[: cell.start()] + new + data[cell.end() :]


def exchange_mark(data, rng, others):
    marks = (b",", b";", b"\t", b"|", b".", b"/", b"-", b":", b" ", b'"', b"\n")
    return data.replace(rng.choice(marks), rng.choice(marks))


def pack(data, rng, others):
    return gzip.compress(data, mtime=0)


CHANGES: Final = (
    flip, insert, cut, double, splice, exchange_lines, exchange_cell, exchange_cell,
    exchange_mark, pack,
)  # fmt: skip


def read(path: Path, layout: ExportLayout | None) -> str:
    """Read one file and check its accounts; the word for what became of it."""
    tally = Tally()
    given = 0
    tables = []
    try:
        for frame in export_readings(
            path, layout, FuzzMill(), tally, lambda table, plan, *_: tables.append((table, plan))
        ):
            given += frame.height
            assert not frame["ts_utc"].null_count() and not frame["tag"].null_count()
            assert not frame["value"].is_nan().any() and not frame["value"].is_infinite().any()
            assert (frame["bad"] == frame["reason"].is_not_null()).all()
    except LostpolError as error:
        assert error.what and error.where and error.next_step
        return "refused whole"
    refused = sum(tally.refused.values())
    assert tally.rows == given + refused, f"{tally.rows} rows, {given} readings, {refused} refused"
    assert all(count >= 0 for count in tally.refused.values())
    if len(tables) == 1 and (lines := lines_below_headings(*tables[0])) is not None:
        below = tally.rows - tally.refused["above_headings"]
        assert below == lines, f"{below} rows of {lines}"
        return "read, lines counted"
    return "read"


def lines_below_headings(table, plan) -> int | None:
    """Rows of a plain text counted without any reader; None where quotes make lines no rows."""
    if table.text is None or table.text.member or plan.shape == "pairs" or plan.tag_columns:
        return None
    data = table.path.read_bytes()
    data = gzip.decompress(data) if data[:2] == b"\x1f\x8b" else data
    if data[:4] == b"\x28\xb5\x2f\xfd":
        return None
    text = data.decode(table.text.encoding)
    if '"' in text:
        return None
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")[table.text.skip_lines :]
    filled = sum(1 for line in lines if line.replace(table.text.delimiter, ""))
    return filled * (len(plan.tags) if plan.shape == "wide" else 1)


def run(count: int, seed: int, seconds: float, out: Path | None = None) -> Counter[str]:
    """Spoil and read `count` files; stops early when `seconds` have passed."""
    names = sorted(p for p in FILES.iterdir() if not p.name.endswith(".expected.json"))
    contents = [p.read_bytes() for p in names]
    layouts = []
    for p in names:
        expected = json.loads(p.with_name(p.name + ".expected.json").read_text(encoding="utf-8"))
        given = expected.get("layout")
        layouts.append(None if given is None else ExportLayout(name="fuzz", **given))
    rng = random.Random(seed)
    outcome: Counter[str] = Counter()
    started = time.monotonic()
    signal.signal(signal.SIGALRM, _hung)
    with tempfile.TemporaryDirectory() as folder:
        for number in range(count):
            if time.monotonic() - started > seconds:
                break
            k = rng.randrange(len(names))
            path = Path(folder) / f"spoiled{names[k].suffix}"
            path.write_bytes(spoil(contents[k], rng, contents)[: 1 << 21])
            begun = time.monotonic()
            signal.alarm(SLOWEST_S)
            try:
                word = read(path, layouts[k])
            except BaseException as error:
                word = "FAULT"
                print(f"{number} {names[k].name}: {type(error).__name__}: {str(error)[:300]}")
                if out is not None:
                    out.mkdir(parents=True, exist_ok=True)
                    (out / f"{number}_{names[k].name}").write_bytes(path.read_bytes())
                    (out / f"{number}.txt").write_text(traceback.format_exc())
                if isinstance(error, KeyboardInterrupt):
                    raise
            finally:
                signal.alarm(0)
            outcome[word] += 1
            slowest = max(outcome["slowest ms"], int(1000 * (time.monotonic() - begun)))
            outcome["slowest ms"] = slowest
    return outcome


def _hung(number, frame):
    raise TimeoutError(f"no answer in {SLOWEST_S} s")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=1800.0, help="stop after this long")
    parser.add_argument("--keep", type=Path, help="folder for the files that show a fault")
    given = parser.parse_args()
    faulthandler.enable()
    started = time.monotonic()
    outcome = run(given.count, given.seed, given.seconds, given.keep)
    done = sum(outcome[word] for word in WORDS)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{done} spoiled files in {time.monotonic() - started:.0f} s: {outcome['read']} read, "
        f"{outcome['read, lines counted']} read and their lines counted, "
        f"{outcome['refused whole']} refused whole, {outcome['FAULT']} faults; slowest "
        f"{outcome['slowest ms']} ms; peak memory {peak:.0f} MiB"
    )
    return 1 if outcome["FAULT"] or done < given.count else 0


if __name__ == "__main__":
    sys.exit(main())
