"""Running the command of a tree as a person would, and what it leaves behind."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
#: One process for all files, since each start takes two seconds; each file is a command.
_PULLS = """
import contextlib, io, json, sys
from pipeline.cli import app as cli
for path in sys.argv[2:]:
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        code = cli.run(["pull", sys.argv[1], path])
    print(json.dumps({"path": path, "code": code, "said": said.getvalue()}), flush=True)
"""


@dataclass(frozen=True)
class Drafted:
    """What ``describe`` made: its description (none where it failed), words and seconds."""

    toml: Path | None
    said: str
    seconds: float
    #: False where it took the files only after those that are no exports were left out.
    took_all: bool = True
    pulls: dict[str, tuple[int, str]] = field(default_factory=dict)


def _run(tree: Path, words: Sequence[str]) -> subprocess.CompletedProcess[str]:
    environment = dict(os.environ, PYTHONPATH=str(tree), NO_COLOR="1", COLUMNS="200")
    return subprocess.run(
        [sys.executable, *words], cwd=tree, env=environment, capture_output=True, text=True,
        check=False, stdin=subprocess.DEVNULL, timeout=900,
    )  # fmt: skip


def describe(tree: Path, files: Sequence[Path], name: str, zone: str, out: Path) -> Drafted:
    """Have the tree at `tree` draft a description."""
    out.parent.mkdir(parents=True, exist_ok=True)
    started = time.perf_counter()
    words = [*map(str, files), "--name", name, "--zone", zone, "--out", str(out)]
    done = _run(tree, ["-m", "pipeline.cli", "describe", *words])
    seconds = time.perf_counter() - started
    made = done.returncode == 0 and out.exists()
    return Drafted(out if made else None, done.stdout + done.stderr, seconds)


def pull_each(tree: Path, toml: Path, files: Sequence[Path]) -> dict[str, tuple[int, str]]:
    """Pull each file by itself: exit code and words by file name."""
    done = _run(tree, ["-c", _PULLS, str(toml), *map(str, files)])
    lines = [json.loads(line) for line in done.stdout.splitlines() if line.startswith("{")]
    found = {Path(line["path"]).name: (int(line["code"]), str(line["said"])) for line in lines}
    return {path.name: found.get(path.name, (-1, done.stderr)) for path in files}


@contextmanager
def tree_of(revision: str, folder: Path) -> Iterator[Path]:
    """The tree of another revision, for as long as it is needed."""
    place = folder / "tree"
    git = ["git", "-C", str(ROOT), "worktree"]
    subprocess.run([*git, "add", "--detach", str(place), revision], check=True, capture_output=True)
    try:
        yield place
    finally:
        subprocess.run([*git, "remove", "--force", str(place)], check=True, capture_output=True)
