"""What the command makes of a dialect, judged by its exit code, its words and the lake alone."""

from __future__ import annotations

import contextlib
import io
import math
import re
import shutil
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import polars as pl
from dialect_truth import Dialect, Reading, description

#: Keys of a layout that a question may name.
KEYS = re.compile(
    r"\b(?:time_format|time_zone|decimal|thousands|good_words|bad_words|uncertain_words|"
    r"\w+_column|delimiter|heading_row|shape|sheets|encoding|units?|tag|fillers)\b"
)
COUNTS = re.compile(
    r"^(.*): ([\d,]+) rows read, ([\d,]+) new, ([\d,]+) known already, ([\d,]+) refused", re.M
)
#: A question shows two readings: "can be read as this or as that", "some this, others that".
TWO = re.compile(r"\b(?:can|could|may|might|either)\b.*\bor\b|\bsome\b.*\bothers\b", re.I)


@dataclass
class Verdict:
    """What became of a dialect: the kind, and why.

    Kinds: exact; asked; refused; rows (some refused one by one, counted); WRONG; SILENT; FAULT.
    """

    kind: str
    why: str
    said: str = field(default="", repr=False)


@dataclass(frozen=True)
class Said:
    """Exit code and words of one call of the command."""

    code: int
    out: str
    err: str


def call(*words: str) -> Said:
    """Run the command in this process."""
    from pipeline.cli import app as cli

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = cli.run(list(words))
    return Said(code, out.getvalue(), err.getvalue())


def judge(dialect: Dialect, folder: Path) -> Verdict:
    """Pull the files of a dialect into an emptied lake in `folder` and judge what came of it."""
    mill = folder / "mill.toml"
    mill.write_text(description(dialect), encoding="utf-8")
    shutil.rmtree(folder / "store" / "lake", ignore_errors=True)
    exports = folder / "exports"
    shutil.rmtree(exports, ignore_errors=True)
    exports.mkdir(parents=True)
    for name, data in dialect.files.items():
        (exports / name).write_bytes(data)
    said = call("pull", str(mill), *(str(exports / name) for name in dialect.files))
    found = lake(folder / "store" / "lake")
    if said.code:
        return _of_refusal(dialect, said, found)
    return _of_lake(dialect, said, found)


def lake(root: Path) -> dict[tuple[datetime, str], tuple[float | None, bool, str | None]]:
    """Every reading of a lake by moment and series."""
    files = sorted(root.glob("readings/date=*/*.parquet"))
    if not files:
        return {}
    frame = pl.concat([pl.read_parquet(f, hive_partitioning=False) for f in files])
    return {
        (row["ts_utc"], row["tag"]): (row["value"], row["bad"], row["reason"])
        for row in frame.iter_rows(named=True)
    }


def _of_refusal(dialect: Dialect, said: Said, found: dict) -> Verdict:
    told = said.err.strip()
    line = told.partition("\n")[0]
    if said.code != 3:
        kind = "NO KEY" if said.code == 2 else "FAULT"
        return Verdict(kind, f"exit {said.code}: {' '.join(told.split())[:300]}", told)
    if found:
        return Verdict("WRONG", f"exit 3, and {len(found)} readings in the lake", told)
    if not any(name in told for name in dialect.files) or "Next:" not in told:
        return Verdict("FAULT", f"names no file or no cure: {line}", told)
    asked = bool(TWO.search(line) and KEYS.search(told.partition("Next:")[2]))
    return Verdict("asked" if asked else "refused", line.removeprefix("What:").strip(), told)


def _of_lake(dialect: Dialect, said: Said, found: dict) -> Verdict:
    counts = [[int(n.replace(",", "")) for n in row[1:]] for row in COUNTS.findall(said.out)]
    if len(counts) != len(dialect.files) or any(a != b + c + d for a, b, c, d in counts):
        return Verdict("SILENT", f"the counts do not add up: {said.out[:300]}", said.out)
    if sum(row[1] for row in counts) != len(found):
        return Verdict("SILENT", f"{len(found)} readings stored, not as told", said.out)
    refused = max(sum(row[3] for row in counts) - dialect.spare, 0)
    kind, why = _compared({(r.utc, r.tag): r for r in dialect.truth}, found, refused)
    if kind == "rows":
        why += "".join(f" | {line.strip()}" for line in said.out.splitlines()[:3])
    return Verdict(kind, why, said.out)


def _compared(truth: dict, found: dict, refused: int) -> tuple[str, str]:
    """Kind of verdict and why, from what is and what should be in the lake."""
    # Text kept as a bad reading without a number is a row kept as unreadable, not a falsehood.
    odd = [key for key in found if key not in truth]
    strange = [key for key in odd if found[key][0] is not None or not found[key][1]]
    missing = [key for key in truth if key not in found]
    unread = [k for k in truth if k in found and _unread(truth[k], found[k])]
    unlike = [k for k in truth if k in found and k not in unread and _unlike(truth[k], found[k])]
    if unlike:
        when, tag = key = unlike[0]
        why = f"{len(unlike)} of {len(truth)} differ: {tag} {when:%Y-%m-%d %H:%M} "
        why += f"stored {found[key]}, truth {truth[key].text} {'bad' * truth[key].bad}"
        return "WRONG", why
    if strange:
        when, tag = key = strange[0]
        why = f"{len(strange)} never happened: {tag} {when:%Y-%m-%d %H:%M} UTC {found[key]}"
        return "WRONG", f"{why}; {len(missing)} missing"
    if len(missing) > refused:
        return "SILENT", f"{len(missing)} of {len(truth)} missing, {refused} counted as refused"
    if missing or unread or odd:
        kept = len(unread) + len(odd)
        why = f"{len(missing)} of {len(truth)} refused in rows, {kept} kept as unreadable"
        return "rows", why
    return "exact", ""


def _unread(truth: Reading, stored: tuple) -> bool:
    """A sound number kept as bad text: nothing wrong is stored, yet it is not read."""
    return not truth.bad and truth.text is not None and stored[1] and stored[0] is None


def _unlike(truth: Reading, stored: tuple) -> bool:
    value, bad, _ = stored
    if bad != (truth.bad or truth.text is None):
        return True
    if value is None or truth.text is None:
        return not bad
    return not math.isclose(value, float(truth.text), rel_tol=1e-6, abs_tol=1e-9)
