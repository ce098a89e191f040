"""Which findings are new, still open, ended or taken back since the last report; verdicts beside.

Everything is told from times of the data, never from the clock, so that a report made again says
the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.report.tables import FindingRow, finding_rows
from pipeline.report.view import NightView, ReportView
from pipeline.words import clean, day_words, figure, known, read_evidence, said

State = Literal["new", "open", "ended", "withdrawn"]

STATE_WORDS: Final[dict[State, str]] = {
    "new": said("New"),
    "open": said("Still open"),
    "ended": said("Ended"),
    "withdrawn": said("Taken back"),
}
_VERDICTS: Final = {
    "confirmed": said("confirmed"),
    "dismissed": said("dismissed: no loss"),
    "fixed": said("fixed"),
    "look_again": said("look again: it grew or went on after the verdict"),
}
_NOTE: Final = 160


@dataclass(frozen=True, slots=True)
class Item:
    """A finding with what became of it since the last report."""

    row: FindingRow
    state: State
    verdict: str
    doubt: str

    @property
    def state_words(self) -> str:
        """The state in a word or two."""
        if self.state == "new" and self.row.status == "ended":
            return said("New, ended")
        return STATE_WORDS[self.state]


def items_of(view: NightView) -> list[Item]:
    """Findings of the night by state, the most pressing first within each."""
    stored = {row["finding_id"]: row for row in view.report.findings.to_dicts()}
    items = []
    for row in finding_rows(view.report):
        raw = stored[row.raw_id]
        items.append(Item(row, _state(view, raw), verdict_words(view.report, raw), mark_words(raw)))
    order = list(STATE_WORDS)
    return sorted(items, key=lambda item: order.index(item.state))


def _state(view: NightView, raw: Mapping[str, object]) -> State:
    if raw["status"] == "withdrawn":
        return "withdrawn"
    run, started, first_seen = view.run, raw["started"], raw.get("first_seen")
    found_now = run.previous_end is not None and first_seen == run.data_end
    if found_now or started >= view.report.period_start:  # type: ignore[operator]
        return "new"
    return "open" if raw["status"] == "open" else "ended"


def verdict_words(view: ReportView, raw: Mapping[str, object]) -> str:
    """Say what people said of a finding; empty when nobody did."""
    state = raw.get("verdict")
    if not state:
        return ""
    text = _VERDICTS.get(str(state), clean(state, 40))
    last = _last_verdict(view.verdicts, str(raw["finding_id"]))
    if last is None:
        return text
    given = day_words(last["given_at"].astimezone(ZoneInfo(view.zone)))
    by = said(
        "{text} by {author}, {given}", text=text, author=clean(last["author"], 60), given=given
    )
    note = clean(last["note"], _NOTE)
    return said("{by}: “{note}”", by=by, note=note) if note else by


def _last_verdict(verdicts: pl.DataFrame | None, finding_id: str) -> dict[str, Any] | None:
    if verdicts is None:
        return None
    mine = verdicts.filter(pl.col("finding_id") == finding_id)
    return None if mine.is_empty() else mine.row(-1, named=True)


def mark_words(raw: Mapping[str, object]) -> str:
    """Say whether a finding is on the strict list, of which next to none is chance.

    How sure a finding is stands beside it as a number: this must not read like a second one.
    """
    if read_evidence(raw.get("evidence")).uncalibrated:
        return said("not on the strict list, for which too little is known here")
    return {"confident": said("on the strict list"), "listed": said("not on the strict list")}.get(
        str(raw.get("mark")), ""
    )


STRICT: Final = said("Strict list: of a season's findings on it at most one in twenty is chance.")


def chance_words(raw: Mapping[str, object]) -> str:
    """Say what chance alone may have to do with a finding: p-value, q-value and mark."""
    why = read_evidence(raw.get("evidence")).uncalibrated
    if why:
        return said("How often chance alone makes such a loss cannot be told here: {why}.", why=why)
    p, q = known(raw.get("p_value")), known(raw.get("q_value"))
    if p is None or q is None:
        return said("How likely chance alone makes such a finding was not worked out for it.")
    by_itself = said(
        "Chance alone makes a stretch so strong with probability {small} (p-value)", small=_small(p)
    )
    among = said(
        "the share of chance among findings as strong as this is {small} % (q-value)",
        small=_small(100 * q),
    )
    mark = (
        said("No more than 5 %, so it is on the strict list.")
        if raw.get("mark") == "confident"
        else said("More than 5 %: not on the strict list.")
    )
    return said(
        "{by_itself}; over the season {among}. {mark}", by_itself=by_itself, among=among, mark=mark
    )


def _small(value: float) -> str:
    """A probability with the two digits it is good for; what is too small to know is bounded."""
    return (
        figure(value, ".2g")
        if value >= 1e-4
        else said("below {bound}", bound=figure(0.0001, ".4f"))
    )


def written_dossiers(view: ReportView) -> list[tuple[str, str]]:
    """Findings shown whose dossier is written: the id as it is shown, and as it stands."""
    shown = view.findings["finding_id"].to_list()
    return [(clean(name, 20), name) for name in shown if name in view.dossiers]
