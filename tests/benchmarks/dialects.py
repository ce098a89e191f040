"""One truth told in hundreds of dialects: how many are read exactly, asked about, refused.

    python tests/benchmarks/dialects.py
    python tests/benchmarks/dialects.py --only quality --said --keep folder

Judged by exit code, words and lake alone. What is stored wrong, dropped without a count, or
refused although the file says enough, is listed with the reason. The command runs in this process,
once for each dialect, with a lake of its own.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "pipeline" / "exports" / "dialects"))

from dialect_judge import Verdict, judge
from dialect_list import all_dialects
from dialect_truth import Dialect

FAULTS = ("WRONG", "SILENT", "FAULT", "NO KEY")


def run(only: str = "") -> list[tuple[Dialect, Verdict]]:
    """Every dialect whose name has `only` in it, and what became of it."""
    with tempfile.TemporaryDirectory() as folder:
        chosen = [d for d in all_dialects() if only.casefold() in d.name.casefold()]
        return [(d, judge(d, Path(folder))) for d in chosen]


def main() -> int:
    """Print counts and all that is not as it should be."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="part of the name")
    parser.add_argument("--said", action="store_true", help="what the command said of each listed")
    parser.add_argument("--all", action="store_true", help="list those in order, too")
    parser.add_argument("--keep", type=Path, help="folder for the files of those listed")
    given = parser.parse_args()
    started = time.monotonic()
    judged = run(given.only)
    for kind in (*FAULTS, "rows", "refused", "asked", "exact"):
        for dialect, verdict in judged:
            listed = verdict.kind not in dialect.allowed or given.all
            if verdict.kind != kind or not listed:
                continue
            print(f"{kind:8}{dialect.name}: {verdict.why}")
            if given.said:
                print("        " + verdict.said.strip().replace("\n", "\n        "))
            if given.keep is not None:
                place = given.keep / "".join(c if c.isalnum() else "_" for c in dialect.name)
                place.mkdir(parents=True, exist_ok=True)
                for name, data in dialect.files.items():
                    (place / name).write_bytes(data)
    counts = Counter(v.kind for _, v in judged)
    in_order = sum(v.kind in d.allowed for d, v in judged)
    print(
        f"{len(judged)} dialects in {time.monotonic() - started:.0f} s: {counts['exact']} exact, "
        f"{counts['asked']} asked, {counts['refused']} refused, {counts['rows']} refused in rows; "
        + ", ".join(f"{counts[kind]} {kind}" for kind in FAULTS)
        + f"; {len(judged) - in_order} not as they should be"
    )
    return 0 if in_order == len(judged) else 1


if __name__ == "__main__":
    sys.exit(main())
