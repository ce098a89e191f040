"""Readings, notes and refused rows brought back from the exports they came from.

A day of readings is imported once more from every export that held some of it, in the order of the
first time, and ends as the same bytes. Nothing else changes: other days, ledgers and notes stand.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path, PurePosixPath
from typing import Final

import polars as pl

from pipeline.base import DataError, said
from pipeline.lake import (
    ASIDE,
    READINGS_SCHEMA,
    REFUSALS,
    DayMerge,
    Lake,
    day_bytes,
    digest_of,
    import_readings,
    merge_readings,
    refused_name,
)
from pipeline.pull.known import NOTES, Pulled, all_notes, keep_note, meanings, read_as, written_s
from pipeline.pull.marks import Wanted, lost, wait_for, wait_no_more, waiting, wanted_by
from pipeline.pull.mill import PullMill
from pipeline.pull.stage import REFUSED, Staged, stage, stage_key

#: Finds an export whose bytes are those that were pulled.
Find = Callable[[Wanted], Path | None]
#: Rows kept, merged and conflicting, as the first pull of an export counted them.
Counts = Callable[[str], DayMerge | None]
_WORKERS: Final = 2


@dataclass(frozen=True, slots=True)
class Restored:
    """What became of one file that was set aside.

    Attributes
    ----------
    name : str
        Its name in the lake.
    how : str
        In words.
    whole : bool
        Nothing is missing.
    day : date or None
        Day of readings that is not what it was a moment ago.
    wants : tuple of Wanted
        Exports that are missing.
    """

    name: str
    how: str
    whole: bool
    day: date | None = None
    wants: tuple[Wanted, ...] = ()


@dataclass(slots=True)
class Restorer:
    """Brings back what was set aside.

    Parameters
    ----------
    mill : PullMill
    lake : Lake
    find : callable
    imports : sequence of (str, bool)
        Hashes of exports in the order of import, and whether each was applied in full.
    """

    mill: PullMill
    lake: Lake
    find: Find
    imports: Sequence[tuple[str, bool]]
    pool: Executor
    _staged: dict[str, Staged | None] = field(default_factory=dict)

    def day(self, day: date, missing: Sequence[Wanted]) -> Restored:
        """Bring back a day of readings as far as its exports are known."""
        name = self.lake.readings_name(day)
        # A lost note may be that of an export which held some of the day.
        held = [*wanted_by(self._notes(), day), *self._lost_notes()]
        stored = self.lake.storage.exists(name)
        absent = {wanted.sha256 for wanted in missing}
        there = [w for w in held if w.sha256 not in absent] if stored else []
        found = [w for w in held if self._stage(w) is not None]
        wants = tuple(w for w in held if w not in found and w not in there)
        if not found or (stored and not absent & {w.sha256 for w in found}):
            wait_for(self.lake.storage, day, wants or missing)
            return Restored(name, said("waits for its exports"), whole=False, wants=wants)
        if all(wanted in found for wanted in there):
            frame = self._from_nothing(day, found)
        else:
            frame = self._filled(day, [w for w in found if w not in there])
        content = day_bytes(frame)
        self.lake.storage.write(name, lambda file: file.write(content))
        how = said("read again from {names}", names=_names(found))
        if self._as_before(name, content):
            how = said("read again from {names}, as it was", names=_names(found))
        if wants:
            wait_for(self.lake.storage, day, wants)
            return Restored(
                name, said("{how}; incomplete", how=how), whole=False, day=day, wants=wants
            )
        wait_no_more(self.lake.storage, day)
        return Restored(name, how, whole=True, day=day)

    def refused(self, name: str) -> Restored:
        """Bring back the refused rows of an export."""
        sha256 = PurePosixPath(name).stem
        wanted = next(iter(wanted_for(name, self._notes())), None)
        if wanted is None:
            return Restored(name, said("of an export that is not known any more"), whole=True)
        staged = self._stage(wanted)
        if staged is None:
            return Restored(name, said("waits for its export"), whole=False, wants=(wanted,))
        self.lake.storage.take(staged.folder / REFUSED, refused_name(sha256))
        return Restored(name, said("read again from {names}", names=wanted.name), whole=True)

    def note(self, name: str, counts: Counts) -> Restored:
        """Bring back the note on an export; its counts are those of the findings store."""
        wanted, sha256 = _by_note(name), _by_note(name).sha256
        staged, path = self._stage(wanted), self.find(wanted)
        if staged is None or path is None:
            return Restored(name, said("waits for its export"), whole=False, wants=(wanted,))
        count = counts(sha256)
        ledger = replace(staged.ledger, name=path.name)
        if count is not None:
            ledger = replace(
                ledger, kept=count.kept, merged=count.merged, conflicts=count.conflicts
            )
        days = tuple(sorted({part.day.isoformat() for part in staged.parts}))
        tags = meanings(self.mill, staged.known_tags)
        keep_note(self.lake.storage, Pulled(ledger, read_as(self.mill, path), tags, days))
        return Restored(name, said("read again from {names}", names=path.name), whole=True)

    def _notes(self) -> list[Pulled]:
        return all_notes(self.lake.storage)

    def _lost_notes(self) -> list[Wanted]:
        """Exports whose notes were set aside and are not back."""
        return [_by_note(n) for n in lost(self.lake.storage) if n.startswith(f"{NOTES}/")]

    def _stage(self, wanted: Wanted) -> Staged | None:
        """Export read to its end, once; None when it is not there any more or cannot be read."""
        if wanted.sha256 not in self._staged:
            path, staged = self.find(wanted), None
            with suppress(DataError):
                if path is not None:
                    folder = self.mill.incoming_path / stage_key(self.mill, path, in_full=False)
                    staged = stage(self.mill, path, folder, self.pool, lambda *_: None)
            self._staged[wanted.sha256] = staged
        return self._staged[wanted.sha256]

    def _from_nothing(self, day: date, found: Sequence[Wanted]) -> pl.DataFrame:
        """Import a day from its exports, in the order of the first time."""
        hashes = {wanted.sha256 for wanted in found}
        noted = [(sha256, full) for sha256, full in self.imports if sha256 in hashes]
        others = hashes - {sha256 for sha256, _ in noted}
        first = [note for note in self._notes() if note.ledger.sha256 in others]
        first.sort(key=lambda note: written_s(self.lake.storage, note))
        frame = READINGS_SCHEMA.to_frame()
        for sha256, in_full in [*((n.ledger.sha256, False) for n in first), *noted]:
            news = self._frame(sha256, day)
            frame, _ = import_readings(frame, news, in_full=in_full)
        return frame

    def _filled(self, day: date, found: Sequence[Wanted]) -> pl.DataFrame:
        """Stored day with what exports add to it: other exports of it cannot be read again."""
        frames = [self._frame(wanted.sha256, day) for wanted in found]
        known = [set(frame["tag"].unique()) for frame in frames]
        return self.lake.merged_day(day, frames, known)[0]

    def _frame(self, sha256: str, day: date) -> pl.DataFrame:
        """Readings of a day in one export."""
        staged = self._staged[sha256]
        frame = READINGS_SCHEMA.to_frame()
        for part in staged.parts if staged is not None else ():
            if part.day == day and staged is not None:
                news = pl.read_parquet((staged.folder / part.name).read_bytes())
                frame, _ = merge_readings(frame, news)
        return frame

    def _as_before(self, name: str, content: bytes) -> bool:
        """Whether the file that was set aside carries the very hash of the new one."""
        for kept in self.lake.storage.find(f"{ASIDE}/{name}.*"):
            with suppress(OSError), self.lake.storage.open(kept) as file:
                if digest_of(file.read()) == digest_of(content):
                    return True
        return False

    def clear(self) -> None:
        """Remove what exports were read into."""
        for staged in self._staged.values():
            if staged is not None:
                shutil.rmtree(staged.folder, ignore_errors=True)
        with suppress(OSError):
            self.mill.incoming_path.rmdir()  # unless others wait there


@contextmanager
def restorer(
    mill: PullMill, lake: Lake, find: Find, imports: Sequence[tuple[str, bool]]
) -> Iterator[Restorer]:
    """Give what brings back days; what it needed is removed afterwards."""
    with ThreadPoolExecutor(_WORKERS, "lostpol-days") as pool:
        found = Restorer(mill, lake, find, imports, pool)
        try:
            yield found
        finally:
            found.clear()


def restore(by: Restorer, counts: Counts) -> list[Restored]:
    """Bring back notes and refused rows that were set aside, then all days that wait."""
    # Notes first: they tell which exports held a day.
    names = lost(by.lake.storage)
    told = [by.note(name, counts) for name in names if name.startswith(f"{NOTES}/")]
    told += [by.refused(name) for name in names if name.startswith(f"{REFUSALS}/")]
    return told + [by.day(day, wants) for day, wants in waiting(by.lake.storage).items()]


def _by_note(name: str) -> Wanted:
    """Export of a note, as far as the name of the note tells; it is ours (`note_name`)."""
    size, _, sha256 = PurePosixPath(name).stem.partition("_")
    return Wanted(sha256, int(size), "", "")


def wanted_for(name: str, notes: Sequence[Pulled]) -> tuple[Wanted, ...]:
    """Export that a note, or refused rows, came from."""
    if name.startswith(f"{NOTES}/"):
        return (_by_note(name),)
    sha256 = PurePosixPath(name).stem
    return tuple(_wanted(note) for note in notes if note.ledger.sha256 == sha256)


def _wanted(note: Pulled) -> Wanted:
    ledger = note.ledger
    return Wanted(ledger.sha256, ledger.size_bytes, ledger.name, ledger.layout)


def _names(found: Sequence[Wanted]) -> str:
    names = sorted({wanted.name for wanted in found})
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
