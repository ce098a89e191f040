"""Where exports were pulled from, and in which order: what it takes to read them once more.

It lies in the store, beside the database, because paths are those of this machine. It may be lost:
the order is then that of the notes in the lake, and exports are looked for in the inbox alone.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from pipeline.pull.known import file_hash
from pipeline.pull.ledger import write_record

#: Its name in the store.
IMPORTS: Final = "imports.json"


@dataclass(slots=True)
class Journal:
    """Folders that exports came from, and imports in their order.

    Attributes
    ----------
    path : Path
    folders : list of str
    imports : list of (str, bool)
        Hash of each export, and whether it was applied in full; first import first.
    in_full : bool
        How the pull that is at work applies its exports.
    """

    path: Path
    folders: list[str] = field(default_factory=list)
    imports: list[tuple[str, bool]] = field(default_factory=list)
    in_full: bool = False

    def begin(self, files: Sequence[Path], *, in_full: bool) -> None:
        """Note where the files of a pull lie, before anything is read."""
        found = [str(path.resolve().parent) for path in files]
        folders = list(dict.fromkeys([*self.folders, *found]))
        if folders != self.folders or in_full != self.in_full:
            self.folders, self.in_full = folders, in_full
            self._write()

    def add(self, hashes: Iterable[str], *, in_full: bool) -> None:
        """Note what was imported; said before, it counts again only in full."""
        known = {sha256 for sha256, _ in self.imports}
        news = [(sha256, in_full) for sha256 in hashes if in_full or sha256 not in known]
        if news and self.imports[-len(news) :] != news:  # a stopped pull is told of twice
            self.imports += news
            self._write()

    def _write(self) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        record = {"folders": self.folders, "imports": self.imports, "in_full": self.in_full}
        write_record(self.path, record)


def open_journal(store: Path) -> Journal:
    """Journal of a store, empty when there is none that can be read."""
    path = store / IMPORTS
    with suppress(OSError, ValueError, KeyError, TypeError):
        record = json.loads(path.read_text(encoding="utf-8"))
        imports = [(str(sha256), bool(in_full)) for sha256, in_full in record["imports"]]
        return Journal(path, [*map(str, record["folders"])], imports, bool(record["in_full"]))
    return Journal(path)


def find_export(
    folders: Sequence[Path], name: str, size_bytes: int, sha256: str, files: Sequence[Path] = ()
) -> Path | None:
    """Look for an export whose bytes are those that were pulled, under any name; None if gone."""
    for folder in folders:
        with suppress(OSError):
            others = sorted(path for path in folder.iterdir() if path.name != name)
            for path in (folder / name, *others):
                if _is_it(path, size_bytes, sha256):
                    return path
    return next((path for path in files if _is_it(path, size_bytes, sha256)), None)


def _is_it(path: Path, size_bytes: int, sha256: str) -> bool:
    with suppress(OSError):
        if path.is_file() and path.stat().st_size == size_bytes:
            return file_hash(path) == sha256
    return False
