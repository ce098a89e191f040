"""What became of each file and each question, in words."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.files import is_moment, shown
from pipeline.intake.intake import Read
from pipeline.intake.question import FileVerdict, Question
from pipeline.intake.remarks import remark
from pipeline.intake.taken import Taken, told
from pipeline.layouts import kind_of


def verdict_of(read: Read, series: int) -> FileVerdict:
    """Verdict on a file whose readings were read."""
    taken, tally = read.taken, read.tally
    refused = {k: n for k, n in tally.refused.items() if n and k not in _NO_READINGS}
    words = [_shape(read)]
    if refused:
        counts = ", ".join(f"{n:,} {k.replace('_', ' ')}" for k, n in sorted(refused.items()))
        words.append(f"refused: {counts}")
    pooled = [s for p in taken.proposals for s in p.pooled]
    if pooled:
        words.append(
            f"{_several(pooled)}: two values that differ at one moment, again and again: several "
            "juices in one column? Left out"
        )
    words += [
        f"no column of it is called as typed: {told({k: v})}" for k, v in taken.absent.items()
    ]
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
        shape = f"one reading a row, its series in {_columns(names)}"
    elif keys.get("shape") == "pairs":
        shape = "times and values side by side"
    elif "tag_columns" in keys:
        shape = f"one column an analysis, the sample in {_columns(keys['tag_columns'])}"
    else:
        shape = "one column a series"
    plan = plans[0] if plans else None
    if plan is None:
        return shape
    times = f'times in "{shown(plan.time, 40)}"' + (
        f' with dates in "{shown(plan.date, 40)}"' if plan.date else ""
    )
    moment = next((m for m in read.moments if m), "")
    like = f" such as {shown(moment, 40)}" if moment else ""
    way = plan.time_formats[0] if plan.time_formats else ""
    like += " (day first)" * way.startswith("%d") + " (month first)" * way.startswith("%m")
    zone = f", zone {plan.time_zone}" if plan.time_zone else ""
    comma = ", decimal comma" if plan.marks.decimal == "," else ""
    return f"{shape}; {times}{like}{zone}{comma}"


def _columns(names: object) -> str:
    listed = names if isinstance(names, list | tuple) else [names]
    return " and ".join(f'"{shown(str(n), 40)}"' for n in listed)


def why_left(taken: Taken) -> str:
    """Why nothing was made of a file that could be opened."""
    if not taken.lists:
        return "there is nothing below its headings"
    names = [name for table in taken.lists for name in table.rows.columns]
    if any(is_moment(name) for name in names):
        return "its first line holds a reading: write a line of headings above it"
    kinds = {kind_of(table.rows[name]) for table in taken.lists for name in table.rows.columns}
    if not kinds.isdisjoint(("moment", "date")):
        return "no column of it holds numbers beside its dates or times"
    return "no column of it holds dates or times, and it is no list of these tags or of vessels"


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
