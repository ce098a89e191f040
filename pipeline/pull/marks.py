"""Days of readings that were set aside, and the exports that still have to be read for them.

A mark for each such day lies in the lake until its readings are all back::

    aside/waiting/<day>.json

It names the exports that held readings of the day and are still missing. Who knows that they are
gone for good removes the mark; the day then stays as it is.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import PurePosixPath
from typing import Final

from pipeline.base import LostpolError
from pipeline.lake import ASIDE, Storage, sealed_json, whole_bytes
from pipeline.pull.known import Pulled, all_notes
from pipeline.pull.ledger import record_bytes

_FOLDER: Final = f"{ASIDE}/waiting"


@dataclass(frozen=True, slots=True)
class Wanted:
    """An export whose readings of a day are missing.

    Attributes
    ----------
    sha256, size_bytes : str, int
        Its bytes.
    name : str
        What it was called; empty when only its bytes are known.
    layout : str
        Layout it was read by; of a direct source, what the source is called.
    """

    sha256: str
    size_bytes: int
    name: str
    layout: str


def waiting(storage: Storage) -> dict[date, tuple[Wanted, ...]]:
    """Days that wait for exports, each with those it wants."""
    found = {}
    for name in storage.find(f"{_FOLDER}/*.json"):
        day = date.fromisoformat(PurePosixPath(name).stem)
        try:
            rows = json.loads(whole_bytes(storage, name))["wants"]
            found[day] = tuple(Wanted(**row) for row in rows)
        except (LostpolError, ValueError, KeyError, TypeError):
            found[day] = wanted_by(all_notes(storage), day)  # rotten itself: all of them
    return found


def lost(storage: Storage) -> list[str]:
    """Notes and refused rows that were set aside and are not back, by name."""
    kept = [n for n in storage.find(f"{ASIDE}/*/*") if not n.startswith(f"{_FOLDER}/")]
    names = {name.removeprefix(f"{ASIDE}/").rpartition(".")[0] for name in kept}
    return [name for name in sorted(names) if not storage.exists(name)]


def wait_for(storage: Storage, day: date, wants: Sequence[Wanted]) -> None:
    """Let a day wait for some exports; for none, it waits for whoever knows them."""
    record = {"wants": [asdict(wanted) for wanted in wants]}
    content = sealed_json(record_bytes(record))
    storage.write(_name(day), lambda file: file.write(content))


def wait_no_more(storage: Storage, day: date) -> None:
    """Take a day off the list."""
    storage.delete(_name(day))


def wanted_by(notes: Sequence[Pulled], day: date) -> tuple[Wanted, ...]:
    """Exports that held readings of a day, of all that were pulled."""
    return tuple(
        Wanted(note.ledger.sha256, note.ledger.size_bytes, note.ledger.name, note.ledger.layout)
        for note in notes
        if day.isoformat() in note.days
    )


def _name(day: date) -> str:
    return f"{_FOLDER}/{day.isoformat()}.json"
