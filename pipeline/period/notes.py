"""The calendar of a mill: what was known of some hours, kept as a small table in the store.

Who adds or takes back a note lets the hours be searched again, so that the next run tells of it.
"""

from __future__ import annotations

import csv
import hashlib
import io
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from models.account import EXPLAINS, Note
from pipeline.base import ConfigError, DataError, keep_private, now
from pipeline.lake import replace_file
from pipeline.mill import Mill
from pipeline.period.moments import period_of
from pipeline.period.notes_file import notes_path
from pipeline.words import clean, joined, said

_COLUMNS: Final = ("note_id", "from", "to", "kind", "text", "by", "given_at")
_LONGEST_TEXT: Final = 500
#: A calendar of more rows is no calendar.
_MOST: Final = 20_000


def notes_of(mill: Mill) -> list[Note]:
    """All notes of a mill, in order of time.

    Raises
    ------
    DataError
        The file is damaged.
    """
    path = notes_path(mill)
    if not path.exists():
        return []
    try:
        rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
        notes = [
            Note(
                row["note_id"],
                datetime.fromisoformat(row["from"]).astimezone(UTC),
                datetime.fromisoformat(row["to"]).astimezone(UTC),
                row["kind"],
                row["text"],
                row["by"],
            )
            for row in rows
        ]
    except (KeyError, TypeError, ValueError, csv.Error, OSError) as fault:
        raise DataError(
            said("The calendar of notes cannot be read."),
            f"{path}: {fault}",
            said("Put the file right or move it away; notes can be given again with lostpol note."),
        ) from fault
    return sorted(notes, key=lambda n: (n.started, n.note_id))


def note_of(mill: Mill, given: Mapping[str, Any], where: str) -> Note:
    """A note as people give it: from, to, kind, text and by; times are plant time.

    Raises
    ------
    ConfigError
        Something of it is missing or cannot be read.
    """
    cure = said("A note has from, to, text, and a kind: {kinds}.", kinds=", ".join(EXPLAINS))
    first, last, text = (str(given.get(name) or "").strip() for name in ("from", "to", "text"))
    if not (first and last and text):
        raise ConfigError(said("A note lacks its start, its end or its text."), where, cure)
    kind = str(given.get("kind") or "other").strip().lower()
    if kind not in EXPLAINS:
        at = joined(": ", (where, repr(clean(kind, 40))))
        raise ConfigError(said("There is no such kind of note."), at, cure)
    window = period_of(first, last, mill.tz, now(), where)
    text, by = clean(text, _LONGEST_TEXT), clean(str(given.get("by") or ""), 80)
    parts = (window.start.isoformat(), window.end.isoformat(), kind, text)
    digest = hashlib.sha256("\x1f".join(parts).encode()).hexdigest()[:10]
    return Note(digest, window.start, window.end, kind, text, by)


def read_calendar(mill: Mill, path: Path) -> list[Note]:
    """Notes of a calendar in a TOML file (``[[note]]``) or a CSV file (a heading, then rows).

    Raises
    ------
    ConfigError
        The file cannot be read, or a note in it; the row is named.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
        rows = _rows(path, text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, csv.Error) as fault:
        cure = said(
            "Give a TOML file with [[note]] sections, or a CSV file with from,to,kind,text."
        )
        raise ConfigError(said("The calendar cannot be read."), f"{path}: {fault}", cure) from fault
    if len(rows) > _MOST:
        raise ConfigError(
            said("The calendar has too many rows."), str(path), said("Give a shorter one.")
        )
    return [
        note_of(mill, row, said("{path}, note {n}", path=path, n=n))
        for n, row in enumerate(rows, start=1)
    ]


def _rows(path: Path, text: str) -> list[Mapping[str, Any]]:
    if path.suffix.lower() == ".toml":
        found = tomllib.loads(text).get("note", [])
        return [row for row in found if isinstance(row, dict)] if isinstance(found, list) else []
    comma = ";" if text.split("\n", 1)[0].count(";") > text.split("\n", 1)[0].count(",") else ","
    return list(csv.DictReader(io.StringIO(text), delimiter=comma))


def add_notes(mill: Mill, notes: Iterable[Note]) -> list[Note]:
    """Keep notes; one that is there already changes nothing. Gives those that are new.

    Raises
    ------
    ConfigError
        The store cannot be written to.
    """
    kept = notes_of(mill)
    known = {note.note_id for note in kept}
    new = [n for n in {note.note_id: note for note in notes}.values() if n.note_id not in known]
    if new:
        _write(mill, [*kept, *new])
    return new


def withdraw_note(mill: Mill, which: str) -> Note:
    """Take a note back, by its id or the beginning of it.

    Raises
    ------
    ConfigError
        There is none such, or several.
    """
    kept = notes_of(mill)
    found = [n for n in kept if which and n.note_id.startswith(which)]
    if len(found) != 1:
        what = said("No note has this id.") if not found else said("Several notes begin like this.")
        cure = said("List them with their ids: lostpol note {path}", path=mill.config_path)
        raise ConfigError(what, clean(which, 40), cure)
    _write(mill, [n for n in kept if n is not found[0]])
    return found[0]


def _write(mill: Mill, notes: Sequence[Note]) -> None:
    path = notes_path(mill)
    buffer = io.StringIO()
    out = csv.writer(buffer, lineterminator="\n")
    out.writerow(_COLUMNS)
    stamp = now().isoformat(timespec="seconds")
    for n in sorted(notes, key=lambda n: (n.started, n.note_id)):
        hours = (n.started.isoformat(), n.ended.isoformat())
        out.writerow((n.note_id, *hours, n.kind, n.text, n.author, stamp))
    keep_private()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f".{path.name}.part")
        part.write_text(buffer.getvalue(), encoding="utf-8")
        replace_file(part, path)
    except OSError as fault:
        raise ConfigError(
            said("The note could not be kept."),
            f"{path}: {fault.strerror or fault}",
            said("Free space or grant the right to write there."),
        ) from fault
