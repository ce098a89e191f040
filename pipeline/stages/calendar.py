"""Notes kept, taken back and listed; the hours they speak of are searched again by the next run."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from models.account import Note
from pipeline.lake import lake_of
from pipeline.mill import Mill
from pipeline.period import add_notes, notes_of, read_calendar, withdraw_note
from pipeline.stages.search_results import forget
from pipeline.words import joined, note_kind_words, said, span_words


def keep_note(mill: Mill, note: Note) -> list[str]:
    """Keep one note; lines that say what became of it."""
    return _kept(mill, add_notes(mill, [note]), 1)


def keep_calendar(mill: Mill, path: Path) -> list[str]:
    """Keep the notes of a calendar; lines that say what became of them."""
    notes = read_calendar(mill, path)
    return _kept(mill, add_notes(mill, notes), len(notes))


def take_back_note(mill: Mill, which: str) -> list[str]:
    """Take a note back; lines that say which."""
    note = withdraw_note(mill, which)
    _search_again(mill, [note])
    return [said("Taken back: {line}", line=_line(mill, note)), _next(mill)]


def note_lines(mill: Mill) -> list[str]:
    """All notes of a mill, in order of time."""
    notes = notes_of(mill)
    if not notes:
        return [said('No notes yet. lostpol note MILL --from T --to T "text" keeps one.')]
    return [_line(mill, note) for note in notes]


def _kept(mill: Mill, new: Sequence[Note], given: int) -> list[str]:
    _search_again(mill, new)
    lines = [said("Kept: {line}", line=_line(mill, note)) for note in new]
    if given > len(new):
        lines.append(said("{n} known already.", n=given - len(new)))
    return [*lines, _next(mill)] if new else lines


def _next(mill: Mill) -> str:
    return said(
        "Findings and notices follow with the next run: lostpol nightly {path}",
        path=mill.config_path,
    )


def _line(mill: Mill, note: Note) -> str:
    by = f" ({note.author})" if note.author else ""
    hours = span_words(note.started, note.ended, mill.tz)
    kind = note_kind_words(note.kind)
    return joined("", (note.note_id, "  ", hours, ", ", kind, f": {note.text}{by}"))


def _search_again(mill: Mill, notes: Sequence[Note]) -> None:
    lake = lake_of(mill)
    for note in notes:
        forget(lake, [note.started.date(), note.ended.date()])
