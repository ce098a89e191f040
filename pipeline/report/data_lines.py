"""How the data went, in a few lines: rows, bad readings, formulas carried too far."""

from __future__ import annotations

from pipeline.report.beyond import beyond_line
from pipeline.report.tables import tag_rows
from pipeline.report.view import ReportView
from pipeline.words import count, joined, known, said

_TAGS_NAMED = 3


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
