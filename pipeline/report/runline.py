"""How the run and its data went, in the few lines a page has for it."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from pipeline.report.beyond import beyond_line
from pipeline.report.groups import written_dossiers
from pipeline.report.season import gaps_of, level_of
from pipeline.report.tables import tag_rows
from pipeline.report.view import ReportView, RunHealth
from pipeline.words import (
    clean,
    clocks_change,
    count,
    figure,
    joined,
    known,
    moment_words,
    money,
    quantity,
    said,
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
        "price": money(report.price_per_t, None, None, report.currency).split(said(" ("), 1)[0],
        "data": data_lines(report),
        "level": level_of(report),
        "gaps": gaps_of(report),
        "silence": said_first(report),
        "dossiers": report.dossiers,
        "written": written_dossiers(report),
        "missing_tags": [clean(tag, 80) for tag in report.missing_tags],
        "run": health_line(report, run),
    }


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
            if run.took_s is None
            else said(", after {took_s} s", took_s=figure(run.took_s, ".0f"))
        )
        parts.append(
            said(
                "finished {moment_words}{took}",
                moment_words=moment_words(run.finished, zone),
                took=took,
            )
        )
    parts.append(said("searched {first} to {last}", first=first, last=last))
    if run.stages:
        parts.append(clean(run.stages, 300))
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
        factor = quantity(held.value, held.low, held.high, "")
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


def data_lines(report: ReportView) -> list[str]:
    """Rows read and refused, tags with many bad readings, formulas carried too far."""
    beyond = beyond_line(report)
    return [*_rows(report), *_bad_tags(report), *([beyond] if beyond else [])]


def _rows(report: ReportView) -> list[str]:
    if report.sources is None:
        return [said("Rows read and refused: no record was given.")]
    read, kept = (sum(known(v) or 0 for v in report.sources[n]) for n in ("rows_read", "rows_kept"))
    files = report.sources.height
    if files == 0:
        return [said("No export reaches into this period.")]
    named = said("one export") if files == 1 else said("{files} exports", files=files)
    refused = (
        said("{read} refused", read=count(read - kept)) if read > kept else said("none refused")
    )
    return [
        said(
            "{read} rows read from {named} that reach into this period, {refused}.",
            read=count(read),
            named=named,
            refused=refused,
        )
    ]


def _bad_tags(report: ReportView) -> list[str]:
    tags = tag_rows(report)
    if tags is None:
        return [said("Bad readings per tag: no count was given.")]
    if not tags.much:
        return [said("No tag with more than 1 % bad readings.")]
    named = [
        said(
            "{name} {said}",
            name=tag.name,
            said=said("without a reading") if tag.readings == "0" else tag.share,
        )
        for tag in tags.much[:_TAGS_NAMED]
    ]
    more = len(tags.much) - len(named)
    rest = said(" and {more} more", more=more) if more else ""
    return [said("Bad readings, of all: {named}{rest}.", named=joined(", ", named), rest=rest)]
