"""From exports on disk to days in the lake, so that a stop at any moment loses nothing.

1. Every day that the exports reach is worked out anew, in a folder of this machine (`prepare`).
2. A plan is written: which days change, and the ledger of every export. From here on the pull
   counts as done, whatever happens.
3. The days are put in place, each in one step (``pipeline.lake.storage``); then whoever records
   the pull is told; then all of it is removed (`carry_out`).

A pull stopped before the plan leaves the lake as it was; one stopped after it is carried out by
the next run, with the same ledger.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import polars as pl

from features.base import rows_by_tag
from pipeline.base import DataError, Progress, flush_folder, said
from pipeline.lake import (
    LIGHT,
    READINGS_SCHEMA,
    DayMerge,
    Lake,
    merge_readings,
    refused_name,
    write_by_tag,
    write_frame,
)
from pipeline.pull.known import Pulled, keep_note, note_from, note_record
from pipeline.pull.ledger import PullResult, SourceLedger, write_record
from pipeline.pull.stage import REFUSED, Staged

_PLAN: Final = "plan"
_PLAN_RECORD: Final = "plan.json"


@dataclass(frozen=True, slots=True)
class Plan:
    """A pull that only has to be carried out.

    Attributes
    ----------
    days_changed : tuple of date
    ledgers : dict of str to SourceLedger
        By the key of the export (``pipeline.pull.stage.stage_key``).
    notes : dict of str to Pulled
        What is to be kept of how each export was read, by the same key.
    """

    days_changed: tuple[date, ...]
    ledgers: dict[str, SourceLedger]
    notes: dict[str, Pulled]


@dataclass(frozen=True, slots=True)
class Arrival:
    """An export read to its end, on its way into the lake.

    Attributes
    ----------
    staged : Staged
    read_as : str
    meanings : dict of str to str
        As ``pipeline.pull.known.Pulled`` has them.
    tags_repeated : frozenset of str
        Tags of which it is no news.
    """

    staged: Staged
    read_as: str
    meanings: dict[str, str]
    tags_repeated: frozenset[str]

    def note(self, ledger: SourceLedger) -> Pulled:
        """What is to be kept of how it was read."""
        days = sorted({part.day.isoformat() for part in self.staged.parts})
        return Pulled(ledger, self.read_as, self.meanings, tuple(days))


def prepare(
    lake: Lake,
    incoming: Path,
    arrivals: Sequence[Arrival],
    pool: Executor,
    tell: Progress,
    *,
    in_full: bool,
) -> Plan:
    """Work out every day anew in the folder `incoming`, and write the plan.

    The exports count as imported in their order; `in_full` they replace whatever is stored.
    """
    staged = [arrival.staged for arrival in arrivals]
    folder = incoming / _PLAN
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    days = sorted({part.day for source in staged for part in source.parts})
    work = [pool.submit(_new_day, lake, folder, day, arrivals, in_full=in_full) for day in days]
    changed, counts = [], [DayMerge(0, 0, 0) for _ in staged]
    try:
        for number, (day, future) in enumerate(zip(days, work, strict=True)):
            tell(f"Storing {day}", number, len(days))
            of_day, day_changed = future.result()
            counts = [a + b for a, b in zip(counts, of_day, strict=True)]
            changed += [day] * day_changed
    finally:
        for future in work:
            future.cancel()
    ledgers, notes = {}, {}
    for arrival, count in zip(arrivals, counts, strict=True):
        source = arrival.staged
        ledger = source.ledger.settled(count)
        ledgers[source.folder.name] = ledger
        notes[source.folder.name] = arrival.note(ledger)
        if ledger.refused:
            _keep_refused(source, folder)
    plan = Plan(tuple(changed), ledgers, notes)
    record = {
        "days_changed": [day.isoformat() for day in plan.days_changed],
        "notes": {key: note_record(note) for key, note in notes.items()},
    }
    # A plan may not outlive a power cut that its days do not: they would count as in place.
    flush_folder(folder)
    write_record(incoming / _PLAN_RECORD, record)
    return plan


def open_plan(incoming: Path) -> Plan | None:
    """Plan of a pull that was stopped while being carried out, if there is one.

    Raises
    ------
    DataError
        It cannot be read.
    """
    path = incoming / _PLAN_RECORD
    if not path.exists():
        return None
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
        notes = {key: note_from(note) for key, note in record["notes"].items()}
        return Plan(
            tuple(date.fromisoformat(day) for day in record["days_changed"]),
            {key: note.ledger for key, note in notes.items()},
            notes,
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise DataError(
            said("What a stopped pull left behind cannot be read."),
            str(path),
            said("Remove that folder, pull the exports again, then run lostpol backfill."),
        ) from error


def carry_out(lake: Lake, incoming: Path, plan: Plan, record: Callable[[PullResult], None]) -> None:
    """Put the days in place, have the pull recorded, and remove what it needed.

    Every step may be done twice: what is in place already is passed over.
    """
    for day in plan.days_changed:
        part = incoming / _PLAN / f"{day}.parquet"
        if part.exists():
            lake.storage.take(part, lake.readings_name(day))
    for ledger in plan.ledgers.values():
        part = incoming / _PLAN / f"refused_{ledger.sha256}.parquet"
        if part.exists():
            lake.storage.take(part, refused_name(ledger.sha256))
    for note in plan.notes.values():
        keep_note(lake.storage, note)
    record(PullResult(plan.days_changed, tuple(plan.ledgers.values()), ()))
    (incoming / _PLAN_RECORD).unlink()
    shutil.rmtree(incoming, ignore_errors=True)


def _new_day(
    lake: Lake, folder: Path, day: date, arrivals: Sequence[Arrival], *, in_full: bool
) -> tuple[list[DayMerge], bool]:
    """One day with the readings of all exports; counts for each export, and if it changed."""
    target = folder / f"{day}.parquet"
    counts = [DayMerge(0, 0, 0) for _ in arrivals]
    staged = [arrival.staged for arrival in arrivals]
    parts = [
        (n, s.folder / p.name, p) for n, s in enumerate(staged) for p in s.parts if p.day == day
    ]
    new = not lake.storage.exists(lake.readings_name(day))
    if new and len(parts) == 1 and not parts[0][1].name.endswith(LIGHT):
        number, path, part = parts[0]
        _same_file(path, target)
        counts[number] = DayMerge(part.rows, 0, 0)
        return counts, True
    numbers = sorted({number for number, _, _ in parts})
    if new and len(numbers) == len(parts):
        alone = [rows_by_tag(pl.read_parquet(path.read_bytes())) for _, path, _ in parts]
        by_tag = {tag: rows for of_part in alone for tag, rows in of_part.items()}
        # Exports of other tags, as of plant and laboratory, have nothing to settle.
        if len(by_tag) == sum(map(len, alone)):
            write_by_tag(target, by_tag)
            for number, _, part in parts:
                counts[number] = DayMerge(part.rows, 0, 0)
            return counts, True
    frames = []
    for number in numbers:
        frame, inside = READINGS_SCHEMA.to_frame(), DayMerge(0, 0, 0)
        for n, path, _ in parts:
            if n == number:
                frame, again = merge_readings(frame, pl.read_parquet(path.read_bytes()))
                inside += DayMerge(0, again.merged, again.conflicts)
        counts[number] = inside
        frames.append(frame)
    known = [arrivals[number].tags_repeated for number in numbers]
    merged, of_day, changed = lake.merged_day(day, frames, known, in_full=in_full)
    for number, count in zip(numbers, of_day, strict=True):
        counts[number] += count
    if changed:
        write_frame(target, merged)
    return counts, changed


def _keep_refused(source: Staged, folder: Path) -> None:
    """Lay the refused rows of an export ready, unless there are none with a text."""
    with suppress(FileNotFoundError):
        _same_file(source.folder / REFUSED, folder / f"refused_{source.ledger.sha256}.parquet")


def _same_file(path: Path, target: Path) -> None:
    """Give a file a second name; a copy where the file system knows no second names."""
    target.unlink(missing_ok=True)
    try:
        target.hardlink_to(path)
    except FileNotFoundError:
        raise
    except OSError:
        shutil.copy2(path, target)
        with target.open("rb+") as file:
            os.fsync(file.fileno())
