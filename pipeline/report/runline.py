"""How the run and its data went, in the few lines a page has for it."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from pipeline.charts import in_hours
from pipeline.report.beyond import beyond_line
from pipeline.report.groups import written_dossiers
from pipeline.report.season import gaps_of, level_of
from pipeline.report.tables import tag_rows
from pipeline.report.view import ReportView, RunHealth
from pipeline.words import (
    clean,
    clocks_change,
    count,
    known,
    moment_words,
    money,
    quantity,
    zone_words,
)

_TAGS_NAMED = 3


def common_parts(report: ReportView, run: RunHealth) -> dict[str, Any]:
    """What the pages of a night and of a week both show: heads, and how run and data went."""
    zone = ZoneInfo(report.zone)
    return {
        "mill": clean(report.mill),
        "zone": zone_words(report.period_start, zone),
        "clocks_change": clocks_change(report.period_start, report.period_end, zone),
        "currency": clean(report.currency),
        "price": money(report.price_per_t, None, None, report.currency).split(" (", 1)[0],
        "data": data_lines(report),
        "level": level_of(report),
        "gaps": gaps_of(report),
        "silence": said_first(report),
        "dossiers": report.dossiers,
        "written": written_dossiers(report),
        "missing_tags": [clean(tag, 80) for tag in report.missing_tags],
        "run": health_line(report, run),
        "noted": noted_lines(report),
    }


def noted_lines(report: ReportView) -> list[str]:
    """What was noted beforehand of the hours of a report, one line a note."""
    start, end = report.period_start, report.period_end
    return [item.words for item in in_hours(report.known, start, end)]


def said_first(report: ReportView) -> str:
    """What has to be said before all else: that readings end earlier than the night."""
    return " ".join(clean(gap.first, 200) for gap in report.not_computed if gap.first)


def health_line(report: ReportView, run: RunHealth) -> str:
    """Health of the run: when, how long, what it judged, what it rests on."""
    zone = ZoneInfo(report.zone)
    first, last = (moment_words(moment, zone) for moment in run.window)
    parts = [f"Run {clean(run.run_id, 20)}"]
    if run.finished is not None:
        took = "" if run.took_s is None else f", after {run.took_s:.0f} s"
        parts.append(f"finished {moment_words(run.finished, zone)}{took}")
    parts.append(f"searched {first} to {last}")
    if run.stages:
        parts.append(clean(run.stages, 300))
    if run.previous_end is None:
        parts.append("the first run: nothing to compare with")
    else:
        parts.append(f"the run before knew data to {moment_words(run.previous_end, zone)}")
    held = report.multiplier
    if held is not None:
        factor = quantity(held.value, held.low, held.high, "")
        # Where it comes from stands at the head already when it is worth a warning.
        source = "" if held.beware else f", {clean(held.source, 120)}"
        parts.append(f"kinetic multiplier {factor}{source}")
    parts.append(f"lostpol {clean(run.version, 20)}, description {clean(run.config_hash, 20)}")
    return "; ".join(parts) + "."


def data_lines(report: ReportView) -> list[str]:
    """Rows read and refused, tags with many bad readings, formulas carried too far."""
    beyond = beyond_line(report)
    return [*_rows(report), *_bad_tags(report), *([beyond] if beyond else [])]


def _rows(report: ReportView) -> list[str]:
    if report.sources is None:
        return ["Rows read and refused: no record was given."]
    read, kept = (sum(known(v) or 0 for v in report.sources[n]) for n in ("rows_read", "rows_kept"))
    files = report.sources.height
    if files == 0:
        return ["No export reaches into this period."]
    named = "one export" if files == 1 else f"{files} exports"
    refused = f"{count(read - kept)} refused" if read > kept else "none refused"
    return [f"{count(read)} rows read from {named} that reach into this period, {refused}."]


def _bad_tags(report: ReportView) -> list[str]:
    tags = tag_rows(report)
    if tags is None:
        return ["Bad readings per tag: no count was given."]
    if not tags.much:
        return ["No tag with more than 1 % bad readings."]
    named = [
        f"{tag.name} {'without a reading' if tag.readings == '0' else tag.share}"
        for tag in tags.much[:_TAGS_NAMED]
    ]
    more = len(tags.much) - len(named)
    rest = f" and {more} more" if more else ""
    return [f"Bad readings, of all: {', '.join(named)}{rest}."]
