"""Names of series that stand in the name of a file or a sheet."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from pipeline.cells import folded

_ENDINGS: Final = re.compile(r"(?i)(?:\.(?:csv|txt|tsv|dat|xlsx?|parquet|gz|zip|zst|zstd))+$")
_PARTS: Final = re.compile(r"[^_\s.\-]+")
#: Parts of a name that say when, not what.
_DATED: Final = re.compile(
    r"(?:19|20)\d{2}(?:\d{2}){0,2}(?:t?\d{4,6})?|(?:\d{1,2}|q[1-4]|[wsk]\d{1,2})"
    r"|(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|ene|abr|ago|set|dic|fev|mai|out|dez|janv|"
    r"fevr|avr|juin|juil|aout|sept|mrz|okt)[a-z]{0,7}\d{0,4}"
)
#: Months, weeks, seasons, years, and the names that sheets get of themselves.
_MONTH: Final = re.compile(
    r"\b(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|ene|abr|ago|set|dic|fev|mai|out|dez|janv|"
    r"fevr|avr|juin|juil|aout|sept|week|semana|semaine|sem|mes|mois|zafra|safra)[a-z]{0,7}"
    r"(?:(?:19|20)?\d{2})?\b"
    r"|\b(?:hoja|sheet|planilha|feuil|folha|tabelle|blad)[a-z]{0,3} ?\d{0,3}\b"
    r"|(?<!\d)(?:19|20)\d{2}(?:[01]\d)?(?!\d)|^\d+$"
)
#: The end of a name that says when: a year and a month, a day, or both the other way round.
_DATED_END: Final = re.compile(
    r"(?:(?:19|20)\d{2}([_\s.\-])[01]?\d(?:\1[0-3]?\d)?|[0-3]?\d([_\s.\-])[01]?\d\2(?:19|20)\d{2})$"
)


def shared_start(names: Sequence[str]) -> str:
    """The characters with which all names begin."""
    first, last = min(names), max(names)
    count = next((k for k, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), None)
    return first[: min(len(first), len(last)) if count is None else count]


def says_when(name: str) -> bool:
    """Tell whether a name of a sheet says when, or nothing, rather than what."""
    return bool(_MONTH.search(folded(name)))


def stem_of(name: str) -> str:
    """File name without its endings."""
    return _ENDINGS.sub("", name)


def names_of_files(files: Sequence[str]) -> list[str]:
    """Series that each of several files of one kind is named after.

    What all of them share at either end, and dates, say nothing of the series.

    Parameters
    ----------
    files : sequence of str
        Names with their endings.

    Returns
    -------
    list of str
        A part of each name; two files may be of the same series. Empty where nothing is left.
    """
    stems = [_without_date(stem_of(name)) for name in files]
    parts = [list(_PARTS.finditer(stem)) for stem in stems]
    words = [[p[0].casefold() for p in found] for found in parts]
    front = _shared(words) if len(set(stems)) > 1 else 0
    back = _shared([w[front:][::-1] for w in words]) if len(set(stems)) > 1 else 0
    if any(len(f) > front and f[front][0].isdigit() for f in parts):
        # A loop number alone is no tag: the letters before it belong to it.
        front = next((k for k in range(front) if not _says_nothing(words[0][k])), front)
    names = []
    for stem, found in zip(stems, parts, strict=True):
        kept = found[front : len(found) - back]
        while kept and _is_dated(kept[-1][0], len(kept)):
            kept = kept[:-1]
        while len(kept) > 1 and _is_dated(kept[0][0], len(kept)) and len(kept[0][0]) >= 4:
            kept = kept[1:]
        names.append(stem[kept[0].start() : kept[-1].end()] if kept else "")
    return names


def _without_date(stem: str) -> str:
    """A name without the date at its end, where something is left."""
    left = _DATED_END.sub("", stem).rstrip("_ .-")
    return left or stem


def _is_dated(part: str, left: int) -> bool:
    text = folded(part)
    # A loop number of two or three digits stands at the end of a tag: only long numbers are dates.
    long = len(text) >= 4 or not text[0].isdigit()
    return left > 1 and long and bool(_DATED.fullmatch(text))


def _says_nothing(part: str) -> bool:
    return bool(
        re.fullmatch(r"(?:hist\w*|export\w*|data|dados|datos|tags?|log|trend\w*|raw)", part)
    )


def _shared(words: Sequence[Sequence[str]]) -> int:
    """How many first parts all names share, never the whole of one."""
    most = min(len(w) for w in words) - 1
    count = 0
    while count < most and len({w[count] for w in words}) == 1:
        count += 1
    return count
