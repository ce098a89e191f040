"""Lines of headings: which of them holds the tags, and what the others say of them."""

from __future__ import annotations

import re
from typing import Final

from pipeline.files import Head, bare_unit
from pipeline.mill import is_unit

#: A text without blanks that holds a digit or parts its letters by marks: like a tag, not a word;
#: pH is written so and is none.
TAG_LIKE: Final = re.compile(r"(?!pH$)(?=.*(?:[\d_.:/\-]|[a-z][A-Z]))[^\s]{2,60}")


def title_of(head: Head | None, column: str) -> str:
    """Heading of a column without its unit."""
    if head is None:
        return column
    return head.tags[head.names.index(column)] if column in head.names else column


def heading_lines(head: Head | None, values: list[str]) -> tuple[list[str], dict[str, str]]:
    """Name of each column, from the line of headings that looks most like tags, and its words."""
    own = [title_of(head, v) for v in values]
    if head is None:
        return own, {}
    place = [head.names.index(v) for v in values if v in head.names]
    if len(place) != len(values):
        return own, {}
    lines = [own]
    for row in (*head.below, *head.above[-3:]):
        cells = [row[k] if k < len(row) else "" for k in place]
        if sum(bool(c) for c in cells) >= 0.6 * len(cells) and not _of_units(cells):
            lines.append(cells)
    best = max(lines, key=lambda line: (_tagness(line), line is own))
    if _tagness(best) < _tagness(own) + 0.3 or len(set(best)) < len(best):
        best = own
    words = {
        name: " ".join(line[k] for line in lines if line is not best and line[k])
        for k, name in enumerate(best)
    }
    return best, {name: text for name, text in words.items() if text}


def _of_units(cells: list[str]) -> bool:
    filled = [bare_unit(c) for c in cells if c]
    return 2 * sum(is_unit(c) for c in filled) > len(filled)


def _tagness(cells: list[str]) -> float:
    return sum(bool(TAG_LIKE.fullmatch(c)) for c in cells) / max(len(cells), 1)
