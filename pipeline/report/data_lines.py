"""How the data went, in a few lines: rows, bad readings, formulas carried too far."""

from __future__ import annotations

from pipeline.report.beyond import beyond_line
from pipeline.report.tables import tag_rows
from pipeline.report.view import ReportView
from pipeline.words import count, known

_TAGS_NAMED = 3


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
