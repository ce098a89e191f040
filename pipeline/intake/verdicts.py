"""What became of each file and each question, in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from pipeline.files import shown
from pipeline.intake.intake import Read
from pipeline.intake.question import FileVerdict, Question
from pipeline.intake.remarks import remark


def verdict_of(read: Read, series: int) -> FileVerdict:
    """Verdict on a file whose readings were read."""
    taken, tally = read.taken, read.tally
    refused = {k: n for k, n in tally.refused.items() if n and k not in _NO_READINGS}
    words = [_shape(read)]
    if refused:
        told = ", ".join(f"{n:,} {k.replace('_', ' ')}" for k, n in sorted(refused.items()))
        words.append(f"refused: {told}")
    pooled = [s for p in taken.proposals for s in p.pooled]
    if pooled:
        words.append(
            f"{_several(pooled)}: two values that differ at one moment, again and again: several "
            "juices in one column? Left out"
        )
    words += [f"asked {q.key}, taken: {q.answer}" for q in taken.questions]
    asked = pooled or any(not q.given for q in taken.questions)
    readings = sum(part.height for part in read.parts)
    return FileVerdict(
        taken.path.name, "asked" if asked else "read", "; ".join(words), series, readings
    )


def _several(names: Sequence[str]) -> str:
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return shown(names[0], 60) + more


#: Cells and columns that hold nothing to be read.
_NO_READINGS = frozenset({"empty_cell", "tag_not_in_mill"})


def _shape(read: Read) -> str:
    """How a file is laid out, in words."""
    keys, plans = read.taken.keys, read.plans
    one = next((p for p in read.taken.proposals if p.one), None)
    if one is not None:
        shape = "one series, named after the file or its sheets"
    elif keys.get("shape") == "long":
        names = keys.get("tag_columns") or [keys.get("tag_column")]
        told = " and ".join(f'"{shown(str(n), 40)}"' for n in names)  # type: ignore[attr-defined]
        shape = f"one reading a row, its series in {told}"
    elif keys.get("shape") == "pairs":
        shape = "times and values side by side"
    elif "tag_columns" in keys:
        told = " and ".join(f'"{shown(str(n), 40)}"' for n in keys["tag_columns"])  # type: ignore[attr-defined]
        shape = f"one column an analysis, the sample in {told}"
    else:
        shape = "one column a series"
    plan = plans[0] if plans else None
    if plan is None:
        return shape
    times = f'times in "{shown(plan.time, 40)}"' + (
        f' with dates in "{shown(plan.date, 40)}"' if plan.date else ""
    )
    way = plan.time_formats[0] if plan.time_formats else ""
    like = f" like {_like(way)}" if "%" in way else ""
    zone = f", zone {plan.time_zone}" if plan.time_zone else ""
    comma = ", decimal comma" if plan.marks.decimal == "," else ""
    return f"{shape}; {times}{like}{zone}{comma}"


def _like(pattern: str) -> str:
    """Write an example of a format, for the 25th of October 2025."""
    return datetime(2025, 10, 25, 14, 30).strftime(pattern.replace("%.f", ""))  # noqa: DTZ001


def file_lines(verdicts: Sequence[FileVerdict]) -> list[str]:
    """Verdicts as comments of the draft."""
    lines = ["# The files, and what became of each:"]
    for v in verdicts:
        count = f" ({v.tags} series, {v.readings:,} readings)" if v.readings else ""
        mark = "CONFIRM: " if v.verdict == "asked" else ""
        lines.append(remark(f"# - {v.name}: {v.verdict}{count}: {mark}{v.words}.", 400))
    return lines


def question_lines(questions: Sequence[Question]) -> list[str]:
    """Questions as comments of the draft, each with its answers."""
    left = [q for q in questions if not q.given]
    if not left:
        return []
    lines = ["# Left open by the exports; the likeliest answer was taken:"]
    for q in left:
        about = f"{q.file}: " if q.file else ""
        lines.append(remark(f"# CONFIRM {q.key}: {about}{q.words}", 400))
        lines += [remark(f"#   {typed}  {words}", 200) for typed, words in q.answers]
    return lines
