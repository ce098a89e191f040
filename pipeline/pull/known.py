"""What was pulled before, so that an old file brings nothing back that a later one corrected.

A note for each export lies in the lake, under its size and the hash of its content::

    pulled/<bytes>_<sha256>.json

It tells how the export was read and what its tags meant. The same bytes read the same way are no
news. After a change of the description only the tags whose meaning changed are.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pipeline.lake import Lake, RottenError, Storage, refused_name, sealed_json, whole_bytes
from pipeline.pull.ledger import SourceLedger, ledger_from, ledger_record, record_bytes

if TYPE_CHECKING:
    from pipeline.pull.mill import PullMill

NOTES: Final = "pulled"


@dataclass(frozen=True, slots=True)
class Pulled:
    """How an export was read when it was last pulled.

    Attributes
    ----------
    ledger : SourceLedger
        What became of it then.
    read_as : str
        Hash of zone, rules and layout it was read by.
    meanings : dict of str to str
        Tags of the mill met in it, each with its change of unit.
    days : tuple of str
        UTC days of its readings.
    """

    ledger: SourceLedger
    read_as: str
    meanings: dict[str, str]
    days: tuple[str, ...]

    def tags_repeated(self, mill: PullMill, path: Path) -> frozenset[str]:
        """Tags of which the export, read now, would tell nothing new."""
        if self.read_as != read_as(mill, path):
            return frozenset()
        now = meanings(mill, self.meanings)
        return frozenset(tag for tag, then in self.meanings.items() if now.get(tag) == then)

    def is_no_news(self, mill: PullMill, lake: Lake, path: Path) -> bool:
        """Tell whether reading the export now would leave all as it is."""
        new_tags = mill.unit_changes.keys() & set(self.ledger.tags_not_in_mill)
        return (
            not new_tags
            and self.read_as == read_as(mill, path)
            and self.tags_repeated(mill, path) == self.meanings.keys()
            and self._is_there(lake)  # a person may have moved a damaged day
        )

    def _is_there(self, lake: Lake) -> bool:
        days = [lake.readings_name(date.fromisoformat(day)) for day in self.days]
        rows = [refused_name(self.ledger.sha256)] if self.ledger.refused else []
        return all(lake.storage.existing(names) == names for names in (days, rows))


def read_as(mill: PullMill, path: Path) -> str:
    """Hash of all that decides how an export is read, but for the meaning of its tags."""
    # All that reads exports; notes alone are read without it.
    from pipeline.layouts import layout_for  # noqa: PLC0415

    layout = layout_for(path, mill.exports.layout)
    parts = [mill.zone, mill.ambiguous, mill.missing, version("lostpol")]
    parts.append(layout.model_dump_json(exclude={"match", "name"}) if layout else "")
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:32]


def meanings(mill: PullMill, tags: Iterable[str]) -> dict[str, str]:
    """Change of unit of each of the tags that the mill has."""
    changes = mill.unit_changes
    return {tag: repr(changes[tag]) for tag in sorted(tags) if tag in changes}


def pulled_before(lake: Storage, path: Path) -> Pulled | None:
    """What is known of an export that was pulled; None for a new one.

    Hashed only when an export of the same size is known: others are new anyway.
    """
    with suppress(OSError):
        if lake.find(f"{NOTES}/{path.stat().st_size}_*.json"):
            return find_pulled(lake, path.stat().st_size, file_hash(path))
    return None


def find_pulled(lake: Storage, size_bytes: int, sha256: str) -> Pulled | None:
    """Note on the export with this content, if there is one that can be read."""
    with suppress(OSError, ValueError, KeyError, TypeError):
        return _note(lake, note_name(size_bytes, sha256))
    return None


def days_pulled(lake: Storage) -> set[date]:
    """UTC days of which some export held readings."""
    return {date.fromisoformat(day) for note in all_notes(lake) for day in note.days}


def all_notes(lake: Storage) -> list[Pulled]:
    """Notes on all exports but for rotten ones."""
    found = []
    for name in lake.find(f"{NOTES}/*.json"):
        with suppress(OSError, RottenError, ValueError, KeyError, TypeError):
            found.append(_note(lake, name))
    return found


def written_s(lake: Storage, note: Pulled) -> float:
    """When a note was written [s since 1970], which tells imports in their order."""
    return lake.modified_s(note_name(note.ledger.size_bytes, note.ledger.sha256))


def shown_lately(lake: Storage, since: date) -> list[str]:
    """What exports that reach `since` or beyond showed as a whole, by name of the export."""
    found: list[str] = []
    for ledger in (note.ledger for note in all_notes(lake)):
        if ledger.last_utc is not None and ledger.last_utc.date() >= since:
            found += [f"{ledger.name}: {note}" for note in ledger.notes]
    return sorted(found)


def keep_note(lake: Storage, pulled: Pulled) -> None:
    """Keep the note on an export in the lake."""
    name = note_name(pulled.ledger.size_bytes, pulled.ledger.sha256)
    lake.write(name, lambda file: file.write(sealed_json(record_bytes(note_record(pulled)))))


def _note(lake: Storage, name: str) -> Pulled:
    return note_from(json.loads(whole_bytes(lake, name)))


def note_name(size_bytes: int, sha256: str) -> str:
    """Name in the lake of the note on an export."""
    return f"{NOTES}/{size_bytes}_{sha256}.json"


def note_record(pulled: Pulled) -> dict[str, Any]:
    """Note as plain values that JSON can hold."""
    return {
        "ledger": ledger_record(pulled.ledger),
        "read_as": pulled.read_as,
        "meanings": pulled.meanings,
        "days": list(pulled.days),
    }


def note_from(record: Mapping[str, Any]) -> Pulled:
    """Note from what `note_record` gave."""
    ledger = ledger_from(record["ledger"])
    return Pulled(ledger, record["read_as"], dict(record["meanings"]), tuple(record["days"]))


def file_hash(path: Path) -> str:
    """SHA-256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
