"""What a pull did, as lines for a person."""

from __future__ import annotations

from pathlib import Path

from pipeline.pull_ledger import PullResult, SourceLedger
from pipeline.report.text import clean


def pull_lines(result: PullResult, mill: Path, *, corrects: bool) -> list[str]:
    """Rows of each file and what the file shows as a whole; then days, and what to do next."""
    lines = [line for source in result.sources for line in _source_lines(source)]
    conflicts = sum(source.conflicts for source in result.sources)
    if conflicts and corrects:
        lines.append(f"{conflicts} readings contradicted stored ones and replaced them.")
    elif conflicts:
        lines.append(
            f"{conflicts} readings contradict stored ones of the same tag and time; the order of "
            "files decides nothing, a fixed rule does (pipeline/README.md). If these files correct "
            "earlier ones, run it again with --corrects."
        )
    if result.missing_tags:
        tags = ", ".join(result.missing_tags)
        lines.append(f"Tags of the description in none of these files: {tags}")
    if any(source.refused for source in result.sources):
        lines.append(f"To see refused rows: lostpol refused {mill}")
    return [*lines, f"{len(result.days_changed)} days changed. Next: lostpol backfill {mill}"]


def _source_lines(source: SourceLedger) -> list[str]:
    refused = sum(source.refused.values())
    reasons = ", ".join(f"{why.replace('_', ' ')} {n}" for why, n in source.refused.items())
    counts = (
        f"{clean(source.name)}: {source.rows_read} rows read, {source.kept} new, "
        f"{source.merged} known already, {refused} refused" + (f" ({reasons})" * bool(reasons))
    )
    return [counts, *(f"  {clean(note, 300)}" for note in source.notes)]
