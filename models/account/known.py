"""What was known beforehand: planned stops, cleaning, calibrations, trials; and what it explains.

A note hides nothing. A loss in a planned stop stays a loss and is told with the note; something odd
that a note of its kind explains is no longer a surprise, and is told as known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

#: Juice is limed up before it stands, and runs off cloudy when the station starts again (common
#: practice).
_OF_A_START = frozenset({"over_liming", "cloudy_clear_juice"})
#: Kinds of notes, and the kinds of notices that each explains.
EXPLAINS: dict[str, frozenset[str]] = {
    "stop": frozenset({"handled_stop", "untold_stop"}) | _OF_A_START,
    "cleaning": frozenset({"handled_stop", "untold_stop"}) | _OF_A_START,
    "calibration": frozenset({"sensor_fault"}),
    "reagent": frozenset({"over_liming", "cloudy_clear_juice"}),
    "method": frozenset({"lab_ph_shift"}),
    "trial": frozenset({"imbibition_change", "over_liming", "cloudy_clear_juice"}),
    "other": frozenset(),
}
_STOPS = frozenset({"stop", "cleaning"})
#: Kind of a notice that was known beforehand.
KNOWN_NOTICE = "known"
#: A note explains what lies in its hours to so much of its time, with so much leeway at both ends.
_LEAST_SHARE = 0.5
_LEEWAY = timedelta(minutes=30)
#: So long before and after a stop is what its start and its end bring (estimate).
_START = timedelta(hours=4)


@dataclass(frozen=True)
class Note:
    """Something known of some hours.

    Attributes
    ----------
    note_id : str
    started, ended : datetime
        UTC, end excluded.
    kind : str
        One of `EXPLAINS`.
    text, author : str
        Untrusted text.
    """

    note_id: str
    started: datetime
    ended: datetime
    kind: str
    text: str
    author: str = ""


def touching(notes: Sequence[Note], started: datetime, ended: datetime) -> list[Note]:
    """Notes whose hours touch others, in order of time."""
    found = [n for n in notes if n.started < ended and n.ended > started]
    return sorted(found, key=lambda n: (n.started, n.note_id))


def explained_by(
    notes: Sequence[Note], kind: str, started: datetime, ended: datetime
) -> Note | None:
    """The note that explains a notice: of the right kind, and in its hours.

    Parameters
    ----------
    notes : sequence of Note
    kind : str
        Of the notice.
    started, ended : datetime
        Of the notice.
    """
    for note in sorted(notes, key=lambda n: (n.started, n.note_id)):
        if kind not in EXPLAINS.get(note.kind, frozenset()):
            continue
        stood = note.kind in _STOPS and kind in _OF_A_START
        leeway = _START if stood else _LEEWAY
        both = min(note.ended + leeway, ended) - max(note.started - leeway, started)
        if both / max(ended - started, timedelta(minutes=1)) >= _LEAST_SHARE:
            return note
    return None


def known_notices(notices: pl.DataFrame, notes: Sequence[Note]) -> pl.DataFrame:
    """Notices, those that a note explains told as known.

    Parameters
    ----------
    notices : polars.DataFrame
        Columns of ``models.cause.NOTICE_COLUMNS``.
    notes : sequence of Note

    Returns
    -------
    polars.DataFrame
        The same rows; of those explained, `kind` is `KNOWN_NOTICE`, and `text` says the note first.
    """
    if not notes or notices.is_empty():
        return notices
    rows = []
    for row in notices.to_dicts():
        note = explained_by(notes, row["kind"], row["started"], row["ended"])
        rows.append(row if note is None else row | _as_known(note, row["text"]))
    return pl.DataFrame(rows, schema=notices.schema)


def _as_known(note: Note, text: str) -> dict[str, str]:
    said = f"Noted beforehand as {note.kind}: {note.text.rstrip('.')}. {text}"
    return {"kind": KNOWN_NOTICE, "text": said}
