"""Losses found again keep their identity: which new episode is which known finding.

Plain rows in, plain rows out; nothing here touches the store.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, Final

Row = dict[str, Any]

#: Two episodes are one when they share at least this part of the shorter one.
LEAST_SHARED: Final = 0.5


def finding_id(mill: str, section: str, cause: str, started: datetime) -> str:
    """Short name of a finding: the same loss found twice is named alike.

    The start is rounded to the hour, so that a minute more or less does not rename it.
    """
    hour = (started + timedelta(minutes=30)).replace(minute=0, second=0, microsecond=0)
    text = "\x1f".join((mill, section, cause, hour.isoformat()))
    return hashlib.sha256(text.encode()).hexdigest()[:10]


def shared_part(one: Mapping[str, Any], other: Mapping[str, Any]) -> float:
    """Length two episodes have in common, as a share of the shorter (0 to 1)."""
    start = max(one["started"], other["started"])
    end = min(one["ended"], other["ended"])
    shorter = min(one["ended"] - one["started"], other["ended"] - other["started"])
    if shorter <= timedelta(0):
        return 0.0
    return float(max((end - start) / shorter, 0.0))


def pair_up(known: Sequence[Row], found: Sequence[Row]) -> dict[int, int]:
    """Pair found episodes with known findings, best pairs first, each used once.

    Parameters
    ----------
    known, found : sequence of dict
        Rows with ``section``, ``cause``, ``started`` and ``ended``.

    Returns
    -------
    dict of int to int
        Position in `found` to position in `known`.
    """
    candidates: list[tuple[int, float, datetime, int, int]] = []
    for i, new in enumerate(found):
        for j, old in enumerate(known):
            shared = shared_part(new, old)
            if shared >= LEAST_SHARED:
                alike = (new["section"] == old["section"]) + (new["cause"] == old["cause"])
                candidates.append((-alike, -shared, old["started"], i, j))
    pairs: dict[int, int] = {}
    taken: set[int] = set()
    for *_, i, j in sorted(candidates):
        if i not in pairs and j not in taken:
            pairs[i] = j
            taken.add(j)
    return pairs


def merge_findings(
    known: Sequence[Row],
    found: Iterable[Row],
    window: tuple[datetime, datetime],
    as_of: datetime,
    run_id: str,
) -> list[Row]:
    """Rows to store after a run: found ones, and known ones it no longer finds.

    Parameters
    ----------
    known : sequence of dict
        Findings of this mill already stored.
    found : iterable of dict
        Episodes of this run, with all columns but identity, dates of sight and run.
    window : tuple of datetime
        What the run judged (start included, end excluded). Known findings that start outside
        stay as they are.
    as_of : datetime
        End of data of the run.

    Returns
    -------
    list of dict
        Only rows that are new or changed, one per ``finding_id``.
    """
    start, end = window
    judged = [row for row in known if start <= row["started"] < end]
    rows = sorted(found, key=lambda row: (row["started"], row["section"], row["cause"]))
    pairs = pair_up(judged, rows)
    names = {row["finding_id"] for row in known}
    merged: list[Row] = []
    for i, row in enumerate(rows):
        seen = {"last_seen": as_of, "run_id": run_id}
        if i in pairs:
            old = judged[pairs[i]]
            seen |= {"finding_id": old["finding_id"], "first_seen": old["first_seen"]}
            seen["last_seen"] = max(as_of, old["last_seen"])
        else:
            name = _free_name(row, names)
            names.add(name)
            seen |= {"finding_id": name, "first_seen": as_of}
        merged.append(row | seen)
    kept = set(pairs.values())
    merged.extend(
        row | {"status": "withdrawn", "rank": None, "run_id": run_id}
        for j, row in enumerate(judged)
        if j not in kept and row["status"] != "withdrawn"
    )
    return merged


def _free_name(row: Row, names: set[str]) -> str:
    """Name of a new finding; a second one in the same hour is named by its end too."""
    name = finding_id(row["mill"], row["section"], row["cause"], row["started"])
    while name in names:
        name = finding_id(name, row["section"], row["cause"], row["ended"])
    return name
