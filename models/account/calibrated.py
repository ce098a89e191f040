"""Calibrations of pH probes that were noted: a probe's error may step where one ended.

Without the note a step is followed slowly, as a probe that drifts would be: hours on both sides are
then put right by half. With it the error may change from one minute to the next; how far, the
laboratory's grabs on both sides tell.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import polars as pl

from features.base import Station
from features.flow import probe_signal
from models.account.known import KNOWN_NOTICE, Note
from models.amount import ProbeBias
from models.base import Minutes

#: Kind of the notes that are meant.
CALIBRATION: Final = "calibration"
_POINTS: Final = ("mixed", "limed", "clear")
#: The error before and after a calibration is told as its mean over so long [min].
_TOLD_MIN: Final = 360
#: A smaller step is none [pH].
_LEAST_PH: Final = 0.02


@dataclass(frozen=True)
class Calibration:
    """A probe that was put right: its sampling point, its tag and the note that says so."""

    point: str
    tag: str
    note: Note


def calibrations(notes: Sequence[Note], station: Station) -> tuple[Calibration, ...]:
    """Calibrations of the pH probes that are compared with the laboratory.

    Parameters
    ----------
    notes : sequence of Note
    station : Station

    Returns
    -------
    tuple of Calibration
        Of the probes whose tags a note names; of all of them where it names no tag at all.
    """
    probes = {point: probe_signal(station, point) for point in _POINTS}
    own = {point: signal.tag for point, signal in probes.items() if signal is not None}
    every = {signal.tag for signal in station.signals}
    found = []
    for note in notes:
        if note.kind != CALIBRATION:
            continue
        named = {tag for tag in every if _names(note.text, tag)}
        found += [
            Calibration(point, tag, note) for point, tag in own.items() if not named or tag in named
        ]
    return tuple(found)


def _names(text: str, tag: str) -> bool:
    """Whether a text names a tag: the whole of it, as a word of its own."""
    return bool(re.search(rf"(?<![\w.]){re.escape(tag)}(?![\w]|\.\w)", text, flags=re.IGNORECASE))


def hours_of(calibrated: Sequence[Calibration], point: str, minutes: Minutes) -> tuple[float, ...]:
    """When a probe was back from its calibrations [h since the first minute]."""
    hour = timedelta(hours=1)
    ends = {
        (item.note.ended - minutes.start_utc) / hour for item in calibrated if item.point == point
    }
    return tuple(sorted(end for end in ends if 0.0 < end < minutes.n / 60.0))


def with_calibrations(
    notices: pl.DataFrame,
    minutes: Minutes,
    biases: Mapping[str, ProbeBias],
    calibrated: Sequence[Calibration],
) -> pl.DataFrame:
    """Notices, and what each calibration changed in what is believed of its probe.

    Parameters
    ----------
    notices : polars.DataFrame
        Columns of ``models.cause.NOTICE_COLUMNS``.
    minutes : Minutes
    biases : mapping of str to ProbeBias
        By sampling point, worked out with these calibrations.
    calibrated : sequence of Calibration
    """
    rows = []
    for item in calibrated:
        at = minutes.index_of(item.note.ended)
        if item.point not in biases or not 0 < at < minutes.n:
            continue
        bias = biases[item.point].bias
        before = float(bias[max(at - _TOLD_MIN, 0) : at].mean())
        after = float(bias[at : at + _TOLD_MIN].mean())
        rows.append(_told(item, before, after))
    more = pl.DataFrame(rows, schema=notices.schema)
    return pl.concat([notices, more]).sort("started", "kind")


def _told(item: Calibration, before: float, after: float) -> dict[str, object]:
    note = item.note
    said = f"Noted beforehand as {note.kind}: {note.text.rstrip('.')}. "
    text = said + f"Against the laboratory {item.tag} reads as it did before."
    if abs(after - before) >= _LEAST_PH:
        text = said + (
            f"{item.tag} is taken to have stepped there: against the laboratory it read "
            f"{before:+.2f} pH before and {after:+.2f} pH after. Losses on both sides are worked "
            "out with that."
        )
    return {"started": note.started, "ended": note.ended, "kind": KNOWN_NOTICE, "text": text}
