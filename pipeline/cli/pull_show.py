"""What a pull did, as lines for a person."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from pipeline.lake import reason_words
from pipeline.pull import PullResult, SourceLedger
from pipeline.words import clean, joined, said

#: Tags listed on a line.
_MOST_TAGS: Final = 8


def pull_lines(result: PullResult, mill: Path) -> list[str]:
    """Rows of each file and what the file shows as a whole; then days, and what to do next."""
    lines = [clean(line, 500) for line in result.mended]
    lines += [line for source in result.sources for line in _source_lines(source)]
    conflicts = sum(source.conflicts for source in result.sources)
    stays = sum(source.good_stays for source in result.sources)
    if conflicts:
        lines.append(
            said(
                "{n} good readings contradict others of the same tag and time; the last import "
                "holds (pipeline/README.md).",
                n=conflicts,
            )
        )
    if stays:
        lines.append(
            said(
                "{n} readings are bad in these files and good in the store: the good ones stay. If "
                "the files are right: lostpol pull {mill} FILES... --corrects",
                n=stays,
                mill=mill,
            )
        )
    if result.read_otherwise:
        names = ", ".join(clean(name) for name in result.read_otherwise[:_MOST_TAGS])
        lines.append(
            said(
                "Pulled before and read otherwise then (another zone, layout or version): {names}. "
                "What was read at other moments is still in the store, beside this: if the zone "
                "was wrong, name a new store in the description and pull all exports into it.",
                names=names,
            )
        )
    if result.missing_tags:
        tags = ", ".join(clean(tag) for tag in result.missing_tags[:_MOST_TAGS])
        more = len(result.missing_tags) - _MOST_TAGS
        if more > 0:
            tags = said("{few} and {more} more", few=tags, more=more)
        lines.append(said("Tags of the description in none of these files: {tags}", tags=tags))
    if any(source.refused for source in result.sources):
        lines.append(said("To see refused rows: lostpol refused {mill}", mill=mill))
    days = len(result.days_changed)
    return [
        *lines,
        said("{days} days changed. Next: lostpol backfill {path}", days=days, path=mill),
    ]


def _source_lines(source: SourceLedger) -> list[str]:
    if source.again:
        return [
            said(
                "{file}: pulled before; {rows} rows, 0 new",
                file=clean(source.name),
                rows=source.rows_read,
            )
        ]
    refused = sum(source.refused.values())
    counts = said(
        "{file}: {rows} rows read, {new} new, {merged} known already, {refused} refused",
        file=clean(source.name),
        rows=source.rows_read,
        new=source.kept,
        merged=source.merged,
        refused=refused,
    )
    if source.refused:
        reasons = [
            said("{reason} {n}", reason=reason_words(why), n=n) for why, n in source.refused.items()
        ]
        counts = said("{counts} ({reasons})", counts=counts, reasons=joined(", ", reasons))
    return [counts, *(said("  {note}", note=clean(note, 300)) for note in source.notes)]
