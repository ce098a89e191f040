"""What became of each export file of a pull, in a form that survives a stop."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

from pipeline.base import LostpolError, said
from pipeline.lake import DayMerge, replace_file


@dataclass(frozen=True, slots=True)
class SourceLedger:
    """What became of one export file; ``rows_read = kept + merged + all refused``.

    Attributes
    ----------
    name : str
        File name, without its folder.
    sha256 : str
        Hash of the file's bytes.
    size_bytes : int
    layout : str
        Layout that was used; empty when the file was read as found.
    rows_read : int
        Rows of a long file; named cells other than times of a wide one.
    kept : int
        Readings of moments the lake did not have.
    merged : int
        Readings of moments it had, or that the file says twice.
    conflicts : int
        Moments for which two good readings differ (part of kept and merged).
    good_stays : int
        Readings called bad for which the lake keeps a good one (part of merged).
    refused : mapping of str to int
        Rows that cannot be readings of this mill, by reason.
    bad : mapping of str to int
        Readings kept but bad on arrival, by reason (part of kept and merged).
    tags_not_in_mill : tuple of str
        Tags refused, sorted.
    first_utc, last_utc : datetime or None
        First and last moment of the readings.
    notes : tuple of str
        What the file shows as a whole and a person should know: clock jumps, changed units.
    again : bool
        The file was pulled before and nothing of it was read now.
    """

    name: str
    sha256: str
    size_bytes: int
    layout: str
    rows_read: int
    kept: int
    merged: int
    conflicts: int
    refused: Mapping[str, int]
    bad: Mapping[str, int]
    tags_not_in_mill: tuple[str, ...]
    first_utc: datetime | None
    last_utc: datetime | None
    notes: tuple[str, ...] = ()
    good_stays: int = 0
    again: bool = False

    def settled(self, count: DayMerge) -> SourceLedger:
        """Add what merging with the lake gave; the sums must then come out even.

        Raises
        ------
        LostpolError
            They do not: a row is unaccounted for, which is a fault of lostpol.
        """
        whole = replace(
            self,
            kept=self.kept + count.kept,
            merged=self.merged + count.merged,
            conflicts=self.conflicts + count.conflicts,
            good_stays=self.good_stays + count.good_stays,
        )
        parts = whole.kept + whole.merged + sum(whole.refused.values())
        if parts != whole.rows_read:
            raise LostpolError(
                said(
                    "{rows_read} rows were read but {parts} accounted for.",
                    rows_read=whole.rows_read,
                    parts=parts,
                ),
                whole.name,
                said("Nothing was stored. Report this, if you can with the file."),
            )
        return whole

    def pulled_again(self, name: str) -> SourceLedger:
        """What becomes of the same file, perhaps under another `name`, pulled once more."""
        merged = self.kept + self.merged
        return replace(
            self, name=name, kept=0, merged=merged, conflicts=0, good_stays=0, again=True
        )


@dataclass(frozen=True, slots=True)
class PullResult:
    """What a pull did.

    Attributes
    ----------
    days_changed : tuple of date
        UTC days whose readings are not what they were, oldest first.
    sources : tuple of SourceLedger
        One for each file, in the order given.
    missing_tags : tuple of str
        Tags and lab series of the mill that none of these files has.
    mended : tuple of str
        What was rotten and brought back from these files, in words.
    read_otherwise : tuple of str
        Files that were pulled before under another zone, layout or version: what was read of them
        then at other moments is still in the lake.
    """

    days_changed: tuple[date, ...]
    sources: tuple[SourceLedger, ...]
    missing_tags: tuple[str, ...]
    mended: tuple[str, ...] = ()
    read_otherwise: tuple[str, ...] = ()


def ledger_record(ledger: SourceLedger) -> dict[str, Any]:
    """Ledger as plain values that JSON can hold."""
    times = {
        name: moment.isoformat() if moment else None
        for name, moment in (("first_utc", ledger.first_utc), ("last_utc", ledger.last_utc))
    }
    return asdict(ledger) | times


def ledger_from(record: Mapping[str, Any]) -> SourceLedger:
    """Ledger from what `ledger_record` gave."""
    times = {
        name: datetime.fromisoformat(record[name]) if record[name] else None
        for name in ("first_utc", "last_utc")
    }
    lists = {name: tuple(record[name]) for name in ("tags_not_in_mill", "notes")}
    return SourceLedger(**{**record, **times, **lists})


def record_bytes(record: Mapping[str, Any]) -> bytes:
    """Record as JSON; the same record gives the same bytes."""
    return json.dumps(record, sort_keys=True).encode()


def write_record(path: Path, record: Mapping[str, Any]) -> None:
    """Write a record so that it is there whole or not at all."""
    part = path.with_name(path.name + ".part")
    with part.open("wb") as file:
        file.write(record_bytes(record))
        file.flush()
        os.fsync(file.fileno())
    replace_file(part, path)
