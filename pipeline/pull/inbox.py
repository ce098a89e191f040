"""What lies in an inbox: exports that may be read, and those that are still arriving.

A copy over a slow line takes minutes, and half an export reads like a short one. A file that grew
while it was looked at, or that lacks the end its form must have, waits for the next run.
"""

from __future__ import annotations

import json
import time
import zipfile
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from pipeline.base import said
from pipeline.pull.known import file_hash

#: Ends of names of exports; other files in an inbox are left alone.
ENDINGS: Final = (
    ".parquet", ".csv", ".txt", ".tsv", ".gz", ".zst", ".zstd", ".zip", ".xlsx", ".xlsm",
)  # fmt: skip
#: A file changed within this time [s] is looked at twice, with this pause between [s].
YOUNG_S: Final = 60.0
PAUSE_S: float = 3.0
#: After this time [s] a file without its end is no longer arriving but damaged.
PATIENCE_S: Final = 3600.0
#: What is known of the files of an inbox, in the store.
INBOX_NOTES: Final = "inbox.json"
#: Text whose last line may still be on its way, and for how long [s].
_LINES: Final = (".csv", ".txt", ".tsv")
_LINE_S: Final = 600.0
_PARQUET: Final = b"PAR1"
_ZIP: Final = b"PK\x03\x04"


def exports_in(inbox: Path) -> list[Path]:
    """Export files in an inbox, by name; hidden ones are not there yet."""
    names = (path for path in inbox.iterdir() if path.suffix.lower() in ENDINGS)
    return sorted(path for path in names if path.is_file() and not path.name.startswith("."))


def hashed(files: Sequence[Path], notes: Path) -> dict[Path, str]:
    """SHA-256 of some files; of those that did not change since, as noted the last time.

    An inbox that is never emptied holds a season of exports, and to read them all again every
    night would take longer with each of them.

    Parameters
    ----------
    notes : Path
        Where to keep what was found; it may be lost at any time.
    """
    known: dict[str, list[object]] = {}
    with suppress(OSError, ValueError):
        held = json.loads(notes.read_text(encoding="utf-8"))
        known = held if isinstance(held, dict) else {}
    found, parts = {}, {}
    for path in files:
        noted = known.get(path.name)
        try:
            facts = path.stat()
            # The system sets the time of change itself: a copy that keeps its date still shows.
            seen = [facts.st_size, facts.st_mtime_ns, facts.st_ctime_ns, facts.st_ino]
            fits = isinstance(noted, list) and noted[:-1] == seen
            found[path] = str(noted[-1]) if fits and noted else file_hash(path)
        except OSError:
            found[path] = ""  # known to nobody, so that the reader says what is wrong with it
            continue
        parts[path.name] = [*seen, found[path]]
    if parts != known:
        with suppress(OSError):
            part = notes.with_name(notes.name + ".part")
            part.write_text(json.dumps(parts), encoding="utf-8")
            part.replace(notes)
    return found


def still_arriving(files: Sequence[Path]) -> dict[Path, str]:
    """Those of some files that are not there as a whole, and how that shows."""
    before = {path: _state(path) for path in files}
    now = time.time()
    if any(now - changed < YOUNG_S for _, changed in before.values()):
        time.sleep(PAUSE_S)
    waiting = {}
    for path in files:
        if _state(path) != before[path]:
            waiting[path] = said("it changes while it is looked at")
        elif now - before[path][1] < PATIENCE_S and not _has_end(path):
            waiting[path] = said("its end is not there yet")
    return waiting


def _state(path: Path) -> tuple[int, float]:
    """Size and time of change; those of a file that went away are its own kind of change."""
    try:
        facts = path.stat()
    except OSError:
        return -1, 0.0
    return facts.st_size, facts.st_mtime


def _has_end(path: Path) -> bool:
    """Whether a file has the end that its form must have."""
    try:
        with path.open("rb") as file:
            start = file.read(4)
            file.seek(max(0, path.stat().st_size - 4))
            end = file.read(4)
        if start == _PARQUET:
            return end == _PARQUET and path.stat().st_size > len(start) + len(end)
        if path.suffix.lower() in _LINES:
            # A number cut short is a number, too. Some programs never end their last line.
            return end.endswith((b"\n", b"\r")) or time.time() - path.stat().st_mtime > _LINE_S
        return start != _ZIP or zipfile.is_zipfile(path)
    except Exception:  # noqa: BLE001 (whatever a hostile file makes a library raise)
        return True  # the reader says what is wrong with it
