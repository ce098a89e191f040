"""Which verdict counts for which finding, and what follows for all of them.

Plain rows in, plain rows out; nothing here touches the store. What is learned is worked out anew
from what the search said each time, so that a verdict taken back leaves no trace.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Final

from models.search import CONFIDENT_Q
from models.verdicts import as_found, learn, with_verdicts
from pipeline.store.matching import Row, pair_up

#: Work on the floor, and the juice on its way, may take so long to end a loss called fixed.
_GRACE: Final = timedelta(days=1)
_LONGEST_NOTE: Final = 300
TAKEN_BACK: Final = "taken_back"


def counting(verdicts: Sequence[Row]) -> dict[str, Row]:
    """Give the verdict that counts, by finding: the last one, unless it was taken back."""
    last = {row["finding_id"]: row for row in sorted(verdicts, key=lambda row: row["verdict_id"])}
    return {name: row for name, row in last.items() if row["verdict"] != TAKEN_BACK}


def belonging(findings: Sequence[Row], verdicts: Sequence[Row]) -> dict[str, Row]:
    """Give the verdict of each finding that has one.

    A verdict belongs to the finding of its name. Where there is none of that name any more (the
    store was made anew, say), it belongs to the finding that shares at least half of the shorter
    of the two episodes.

    Parameters
    ----------
    findings : sequence of dict
        Findings as the search left them.
    verdicts : sequence of dict
        Rows of the table ``verdicts``, in any order.

    Returns
    -------
    dict of str to dict
        ``finding_id`` to the verdict that counts.
    """
    given = counting(verdicts)
    names = {row["finding_id"] for row in findings}
    own = {name: row for name, row in given.items() if name in names}
    homeless = [row for name, row in sorted(given.items()) if name not in names]
    free = [row for row in findings if row["finding_id"] not in own]
    pairs = pair_up(homeless, free)
    return own | {free[i]["finding_id"]: homeless[j] for i, j in pairs.items()}


def relearn(findings: Sequence[Row], verdicts: Sequence[Row]) -> list[Row]:
    """Apply verdicts to findings.

    Parameters
    ----------
    findings : sequence of dict
        All findings of a mill, as stored: what earlier verdicts changed is undone first.
    verdicts : sequence of dict
        All verdicts ever given on them.

    Returns
    -------
    list of dict
        Every finding, in the order given.
    """
    raw = [as_found(row) for row in findings]
    lessons = learn(list(counting(verdicts).values()))
    own = belonging(raw, verdicts)
    return [
        with_verdicts(row, lessons, _own(row, own.get(row["finding_id"])), CONFIDENT_Q)
        for row in raw
    ]


def _own(finding: Row, verdict: Row | None) -> Row | None:
    """Verdict on a finding as `with_verdicts` wants it."""
    if verdict is None:
        return None
    fixed = verdict["verdict"] == "fixed"
    return verdict | {
        "words": verdict_words(verdict),
        "went_on": fixed and finding["ended"] > verdict["given_at"] + _GRACE,
    }


def verdict_words(verdict: Row) -> str:
    """Who said what and why. It holds untrusted text: whoever shows it makes it harmless."""
    note = verdict["note"]
    short = note if len(note) <= _LONGEST_NOTE else f"{note[:_LONGEST_NOTE]}…"
    words = f"{verdict['verdict']} by {verdict['author']} on {verdict['given_at']:%Y-%m-%d}"
    return f"{words}: {short}" if note else words
