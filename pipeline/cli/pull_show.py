"""What a pull did, as lines for a person."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from pipeline.pull import PullResult, SourceLedger
from pipeline.words import clean

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
            f"{conflicts} good readings contradict others of the same tag and time; the last "
            "import holds (pipeline/README.md)."
        )
    if stays:
        lines.append(
            f"{stays} readings are bad in these files and good in the store: the good ones stay. "
            f"If the files are right: lostpol pull {mill} FILES... --corrects"
        )
    if result.read_otherwise:
        names = ", ".join(clean(name) for name in result.read_otherwise[:_MOST_TAGS])
        lines.append(
            f"Pulled before and read otherwise then (another zone, layout or version): {names}. "
            "What was read at other moments is still in the store, beside this: if the zone was "
            "wrong, name a new store in the description and pull all exports into it."
        )
    if result.missing_tags:
        tags = ", ".join(clean(tag) for tag in result.missing_tags[:_MOST_TAGS])
        more = len(result.missing_tags) - _MOST_TAGS
        tags += f" and {more} more" * (more > 0)
        lines.append(f"Tags of the description in none of these files: {tags}")
    if any(source.refused for source in result.sources):
        lines.append(f"To see refused rows: lostpol refused {mill}")
    return [*lines, f"{len(result.days_changed)} days changed. Next: lostpol backfill {mill}"]


def _source_lines(source: SourceLedger) -> list[str]:
    if source.again:
        return [f"{clean(source.name)}: pulled before; {source.rows_read} rows, 0 new"]
    refused = sum(source.refused.values())
    reasons = ", ".join(f"{why.replace('_', ' ')} {n}" for why, n in source.refused.items())
    counts = (
        f"{clean(source.name)}: {source.rows_read} rows read, {source.kept} new, "
        f"{source.merged} known already, {refused} refused" + (f" ({reasons})" * bool(reasons))
    )
    return [counts, *(f"  {clean(note, 300)}" for note in source.notes)]
