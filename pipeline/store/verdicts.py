"""Verdicts of people on findings: given, taken back, listed. They are kept for good."""

from __future__ import annotations

import getpass
import json
from datetime import datetime
from typing import Any, Final, Literal

import polars as pl

from models.verdicts import as_found
from pipeline.base import ConfigError, now
from pipeline.mill import Mill
from pipeline.store.folders import published_store_of, store_of
from pipeline.store.learning import TAKEN_BACK, counting
from pipeline.store.naming import chosen, finding_words
from pipeline.words import (
    CAUSES,
    clean,
    counted,
    joined,
    lesson_words,
    moment_words,
    said,
    section_words,
    tonnes,
    verdict_words,
    words_of,
)

Verdict = Literal["confirmed", "dismissed", "fixed"]

#: Longest note and name kept [characters].
LONGEST_NOTE: Final = 10_000
LONGEST_AUTHOR: Final = 200


def give_verdict(
    mill: Mill,
    which: str,
    verdict: Verdict | None,
    note: str = "",
    author: str | None = None,
    found_cause: str | None = None,
) -> dict[str, Any]:
    """Keep a verdict on a finding, or take back the one that counts.

    Parameters
    ----------
    which : str
        A finding's id, or the beginning of one.
    verdict : {"confirmed", "dismissed", "fixed"} or None
        None takes back.
    note : str
        Why; any text.
    author : str, optional
        Who; without it, the user of this machine.
    found_cause : str, optional
        Cause found on the floor, where the search named another.

    Returns
    -------
    dict
        The finding as it now stands.

    Raises
    ------
    ConfigError
        No finding, or several, are meant; a text is too long; there is nothing to take back.
    """
    store = store_of(mill)
    finding = chosen(store.findings(withdrawn=True), which, mill)
    if verdict is None:
        _require_verdict(store.verdicts(), finding["finding_id"])
    if found_cause is not None and verdict not in {"confirmed", "fixed"}:
        cure = said("Leave --cause out, or confirm the finding.")
        raise ConfigError(said("A cause goes with confirmed or fixed only."), "--cause", cure)
    if found_cause is not None and found_cause not in CAUSES:
        cure = said("There are: {names}.", names=", ".join(CAUSES))
        raise ConfigError(said("There is no such cause."), f"--cause {clean(found_cause)}", cure)
    raw = as_found(finding)  # what is judged is the search, not what an earlier verdict made of it
    store.record_verdict(
        {name: raw[name] for name in ("section", "cause", "started", "ended", "lost_t")}
        | {
            "finding_id": finding["finding_id"],
            "verdict": verdict or TAKEN_BACK,
            "note": _bounded(note, LONGEST_NOTE, "--note"),
            "author": _bounded(author or _machine_user(), LONGEST_AUTHOR, "--by"),
            "given_at": now(),
            "found_cause": found_cause,
        }
    )
    return chosen(store.findings(withdrawn=True), finding["finding_id"])


def _require_verdict(given: pl.DataFrame, name: str) -> None:
    if name not in counting(given.to_dicts()):
        cure = said("See lostpol verdicts MILL for those given.")
        raise ConfigError(said("There is no verdict on this finding to take back."), name, cure)


def _bounded(text: str, longest: int, option: str) -> str:
    """Text as typed; only what no file can hold is replaced."""
    if len(text) > longest:
        cure = said("Keep it to {longest} characters.", longest=longest)
        raise ConfigError(said("The text has {text} characters.", text=len(text)), option, cure)
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return whole.replace("\x00", "\ufffd").strip()


def _machine_user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError) as error:
        raise ConfigError(
            said("This machine does not tell who you are."),
            "--by",
            said("Say who gives it: --by NAME."),
        ) from error


def verdict_lines(mill: Mill) -> list[str]:
    """Every verdict given, last one first, for a terminal."""
    store = published_store_of(mill)
    given = store.verdicts().to_dicts()
    if not given:
        return [said("{mill}: no verdict has been given yet.", mill=mill.name)]
    count = {row["verdict_id"] for row in counting(given).values()}
    found = {row["finding_id"]: row for row in store.findings(withdrawn=True).to_dicts()}
    lines = [
        joined(
            ", ",
            (
                counted(len(given), "{mill}: {n} verdict", "{mill}: {n} verdicts", mill=mill.name),
                counted(len(count), "{n} of them counts.", "{n} of them count."),
            ),
        )
    ]
    for row in reversed(given):
        of = found.get(row["finding_id"])
        lines += _lines_of(mill, row, of, counts=row["verdict_id"] in count)
    return lines


def _lines_of(
    mill: Mill, row: dict[str, Any], finding: dict[str, Any] | None, *, counts: bool
) -> list[str]:
    back = row["verdict"] == TAKEN_BACK
    phrase = verdict_words(row["verdict"])
    if row["found_cause"]:
        cause = words_of(row["found_cause"]).name
        phrase = said("{verdict}, was {cause}", verdict=phrase, cause=cause)
    mark = "" if counts or back else said(" (no longer counts)")
    given = said(
        "{verdict}{mark}, by {author}, {when}",
        verdict=phrase,
        mark=mark,
        author=clean(row["author"]),
        when=_local(mill, row["given_at"]),
    )
    what = _as_judged(mill, row) if finding is None else finding_words(finding, mill)
    lines = [joined("  ", (row["finding_id"], given)), joined("", ("    ", what))]
    return [*lines, f"    {clean(row['note'], 400)}"] if row["note"] else lines


def _as_judged(mill: Mill, row: dict[str, Any]) -> str:
    """What a verdict keeps of a finding that is gone: its tonnes then, without an interval."""
    kinds = {vessel.name: str(vessel.kind) for vessel in mill.station.vessels}
    return said(
        "{name}, {where}, from {when}, {lost} when judged",
        name=words_of(row["cause"]).name,
        where=section_words(row["section"], kinds),
        when=_local(mill, row["started"]),
        lost=tonnes(row["lost_t"], None, None),
    )


def _local(mill: Mill, moment: datetime) -> str:
    return joined(" ", (moment_words(moment, mill.tz), mill.zone))


def verdict_summary(mill: Mill, finding: dict[str, Any]) -> list[str]:
    """Which finding was marked, and what it looks like now, for a terminal."""
    evidence = json.loads(finding["evidence"])
    changes = evidence.get("verdicts", {}).get("told", []) if isinstance(evidence, dict) else []
    place = (
        said("number {rank} of the list", rank=finding["rank"])
        if finding["rank"]
        else said("no longer found")
    )
    head = said(
        "{finding_id}: {verdict}, now {place}.",
        finding_id=finding["finding_id"],
        verdict=verdict_words(finding["verdict"]) or said("no verdict"),
        place=place,
    )
    told = (finding_words(finding, mill), *map(lesson_words, changes))
    return [head, *(joined("", ("    ", line)) for line in told)]
