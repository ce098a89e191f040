"""Strips of what was found and of what was known: findings by cause, chance, notes, notices."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from typing import Any, Final

import polars as pl

from models.account import Note, added_findings, multiplier_log_sd
from models.search import CONFIDENT_Q
from pipeline.base import Window
from pipeline.desk.address import Shown
from pipeline.desk.axis import Axis
from pipeline.desk.choose import touches
from pipeline.desk.drawing import Bar, on_tracks
from pipeline.desk.kept import Snapshot
from pipeline.desk.strips import Row, begun, words_on
from pipeline.mill import Mill
from pipeline.words import (
    clean,
    figure,
    joined,
    known,
    notice_words,
    plain,
    said,
    section_words,
    span_words,
    stored,
    tonnes,
    verdict_words,
    words_of,
)

_TALL: Final = 13
_GAP: Final = 4
_CHANCE_HEIGHT: Final = 44
#: Above this q-value a finding stands at the top of its strip.
_MOST_Q: Final = 0.25
_WEEK: Final = timedelta(days=7)
#: Line under a finding that says what became of it.
UNDER: Final[Mapping[str, str]] = {
    "confirmed": "summary-confirmed",
    "dismissed": "summary-dismissed",
    "fixed": "summary-fixed",
    "look_again": "summary-again",
}


def finding_words(row: Mapping[str, Any], mill: Mill) -> str:
    """A finding in one line: what, where, when, how much, what was summary of it."""
    kinds = {v.name: str(v.kind) for v in mill.station.vessels}
    where = section_words(str(row["section"]), kinds)
    lost = tonnes(row["lost_t"], row["lost_t_low"], row["lost_t_high"])
    verdict = verdict_words(row["verdict"]) or said("no verdict yet")
    when = span_words(row["started"], row["ended"], mill.tz)
    gone = said(", taken back by later data") if row["status"] == "withdrawn" else ""
    mark = "" if row["mark"] == "confident" else said(", not on the strict list")
    return said(
        "{name}, {where}, {when}: {lost}{mark}{gone}; {verdict}",
        name=words_of(str(row["cause"])).name,
        where=where,
        when=when,
        lost=lost,
        mark=mark,
        gone=gone,
        verdict=verdict,
    )


def cause_rows(
    found: Sequence[dict[str, Any]],
    known_of: Snapshot,
    mill: Mill,
    axis: Axis,
    shown: Shown,
    link: Callable[[str], str],
) -> list[Row]:
    """One strip for each cause, the costliest first; every finding leads to its page."""
    here = [row for row in found if touches(row, axis.window)]
    by_cause: dict[str, list[dict[str, Any]]] = {}
    for row in sorted(here, key=lambda r: (r["started"], r["finding_id"])):
        by_cause.setdefault(str(row["cause"]), []).append(row)
    order = sorted(by_cause, key=lambda c: -sum(r["lost_t"] or 0.0 for r in by_cause[c]))
    level_sd = multiplier_log_sd(known_of.run["multiplier_low"], known_of.run["multiplier_high"])
    return [
        _cause_row(cause, by_cause[cause], level_sd, mill, axis, shown, link) for cause in order
    ]


def _cause_row(
    cause: str,
    rows: Sequence[dict[str, Any]],
    level_sd: float,
    mill: Mill,
    axis: Axis,
    shown: Shown,
    link: Callable[[str], str],
) -> Row:
    cuts = [axis.clipped(row["started"], row["ended"]) or (0.0, 0.0) for row in rows]
    tracks = on_tracks(cuts)
    lost = pl.DataFrame(rows).select(pl.col("lost_t", "lost_t_high").cast(pl.Float64))
    summary = said(
        "{rows} {said}, {total} above the usual, 90 % interval",
        rows=len(rows),
        said=said("finding") if len(rows) == 1 else said("findings"),
        total=tonnes(*added_findings(lost, level_sd)),
    )
    name = words_of(cause).name
    height = (max(tracks) + 1) * (_TALL + _GAP + 3) + _GAP
    strip = begun(axis, height, said("{name}: {summary}", name=name, summary=summary), shown)
    strip.bars(
        [
            Bar(
                *cut,
                _kind(row),
                finding_words(row, mill),
                link(str(row["finding_id"])),
                track,
                UNDER.get(str(row["verdict"]), ""),
            )
            for row, cut, track in zip(rows, cuts, tracks, strict=True)
        ],
        _TALL,
        _GAP,
    )
    key = "cause-" + joined("", (c if c.isascii() and c.isalnum() else "-" for c in cause))[:40]
    return Row(key, name, "", summary, strip.done())


def _kind(row: Mapping[str, Any]) -> str:
    if row["status"] == "withdrawn":
        return "finding gone"
    return "finding sure" if row["mark"] == "confident" else "finding listed"


def chance_row(
    found: Sequence[dict[str, Any]], known_of: Snapshot, mill: Mill, axis: Axis, shown: Shown
) -> Row:
    """How far chance may explain each finding, by its q-value; what could not be told is shaded."""
    here = [row for row in found if touches(row, axis.window)]
    strip = begun(axis, _CHANCE_HEIGHT, "", shown)
    for row in known_of.searched.to_dicts() if not known_of.uncalibrated.is_empty() else ():
        if cut := axis.clipped(row["owns_start"], row["owns_end"]):
            strip.band(*cut, "unlearnt")
    limit, reach = _CHANCE_HEIGHT - 8.0, _CHANCE_HEIGHT - 14.0
    y = limit - reach * CONFIDENT_Q / _MOST_Q
    strip.add("line", {"x1": 0, "x2": axis.width, "y1": y, "y2": y, "class": "level"})
    strip.text(3.0, y - 3.0, said("{share} %", share=5))
    told = 0
    for row in here:
        q = known(row["q_value"])
        if q is None:
            continue
        told += 1
        middle = row["started"] + (row["ended"] - row["started"]) / 2
        x = min(max(axis.x(middle), 0.0), float(axis.width))
        top = limit - reach * min(q, _MOST_Q) / _MOST_Q
        strip.add("line", {"x1": x, "x2": x, "y1": limit, "y2": top, "class": "bar-line"})
        dot = {"cx": x, "cy": top, "r": 2.6, "class": "grab" if q > CONFIDENT_Q else "chance-low"}
        box = strip.add("circle", dot)
        strip.add("title", {}, box).text = clean(
            said(
                "q-value {q}: {finding_words}",
                q=figure(q, ".2g"),
                finding_words=finding_words(row, mill),
            ),
            300,
        )
    summary = _chance_words(here, told, known_of, mill, shown.window)
    strip.root.set(
        "aria-label", clean(said("What chance explains: {summary}", summary=summary), 300)
    )
    return Row("chance", said("What chance explains"), said("q-value"), summary, strip.done())


def _chance_words(
    here: Sequence[dict[str, Any]], told: int, known_of: Snapshot, mill: Mill, window: Window
) -> str:
    if not told:
        return said("no q-value is stored with the findings shown")
    shares = [q for row in here if (q := known(row["q_value"])) is not None]
    sure = [q for q in shares if q <= CONFIDENT_Q]
    weeks = max((window.end - window.start) / _WEEK, 0.0)
    most = plain(mill.false_findings_per_week * weeks, 1)
    doubt = "" if known_of.uncalibrated.is_empty() else said("; shaded: chance could not be learnt")
    confident = (
        said(
            ", {sure} of the {sure2} on the strict list",
            sure=plain(max(sure) * len(sure), 1),
            sure2=len(sure),
        )
        if sure
        else ""
    )
    # Those not on the strict list may all be chance, and no more than all of them.
    bound = min(max(shares) * told, max(sure, default=0.0) * len(sure) + told - len(sure))
    return said(
        "by their q-values up to {shares} of the {told} findings shown are chance{confident}; the "
        "search is set to list about {most} by chance in as many weeks without any loss{doubt}",
        shares=plain(bound, 1),
        told=told,
        confident=confident,
        most=most,
        doubt=doubt,
    )


def notes_row(notes: Sequence[Note], mill: Mill, axis: Axis, shown: Shown) -> Row:
    """What was known beforehand: planned stops, cleaning, calibrations, trials."""
    spans = [
        (
            n.started,
            n.ended,
            "note",
            said(
                "{kind}: {text}{said}",
                kind=n.kind,
                text=n.text,
                said=said(" ({author})", author=n.author) if n.author else "",
            ),
        )
        for n in notes
    ]
    return _spans_row("notes", said("Planned and noted"), spans, mill, axis, shown)


def notices_row(notices: pl.DataFrame, mill: Mill, axis: Axis, shown: Shown) -> Row:
    """What looked like a loss and was none."""
    rows = [] if notices.is_empty() else notices.sort("started", "kind").to_dicts()
    spans = [
        (
            r["started"],
            r["ended"],
            "notice",
            said(
                "{notice_words}. {text}",
                notice_words=notice_words(r["kind"]),
                text=stored(clean(r["text"], 300)),
            ),
        )
        for r in rows
    ]
    return _spans_row("notices", said("Odd, with little or no loss"), spans, mill, axis, shown)


def _spans_row(
    key: str, name: str, spans: Sequence[tuple[Any, Any, str, str]], mill: Mill, axis: Axis,
    shown: Shown,
) -> Row:  # fmt: skip
    here = [(s, cut) for s in spans if (cut := axis.clipped(s[0], s[1]))]
    tracks = on_tracks(cut for _, cut in here)
    bars = [
        Bar(
            *cut,
            kind,
            said("{span_words}: {words}", span_words=span_words(a, b, mill.tz), words=words),
            "",
            track,
        )
        for ((a, b, kind, words), cut), track in zip(here, tracks, strict=True)
    ]
    summary = f"{len(here)}" if here else said("none in these hours")
    height = (max(tracks, default=0) + 1) * (_TALL + _GAP + 3)
    strip = begun(axis, height, said("{name}: {summary}", name=name, summary=summary), shown)
    strip.bars(bars, _TALL, _GAP)
    return Row(key, name, "", summary, strip.done(), words_on(bars))
