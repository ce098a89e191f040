"""The view of one finding: what speaks for it, what to decide, what was said, what is alike."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, Final

import polars as pl

from models.account import added_findings, multiplier_log_sd
from pipeline.base import Window
from pipeline.charts import in_hours
from pipeline.desk.address import Shown, span, stamp
from pipeline.desk.axis import Axis
from pipeline.desk.decide import last_verdict_id
from pipeline.desk.desk import waiting
from pipeline.desk.events import cause_rows, notes_row
from pipeline.desk.kept import Kept, Snapshot
from pipeline.desk.season import finding_line
from pipeline.desk.strips import clock_row, loss_row, stops_row
from pipeline.dossier import similar_episodes
from pipeline.mill import Mill
from pipeline.period import known_of, notes_of
from pipeline.report import chance_words
from pipeline.store import chosen, counting
from pipeline.words import (
    CAUSES,
    clean,
    feed_share,
    figure,
    lesson_words,
    moment_words,
    parsed_evidence,
    read_evidence,
    said,
    status_words,
    tonnes,
    verdict_words,
    words_of,
)

_MOST_ALIKE: Final = 6
_LEAST_AROUND: Final = timedelta(hours=24)
_NOTE: Final = 600
#: Screens that the strips about a finding are drawn for, and their pixels there.
_SIZES: Final = (("on-wide", 760), ("on-narrow", 350))


def finding_view(kept: Kept, which: str, base: str) -> dict[str, Any]:
    """Everything that the page of a finding shows.

    Raises
    ------
    ConfigError
        No finding, or several, are meant.
    """
    mill, known = kept.mill, kept.now()
    row = chosen(known.findings, which, mill)
    evidence = read_evidence(row["evidence"])
    name = str(row["finding_id"])
    counts = counting(known.verdicts.to_dicts()).get(name)
    around, after = _neighbours(known, name)
    return {
        "finding": finding_line(row, mill, base),
        "cause": words_of(str(row["cause"])),
        "cause_code": str(row["cause"]),
        "share": feed_share(row["lost_pct"]),
        "status": status_words(str(row["status"])),
        "chance": chance_words(row),
        "evidence": evidence,
        "shares": [(s.name, s.percent) for s in evidence.shares],
        "taught": taught_of(row),
        "history": [verdict_line(v, mill) for v in _said(known.verdicts, name)],
        "counts": None if counts is None else verdict_line(counts, mill),
        "seen": last_verdict_id(known.verdicts.to_dicts(), name),
        "causes": [(code, words.name) for code, words in CAUSES.items()],
        "strips": [_strips(kept, row, base, *size) for size in _SIZES],
        "alike": _alike(row, known, mill, base),
        "period": f"{base}/period?from={stamp(row['started'])}&to={stamp(row['ended'])}",
        "in_season": f"{base}/?pick={span(Window(row['started'], row['ended']))}",
        "before": f"{base}/finding/{around}" if around else "",
        "after": f"{base}/finding/{after}" if after else "",
    }


def _strips(kept: Kept, row: dict[str, Any], base: str, screen: str, width: int) -> dict[str, Any]:
    """Loss by hour and findings about this one."""
    mill, known = kept.mill, kept.now()
    own = Window(row["started"], row["ended"])
    reach = max(2 * (own.end - own.start), _LEAST_AROUND)
    shown = Shown(Window(own.start - reach, own.end + reach), whole=False, pick=own, width=width)
    noted = in_hours(known_of(mill), shown.window.start, shown.window.end)
    axis = Axis(shown.window, shown.width, mill.tz, noted)
    found = known.findings.filter(pl.col("status") != "withdrawn").to_dicts()
    rows = [
        loss_row(known, mill, axis, shown),
        *cause_rows(found, known, mill, axis, shown, lambda name: f"{base}/finding/{name}"),
        *([notes_row(notes_of(mill), mill, axis, shown)] if noted else []),
        stops_row(known, mill, axis, shown),
    ]
    return {"screen": screen, "clock": clock_row(axis), "rows": rows}


def _neighbours(known: Snapshot, name: str) -> tuple[str, str]:
    """Findings that wait for a verdict before and after this one, in order of rank."""
    order = [str(n) for n in known.findings.sort("rank", nulls_last=True)["finding_id"]]
    asked = set(waiting(known.findings)["finding_id"])
    place = order.index(name)
    before = next((n for n in reversed(order[:place]) if n in asked), "")
    return before, next((n for n in order[place + 1 :] if n in asked), "")


def _alike(
    row: dict[str, Any], known: Snapshot, mill: Mill, base: str
) -> list[dict[str, Any]]:  # fmt: skip
    standing = known.findings.filter(pl.col("status") != "withdrawn").to_dicts()
    by_id = {str(r["finding_id"]): r for r in standing}
    counts = counting(known.verdicts.to_dicts())
    found = []
    for item in similar_episodes(row, standing)[:_MOST_ALIKE]:
        name = item.episode.finding_id
        line = finding_line(by_id[name], mill, base)
        given = counts.get(name)
        found.append(
            line
            | {
                "alike": said("{distance} %", distance=figure(100 * (1 - item.distance), ".0f")),
                "note": clean(given["note"], _NOTE) if given else "",
            }
        )
    return found


def _said(verdicts: pl.DataFrame, name: str) -> list[dict[str, Any]]:
    return verdicts.filter(pl.col("finding_id") == name).to_dicts()[::-1]


def verdict_line(row: dict[str, Any], mill: Mill) -> dict[str, str]:
    """A verdict in words: what, by whom, when, why."""
    return {
        "id": str(row["finding_id"]),
        "verdict": verdict_words(row["verdict"]),
        "was": words_of(row["found_cause"]).name if row["found_cause"] else "",
        "by": clean(row["author"], 80),
        "when": moment_words(row["given_at"], mill.tz),
        "note": clean(row["note"], _NOTE),
        "cause": words_of(str(row["cause"])).name,
        "lost": said("{lost_t} t", lost_t=figure(row["lost_t"], ".2f")),
    }


def taught_of(row: dict[str, Any]) -> list[str]:
    """What verdicts changed about a finding, as its evidence tells it."""
    held = parsed_evidence(row["evidence"]).get("verdicts")
    told = held.get("told") if isinstance(held, dict) else None
    return [lesson_words(line) for line in told] if isinstance(told, list) else []


def waiting_view(kept: Kept, base: str) -> dict[str, Any]:
    """Findings that wait for a verdict."""
    mill, known = kept.mill, kept.now()
    rows = waiting(known.findings).to_dicts()
    verdicts = known.verdicts.to_dicts()
    lines = [
        finding_line(row, mill, base)
        | {
            "sentence": next(iter(read_evidence(row["evidence"]).facts), ""),
            "seen": last_verdict_id(verdicts, str(row["finding_id"])),
        }
        for row in rows
    ]
    return {"lines": lines, "in_all": _in_all(known) if lines else ""}


def _in_all(known: Snapshot) -> str:
    """What waits, added up as reports add it."""
    level_sd = multiplier_log_sd(known.run["multiplier_low"], known.run["multiplier_high"])
    return tonnes(*added_findings(waiting(known.findings), level_sd))


def verdicts_view(kept: Kept, base: str) -> dict[str, Any]:
    """Every verdict given, and what they taught about other findings."""
    mill, known = kept.mill, kept.now()
    taught = [
        finding_line(row, mill, base) | {"taught": lines}
        for row in known.findings.filter(pl.col("status") != "withdrawn").to_dicts()
        if (lines := taught_of(row))
    ]
    given = [verdict_line(row, mill) for row in known.verdicts.to_dicts()[::-1]]
    counts = {row["verdict_id"] for row in counting(known.verdicts.to_dicts()).values()}
    for line, row in zip(given, known.verdicts.to_dicts()[::-1], strict=True):
        line["counts"] = "yes" if row["verdict_id"] in counts else ""
    return {"given": given, "lessons": taught, "base_link": f"{base}/finding/"}
