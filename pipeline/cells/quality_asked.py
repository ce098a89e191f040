"""The question which words of a column of quality are good ones, and what may be answered."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from pipeline.base import Answer, DataError, figure, joined, said


def asked(
    where: str,
    column: str,
    meanings: Mapping[str, str | None],
    seen: Mapping[str, int],
    cell: Callable[[str], str] = lambda _: "",
) -> DataError:
    """Build the question which words of a column are good ones."""
    open_words = [text for text, meaning in meanings.items() if meaning is None][:5]
    told = ", ".join(f'"{printable(text)}"' for text in open_words)
    counts = sorted(((n, t) for t, n in seen.items()), reverse=True)[:6]
    shown = joined(
        ", ",
        [
            said('"{text}" {count} times', text=printable(text), count=figure(count, ","))
            for count, text in counts
        ],
    )
    row = cell(open_words[0]) if open_words else ""
    example = said("\nfor example in the row {row}", row=row) if row else ""
    return DataError(
        said("Readings of quality {told} can be good or bad.", told=told),
        said(
            '{where}\ncolumn "{column}": {shown}{example}',
            where=where,
            column=printable(column),
            shown=shown,
            example=example,
        ),
        said(
            "Say which words mean a good reading, and which a bad one: good_words = [...] and "
            'bad_words = [...] in the [[exports.layout]] of this kind of file ("" is an empty '
            "cell). If another column tells quality, name it: quality_column; if none does, "
            'quality_column = "".'
        ),
        _answers(meanings, seen),
    )


def _answers(meanings: Mapping[str, str | None], seen: Mapping[str, int]) -> list[Answer]:
    """The commonest open word as the good one, or a column that says nothing of quality."""
    good = [t for t, meaning in meanings.items() if meaning == "good"]
    left = sorted((t for t, m in meanings.items() if m is None), key=lambda t: -seen.get(t, 0))
    words = good or left[:1]
    bad = [t for t in meanings if t not in words]
    told = ", ".join(f'"{printable(t)}"' for t in words)
    first = Answer(
        {"good_words": words, "bad_words": bad}, said("{told} is good, all else bad", told=told)
    )
    return [first, Answer({"quality_column": ""}, said("the column does not tell quality"))]


def printable(text: str) -> str:
    """Foreign text fit for a message."""
    return "".join(c if c.isprintable() else " " for c in text[:40])
