"""Break one line at a time; the tests of its room must notice.

    python tests/benchmarks/line_breaks.py                     # all of them, half an hour or more
    python tests/benchmarks/line_breaks.py matching episodes   # of files that hold these words

The breaks stand in ``line_breaks.toml``. The tree is copied; in the copy one line is changed, the
tests of its room alone are run (``pipeline/lake/merge.py``: ``tests/pipeline/lake``), and the line
is put back. A break is *killed* when a test fails, and *survives* when all pass. It is *stale*
when its line does not stand in the room exactly once, or when the room cannot even be imported
with it, which no test has to notice. A room must pass unbroken first. Ends with 1 when a break
survives or is stale.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import signal
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from importlib.util import cache_from_source
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
COPIED = ("configs", "features", "models", "pipeline", "sample_parquet", "tests")
#: These tests of a room take longest and come last: most breaks need none of them.
LATE = ("again", "pull", "storage", "faults", "verdicts", "dictionary", "export")
LATE += ("transients", "changepoint", "chance")
#: Loaded once, for all runs of tests.
LOADED = ("pytest", "numpy", "scipy.stats", "scipy.linalg", "polars", "pyarrow.parquet", "duckdb")
LOADED += ("pydantic", "sklearn.linear_model", "ruptures", "fsspec", "jinja2")
#: A break may make a loop endless; then it is noticed, too [s].
LONGEST_S = 900.0
#: How pytest ends: all passed, some failed; whatever else is no answer.
ENDED = {0: "survived", 1: "killed"}
FAILED = re.compile(r"(?m)^(?:FAILED|ERROR) \S*?([^/\s]+\.py\S*)")


@dataclass(frozen=True)
class Break:
    """A line, what is put in its place, and what is then wrong."""

    file: str
    line: str
    instead: str
    meaning: str
    line_before: str | None = None

    @property
    def room(self) -> str:
        return Path(self.file).parent.as_posix()

    def places(self, tree: Path) -> list[tuple[Path, int]]:
        """Where the line stands: in its file, or else in the rest of the room it moved to."""
        own = tree / self.file
        others = sorted(path for path in own.parent.glob("*.py") if path != own)
        for files in ([own], others):
            found = [(path, n) for path in files for n in self._numbers(path)]
            if found:
                return found
        return []

    def _numbers(self, path: Path) -> list[int]:
        lines = (
            [line.strip() for line in path.read_text("utf-8").splitlines()] if path.exists() else []
        )
        before = ["", *lines]
        return [
            n
            for n, line in enumerate(lines)
            if line == self.line and self.line_before in (None, before[n])
        ]


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("words", nargs="*", help="only breaks of files that hold one of these")
    words = parser.parse_args().words
    breaks = [b for b in all_breaks() if not words or any(word in b.file for word in words)]
    for library in LOADED:
        import_module(library)
    with tempfile.TemporaryDirectory() as name:
        tree = copied_tree(Path(name))
        ends = {}
        for room in dict.fromkeys(b.room for b in breaks):
            ended, took_s, detail = tests_of(tree, room)
            say(f"\n{room}: unbroken, its tests take {took_s:.0f} s")
            if ended != "survived":
                say(f"  they fail without any break: {detail}")
                return 2
            for one in breaks:
                if one.room == room:
                    ends[one] = tried(tree, one)
    totals(ends)
    return 0 if set(ends.values()) == {"killed"} else 1


def all_breaks() -> list[Break]:
    table = tomllib.loads((Path(__file__).with_suffix(".toml")).read_text(encoding="utf-8"))
    return [Break(file, *texts) for file, listed in table.items() for texts in listed]


def copied_tree(folder: Path) -> Path:
    """All that tests need, below `folder`."""
    for name in COPIED:
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", folder)
    return folder


def tried(tree: Path, one: Break) -> str:
    """Apply a break, run the tests of its room, and say how that ended."""
    places = one.places(tree)
    if len(places) != 1:
        ended, took_s, detail = "stale", 0.0, f"the line stands there {len(places)} times"
    else:
        with broken(*places[0], one.instead):
            ended, took_s, detail = tests_of(tree, one.room, Path(one.file).stem)
    say(f"  {ended:8} {took_s:4.0f} s  {Path(one.file).name}: {one.meaning}  [{detail}]")
    return ended


@contextmanager
def broken(path: Path, number: int, instead: str) -> Iterator[None]:
    """Change one line of a file meanwhile."""
    whole = path.read_text(encoding="utf-8")
    lines = whole.splitlines()
    indent = lines[number][: len(lines[number]) - len(lines[number].lstrip())]
    lines[number] = indent + instead
    # Bytecode is told from its source by second and size only, and both may be the same.
    compiled = Path(cache_from_source(str(path)))
    try:
        compiled.unlink(missing_ok=True)
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        yield
    finally:
        path.write_text(whole, encoding="utf-8")
        compiled.unlink(missing_ok=True)


def tests_of(tree: Path, room: str, stem: str = "") -> tuple[str, float, str]:
    """How the tests of a room end, the time taken [s], and the test that failed."""
    files = sorted((tree / "tests" / room).glob("test_*.py"))
    files.sort(key=lambda path: (stem not in path.stem, path.stem.endswith(LATE)))
    options = ["-x", "-q", "-m", "not slow", "-p", "no:cacheprovider", "--hypothesis-seed=0"]
    said = tree / "said.txt"
    started = time.monotonic()
    code = run_pytest(tree, [*options, *map(str, files)], said)
    took_s = time.monotonic() - started
    if code is None:
        return "killed", took_s, "no end"
    text = said.read_text(encoding="utf-8", errors="replace")
    failed = FAILED.search(text)
    detail = failed[1] if failed else text[-300:] if code else "all pass"
    return ENDED.get(code, "stale"), took_s, detail


def run_pytest(tree: Path, arguments: list[str], said: Path) -> int | None:
    """Run pytest in a fork of this process; its code, or None when it had to be stopped.

    Libraries take longer to load than most tests to run; a fork has them already. None of them
    may have started threads of its own before, and so none is used here.
    """
    child = os.fork()
    if not child:
        with said.open("wb") as file:
            os.dup2(file.fileno(), 1)
            os.dup2(file.fileno(), 2)
        os.environ["PYTHONPATH"] = str(tree)
        os.chdir(tree)
        sys.path[0] = str(tree)
        code = 3
        try:
            code = int(sys.modules["pytest"].main(arguments))
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
    give_up = time.monotonic() + LONGEST_S
    while time.monotonic() < give_up:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.05)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def totals(ends: dict[Break, str]) -> None:
    """Print how the breaks of each room ended, and all together."""
    say(f"\n{'room':20} breaks  killed  survived  stale")
    rooms = [*dict.fromkeys(one.room for one in ends), ""]
    for room in rooms:
        count = Counter(end for one, end in ends.items() if room in (one.room, ""))
        numbers = (count.total(), count["killed"], count["survived"], count["stale"])
        say("{:20} {:6}  {:6}  {:8}  {:5}".format(room or "all", *numbers))


def say(text: str) -> None:
    print(text, flush=True)


if __name__ == "__main__":
    sys.exit(main())
