"""How the run and its data went, in the few lines a page has for it."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from pipeline.charts import in_hours
from pipeline.report.data_lines import data_lines
from pipeline.report.groups import written_dossiers
from pipeline.report.season import gaps_of, level_of
from pipeline.report.view import ReportView, RunHealth
from pipeline.words import (
    clean,
    clocks_change,
    figure,
    joined,
    moment_words,
    price_words,
    quantity,
    said,
    zone_words,
)


def common_parts(report: ReportView, run: RunHealth) -> dict[str, Any]:
    """What the pages of a night and of a week both show: heads, and how run and data went."""
    zone = ZoneInfo(report.zone)
    return {
        "mill": clean(report.mill),
        "zone": zone_words(report.period_start, zone),
        "clocks_change": clocks_change(report.period_start, report.period_end, zone),
        "price": price_words(report.price_per_t, report.currency),
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
    return joined(" ", (clean(gap.first, 200) for gap in report.not_computed if gap.first))


def health_line(report: ReportView, run: RunHealth) -> str:
    """Health of the run: when, how long, what it judged, what it rests on."""
    zone = ZoneInfo(report.zone)
    first, last = (moment_words(moment, zone) for moment in run.window)
    parts = [said("Run {run_id}", run_id=clean(run.run_id, 20))]
    if run.finished is not None:
        took = (
            ""
            if run.took_s is None or run.stages  # stages tell it better than the search alone
            else said(", after {took_s} s", took_s=figure(run.took_s, ".0f"))
        )
        parts.append(
            said(
                "finished {moment_words}{took}",
                moment_words=moment_words(run.finished, zone),
                took=took,
            )
        )
    if run.stages:
        parts.append(clean(run.stages, 300))
    parts.append(said("searched {first} to {last}", first=first, last=last))
    if run.previous_end is None:
        parts.append(said("the first run: nothing to compare with"))
    else:
        parts.append(
            said(
                "the run before knew data to {moment_words}",
                moment_words=moment_words(run.previous_end, zone),
            )
        )
    held = report.multiplier
    if held is not None:
        factor = said(
            "{value}, 90 % interval)", value=quantity(held.value, held.low, held.high, "")[:-1]
        )
        # Where it comes from stands at the head already when it is worth a warning.
        source = "" if held.beware else said(", {source}", source=clean(held.source, 120))
        parts.append(said("kinetic multiplier {factor}{source}", factor=factor, source=source))
    parts.append(
        said(
            "lostpol {version}, description {config_hash}",
            version=clean(run.version, 20),
            config_hash=clean(run.config_hash, 20),
        )
    )
    return joined("; ", parts) + "."
