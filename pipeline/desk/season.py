"""The view of a season: strips on one time axis, what is chosen in it, filters, findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any, Final

import polars as pl

from pipeline.base import Window
from pipeline.charts import Known, in_hours
from pipeline.desk.address import Shown, span, stamp
from pipeline.desk.axis import Axis
from pipeline.desk.choose import NO_VERDICT, WEEKDAYS, findings_in, touches
from pipeline.desk.events import cause_rows, chance_row, notes_row, notices_row
from pipeline.desk.kept import Kept, Snapshot
from pipeline.desk.level import level_row
from pipeline.desk.strips import (
    clock_row,
    loss_row,
    reading_rows,
    sensors_row,
    stops_row,
    tag_choices,
)
from pipeline.mill import Mill
from pipeline.period import known_of, notes_of
from pipeline.words import (
    clean,
    confidence_words,
    duration_words,
    joined,
    moment_words,
    money,
    said,
    section_words,
    span_words,
    tonnes,
    verdict_words,
    words_of,
)

_VERDICTS: Final = (NO_VERDICT, "confirmed", "dismissed", "fixed", "look_again")
_MARKS: Final = {"confident": said("confident"), "listed": said("listed")}


def season_view(kept: Kept, shown: Shown, base: str) -> dict[str, Any]:
    """Everything that the page of a season shows.

    Parameters
    ----------
    kept : Kept
    shown : Shown
        State, as the address says it.
    base : str
        Address of the mill's pages, ``/m/<key>``.
    """
    mill, known = kept.mill, kept.now()
    noted = in_hours(known_of(mill), shown.window.start, shown.window.end)
    axis = Axis(shown.window, shown.width, mill.tz, noted)
    found = findings_in(known.findings, shown.filters, mill)
    here = [row for row in found if touches(row, shown.window)]
    rows = [
        loss_row(known, mill, axis, shown),
        *cause_rows(found, known, mill, axis, shown, lambda name: f"{base}/finding/{name}"),
        chance_row(found, known, mill, axis, shown),
        notes_row(notes_of(mill), mill, axis, shown),
        notices_row(known.notices, mill, axis, shown),
        stops_row(known, mill, axis, shown),
        sensors_row(known, axis, shown),
        level_row(known, mill, axis, shown),
    ]
    lanes = reading_rows(kept.readings(), axis, shown) if shown.tags else []
    return {
        "view": "season",
        "window_words": span_words(shown.window.start, shown.window.end, mill.tz),
        "clock": clock_row(axis),
        "rows": rows,
        "lanes": lanes,
        "noted": bool(noted),
        "tag_choices": tag_choices(mill.station.signals),
        "shown": shown,
        "from_value": _typed(shown.window.start, mill),
        "to_value": _typed(shown.window.end, mill),
        "stamp_from": stamp(shown.window.start),
        "stamp_to": stamp(shown.window.end),
        "moves": _moves(shown, known),
        "chosen": _chosen(shown, mill, base),
        "choices": choices(known, mill),
        "left_out": _left_out(known.findings, found, shown),
        "findings": [finding_line(row, mill, base) | _noted(row, noted) for row in here],
        "data_end": moment_words(known.data_end, mill.tz),
        "state": shown.query(),
    }


def finding_line(row: dict[str, Any], mill: Mill, base: str) -> dict[str, Any]:
    """A finding as a row of a list, in words."""
    kinds = {v.name: str(v.kind) for v in mill.station.vessels}
    lost, low, high = (row[name] for name in ("lost_t", "lost_t_low", "lost_t_high"))
    price = [None if v is None else v * mill.price_per_t for v in (low, high)]
    return {
        "id": str(row["finding_id"]),
        "link": f"{base}/finding/{row['finding_id']}",
        "rank": row["rank"],
        "cause": words_of(str(row["cause"])).name,
        "where": section_words(str(row["section"]), kinds),
        "when": span_words(row["started"], row["ended"], mill.tz),
        "lasted": duration_words(row["ended"] - row["started"]),
        "mass": tonnes(lost, low, high),
        "worth": money(row["value"], price[0], price[1], clean(mill.currency, 12)),
        "sure": confidence_words(row["confidence"]),
        "listed": row["mark"] != "confident",
        "gone": row["status"] == "withdrawn",
        "verdict": verdict_words(row["verdict"]),
        "started": stamp(row["started"]),
    }


def _noted(row: dict[str, Any], known: Sequence[Known]) -> dict[str, str]:
    """What was noted beforehand of the hours of a finding."""
    touching = in_hours(known, row["started"], row["ended"])
    return {"noted": joined("; ", (item.words for item in touching))}


def choices(known: Snapshot, mill: Mill) -> dict[str, list[tuple[str, str]]]:
    """What can be filtered by, each value with its words."""
    kinds = {v.name: str(v.kind) for v in mill.station.vessels}
    found = known.findings

    def values(name: str) -> list[str]:
        return sorted(str(v) for v in found[name].unique() if v is not None)

    return {
        "cause": [(v, words_of(v).name) for v in values("cause")],
        "section": [(v, section_words(v, kinds)) for v in values("section")],
        "mark": list(_MARKS.items()),
        "verdict": [
            (v, said("no verdict yet") if v == NO_VERDICT else verdict_words(v)) for v in _VERDICTS
        ],
        "weekday": [(str(n), name) for n, name in enumerate(WEEKDAYS)],
        "shift": [
            (str(n), said("{name}, from {start}", name=clean(name, 40), start=start))
            for n, (name, start) in enumerate(
                zip(mill.shifts.names, mill.shifts.starts, strict=True)
            )
        ],
    }


def _typed(moment: Any, mill: Mill) -> str:  # noqa: ANN401
    """A moment as a person would type it: plant time, with the offset, for it may be twice."""
    return str(moment.astimezone(mill.tz).isoformat(sep=" ", timespec="minutes"))


def _moves(shown: Shown, known: Snapshot) -> list[tuple[str, str, str]]:
    """Ways to look elsewhere: key, words, state."""
    first, last = shown.window.start, shown.window.end
    length = last - first

    def at(start: Any, end: Any) -> str:  # noqa: ANN401
        span_shown = Window(max(start, known.start), min(end, known.end))
        if span_shown.end - span_shown.start < timedelta(minutes=20):
            span_shown = shown.window
        return shown.query(window=span_shown, whole=False) or "?"

    half, fourth = length / 2, length / 4
    whole = replace(shown, whole=True).query() or "?"
    return [
        ("earlier", said("Earlier"), at(first - half, last - half)),
        ("later", said("Later"), at(first + half, last + half)),
        ("closer", said("Closer"), at(first + fourth, last - fourth)),
        ("wider", said("Wider"), at(first - half, last + half)),
        ("whole", said("Whole season"), whole),
    ]


def _chosen(shown: Shown, mill: Mill, base: str) -> dict[str, str] | None:
    """The period chosen, in words, and what can be done with it."""
    if shown.pick is None:
        return None
    beside = f"&beside={span(shown.beside)}" if shown.beside else ""
    pick = shown.pick
    return {
        "words": span_words(pick.start, pick.end, mill.tz),
        "lasted": duration_words(pick.end - pick.start),
        "beside": span_words(shown.beside.start, shown.beside.end, mill.tz) if shown.beside else "",
        "open": f"{base}/period?from={stamp(pick.start)}&to={stamp(pick.end)}{beside}",
        "closer": shown.query(window=pick, whole=False),
        "as_beside": shown.query(beside=pick, pick=None),
        "let_go": shown.query(pick=None, beside=None) or "?",
    }


def _left_out(every: pl.DataFrame, found: Sequence[dict[str, Any]], shown: Shown) -> str:
    """Say what is not shown, and why."""
    gone = every.filter(pl.col("status") == "withdrawn").height
    standing = every.height - gone
    parts = []
    if shown.filters.any:
        kept = sum(row["status"] != "withdrawn" for row in found)
        parts.append(
            said("The filters leave {kept} of {standing} findings.", kept=kept, standing=standing)
        )
    if gone and not shown.filters.gone:
        parts.append(said("{gone} taken back by later data are not shown.", gone=gone))
    return joined(" ", parts)
