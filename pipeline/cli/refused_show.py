"""Refused rows as lines for a person: how many and why, then the rows themselves."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import PurePath

import polars as pl

from pipeline.base import ConfigError
from pipeline.lake import ROWS_KEPT, lake_of, read_refused, reason_words
from pipeline.mill import Mill
from pipeline.store import store_of
from pipeline.words import clean, counted, said


def refused_lines(
    mill: Mill, reason: str | None = None, file: str | None = None, limit: int = 20
) -> list[str]:
    """Counts of refused rows by file and reason, then the first rows.

    Parameters
    ----------
    reason : str, optional
        Only this reason; blanks stand for underscores.
    file : str, optional
        Only the export with this name.
    limit : int
        Most rows to show.

    Raises
    ------
    ConfigError
        No row was refused for this reason, or no file of this name was pulled.
    DataError
        The store or a list of refused rows cannot be read.
    """
    reason = reason.replace(" ", "_") if reason else None
    file = PurePath(file).name if file else None
    sources = store_of(mill).sources()
    counts = _counts(sources, file)
    reasons = {why for _, why in counts}
    _require(file, set(sources["name"]), "file", said("No export of this name was pulled."))
    if counts:
        _require(reason, reasons, "reason", said("No row was refused for this reason."))
    chosen = {key: n for key, n in counts.items() if reason in {None, key[1]}}
    if not chosen:
        return [said("{mill}: no row was refused.", mill=mill.name)]
    lines = [
        counted(
            sum(chosen.values()),
            "{mill}: {n} row refused.",
            "{mill}: {n} rows refused.",
            mill=mill.name,
        )
    ]
    lines += [
        said("  {file}: {reason}, {rows} rows", file=clean(name), reason=reason_words(why), rows=n)
        for (name, why), n in sorted(chosen.items(), key=lambda item: (-item[1], item[0]))
    ]
    rows = read_refused(lake_of(mill).storage, reason, file)
    lines += [_line(row) for row in rows.head(limit).to_dicts()]
    if rows.height > limit:
        lines.append(said("{more} more were kept: --limit shows them.", more=rows.height - limit))
    if sum(chosen.values()) > rows.height:
        lines.append(
            said("Of each file and reason the first {rows} rows are kept.", rows=ROWS_KEPT)
        )
    return lines


def _counts(sources: pl.DataFrame, file: str | None) -> Counter[tuple[str, str]]:
    counts: Counter[tuple[str, str]] = Counter()
    for row in sources.to_dicts():
        if file in {None, row["name"]}:
            for why, n in json.loads(row["refused_by_reason"]).items():
                counts[row["name"], why] += n
    return counts


def _require(word: str | None, known: set[str], option: str, what: str) -> None:
    if word is not None and word not in known:
        there = ", ".join(clean(name) for name in sorted(known)[:20]) or said("none")
        raise ConfigError(
            what, f"--{option} {clean(word)}", said("There are: {names}.", names=there)
        )


def _line(row: dict[str, object]) -> str:
    return said(
        "{file}, row {row}: {reason}: {text}",
        file=clean(row["file"]),
        row=row["row"],
        reason=reason_words(str(row["reason"])),
        text=clean(row["text"], 200),
    )
