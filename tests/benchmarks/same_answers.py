"""Two demonstrations side by side: is every answer the same to the byte?

    python tests/benchmarks/same_answers.py OLD/lostpol_demo NEW/lostpol_demo [--renamed a=b ...]

Compares every file of the two lakes, the whole table of findings (the name of the run apart, since
versions enter it) and the text of the nightly, weekly and backfill reports. Of the texts, what the
clock writes is left out: when a run finished and how long its stages took. Words given as
``--renamed`` count as the same, for commands that changed their name. Ends with 1 when anything
else differs.
"""

from __future__ import annotations

import argparse
import hashlib
import re
import sys
from difflib import unified_diff
from html.parser import HTMLParser
from pathlib import Path

import duckdb

_CLOCK = re.compile(
    r"finished \w{3} \d+ \w{3} \d{4} \d{2}:\d{2}(, after \d+ s)?|(derive|detect|pull) \d+ s"
)
_REPORTS = ("nightly.txt", "weekly.txt", "backfill.html")


class _Text(HTMLParser):
    """The words of a page, one piece a line."""

    def __init__(self) -> None:
        super().__init__()
        self.pieces: list[str] = []

    def handle_data(self, data: str) -> None:
        self.pieces.append(" ".join(data.split()))


def words_of(path: Path, renamed: list[tuple[str, str]]) -> list[str]:
    """Words of a report without what the clock writes, for texts and pages alike."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".html":
        page = _Text()
        page.feed(text)
        text = "\n".join(filter(None, page.pieces))
    else:
        text = " ".join(text.split()).replace(". ", ".\n")
    for old, new in renamed:
        text = re.sub(rf"\b{re.escape(old)}\b", new, text)
    return _CLOCK.sub("(clock)", text).splitlines()


def hashes(lake: Path) -> dict[str, str]:
    """Hash of every file of a lake, by its name in the lake."""
    return {
        path.relative_to(lake).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(lake.rglob("*"))
        if path.is_file()
    }


def findings(demo: Path) -> list[tuple[object, ...]]:
    """All findings, the name of the run apart."""
    with duckdb.connect(str(demo / "findings.duckdb"), read_only=True) as connection:
        query = "SELECT * EXCLUDE (run_id) FROM findings ORDER BY finding_id"
        return connection.execute(query).fetchall()


def _lakes(old: Path, new: Path) -> bool:
    before, after = hashes(old / "lake"), hashes(new / "lake")
    differ = [n for n in before.keys() | after.keys() if before.get(n) != after.get(n)]
    print(f"lake: {len(before)} files before, {len(after)} after, {len(differ)} differ")
    print("".join(f"  {name}\n" for name in sorted(differ)[:20]), end="")
    return not differ


def _findings(old: Path, new: Path) -> bool:
    before, after = findings(old), findings(new)
    same = before == after
    print(
        f"findings: {len(before)} rows before, {len(after)} after, {'same' if same else 'DIFFER'}"
    )
    return same


def _reports(old: Path, new: Path, renamed: list[tuple[str, str]]) -> bool:
    same = True
    for name in _REPORTS:
        before, after = (next((d / "reports").glob(f"*/{name}")) for d in (old, new))
        lines = [words_of(path, renamed) for path in (before, after)]
        differ = list(unified_diff(*lines, lineterm="", n=0))[2:]
        print(f"{name}: {len(lines[0])} lines, {'DIFFER' if differ else 'same'}")
        print("".join(f"  {line}\n" for line in differ[:20]), end="")
        same = same and not differ
    return same


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("old", type=Path)
    parser.add_argument("new", type=Path)
    parser.add_argument("--renamed", nargs="*", default=[], metavar="OLD=NEW")
    asked = parser.parse_args()
    renamed = [tuple(pair.split("=", 1)) for pair in asked.renamed]
    results = [
        _lakes(asked.old, asked.new),
        _findings(asked.old, asked.new),
        _reports(asked.old, asked.new, renamed),
    ]
    return 0 if all(results) else 1


if __name__ == "__main__":
    sys.exit(main())
