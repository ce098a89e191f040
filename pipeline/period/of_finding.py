"""The sentence of a finding, and how far what it names explains the finding's tonnes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from models.account import CHANNEL_DRIVERS, DRIVERS_OF, Note, part_kg, touching
from pipeline.base import Window
from pipeline.charts import Known
from pipeline.lake import lake_of
from pipeline.mill import Mill
from pipeline.period.moves import Around, DaysRead, Told, around, told_of
from pipeline.period.notes import notes_of
from pipeline.period.sentence import explained, named_as_data, sentence_of
from pipeline.words import bare_tonnes, clean, joined, note_kind_words, packed, said, span_words

#: Channel of mud, whose driver it shares with tanks.
_MUD = "mud"


def with_sentence(
    mill: Mill,
    row: Mapping[str, Any],
    evidence: dict[str, Any],
    losses: pl.DataFrame | None = None,
    days: DaysRead | None = None,
) -> dict[str, Any]:
    """Evidence of a finding with its sentence as the first fact, and ``named`` for programs.

    Parameters
    ----------
    mill : Mill
    row : mapping
        Row of the finding.
    evidence : dict
        As the search wrote it.
    losses : polars.DataFrame, optional
        Minutes of the search that found it; those of the lake without.
    days : DaysRead, optional
        Where the days around other findings were read.

    Returns
    -------
    dict
        The same where nothing can be named.
    """
    known = around(mill, Window(row["started"], row["ended"]), losses, days)
    if known is None:
        return evidence
    told = told_of_finding(known, row, evidence)
    words = sentence_of(told, known)
    if not words or told.named is None:
        return evidence
    share = None if told.named.weak else share_of(evidence.get("account"), told.named.family)
    lost = bare_tonnes(row["lost_t"], row["lost_t_low"], row["lost_t_high"])
    text = joined(" ", (part for part in (words, explained(share, lost)) if part))
    facts = [_told(text), *evidence.get("facts", [])]
    return evidence | {"facts": facts, "named": named_as_data(told, known) or {}}


def told_findings(
    mill: Mill, found: pl.DataFrame, losses: pl.DataFrame, notes: Sequence[Note] = ()
) -> pl.DataFrame:
    """Findings of a search, each with its sentence first among its facts, then what was known.

    Parameters
    ----------
    mill : Mill
    found : polars.DataFrame
        Columns of ``models.find.FINDING_COLUMNS``.
    losses : polars.DataFrame
        Minutes of the same search.
    notes : sequence of Note
        What was known beforehand. No finding is hidden by it.
    """
    texts, days = [], DaysRead(lake_of(mill))
    for row in found.to_dicts():
        evidence = _with_notes(mill, row, json.loads(row["evidence"]), notes)
        evidence = with_sentence(mill, row, evidence, losses, days)
        texts.append(json.dumps(evidence, sort_keys=True, allow_nan=False))
    return found.with_columns(evidence=pl.Series(texts, dtype=pl.String))


def _with_notes(
    mill: Mill, row: Mapping[str, Any], evidence: dict[str, Any], notes: Sequence[Note]
) -> dict[str, Any]:
    """Evidence with what was known of the hours of a finding, ahead of its facts."""
    known = touching(notes, row["started"], row["ended"])
    facts = [_told(note_words(mill, note)) for note in known]
    return evidence | {"facts": [*facts, *evidence.get("facts", [])]} if facts else evidence


def _told(text: str) -> dict[str, Any]:
    """A fact without a number; how it was made stands beside it, for readers of other tongues."""
    return {"text": text, "value": None, "unit": "", "said": packed(text)}


def note_words(mill: Mill, note: Note) -> str:
    """Say what was known: ``Noted beforehand as stop, Tue 11 Nov 21:00 to 23:00: boiler``."""
    hours = span_words(note.started, note.ended, mill.tz, note.started.astimezone(mill.tz).year)
    by = said(" ({author})", author=note.author) if note.author else ""
    return said(
        "Noted beforehand as {kind}, {hours}: {text}{by}",
        kind=note_kind_words(note.kind),
        hours=hours,
        text=note.text,
        by=by,
    )


def known_of(mill: Mill) -> tuple[Known, ...]:
    """What was noted of a mill, as charts mark it."""
    return tuple(Known(note.started, note.ended, _as_mark(mill, note)) for note in notes_of(mill))


def _as_mark(mill: Mill, note: Note) -> str:
    hours = span_words(note.started, note.ended, mill.tz)
    by = said(" ({author})", author=note.author) if note.author else ""
    return clean(
        said(
            "{kind}, {hours}: {text}{by}",
            kind=note_kind_words(note.kind),
            hours=hours,
            text=note.text,
            by=by,
        ),
        600,
    )


def told_of_finding(known: Around, row: Mapping[str, Any], evidence: Mapping[str, Any]) -> Told:
    """What moved around a finding, and what is named first."""
    shares = evidence.get("shares") or {}
    driver = max(shares, key=lambda name: shares[name], default="")
    return told_of(known, str(row["cause"]), driver, str(row["section"]))


def share_of(account: object, family: str) -> float | None:
    """Share of a finding's tonnes that one kind of driving made; None where that is not kept."""
    if not isinstance(account, dict):
        return None
    if account.get("kind") == "microbial":
        return 1.0 if family == "cold" else 0.0
    try:
        kg = [(str(part["channel"]), part_kg(part)) for part in account["parts"]]
    except (KeyError, TypeError):
        return None
    total = sum(amount for _, amount in kg)
    drivers = set(DRIVERS_OF[family])
    mine = sum(amount for name, amount in kg if _drives(name, family, drivers))
    return mine / total if total > 0.0 and any(name != "unexplained" for name, _ in kg) else None


def _drives(channel: str, family: str, drivers: set[str]) -> bool:
    if _MUD in (channel, family):
        return channel == family
    if channel == "standing":
        return family == "feed"
    return bool(drivers & set(CHANNEL_DRIVERS.get(channel, ())))
