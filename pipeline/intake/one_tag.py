"""Names of series that stand in the name of a file or a sheet."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from pipeline.cells import folded, month_of

_ENDINGS: Final = re.compile(r"(?i)(?:\.(?:csv|txt|tsv|dat|xlsx?|parquet|gz|zip|zst|zstd))+$")
_PARTS: Final = re.compile(r"[^_\s.\-]+")
#: Parts of a name that say when, not what.
_DATED: Final = re.compile(
    r"(?:19|20)\d{2}(?:\d{2}){0,2}(?:t?\d{4,6})?|(?:\d{1,2}|q[1-4]|[wsk]\d{1,2})"
)
_WORD: Final = re.compile(r"([a-z]{3,12})((?:19|20)?\d{0,2})")
#: Short months that are other words in names of tags.
_OTHER_WORDS: Final = frozenset({"out", "set", "mar", "sep", "may", "mai"})
#: Weeks, seasons, years, and the names that sheets get of themselves.
_MONTH: Final = re.compile(
    r"\b(?:week|semana|semaine|sem|mes|mois|zafra|safra)s?(?:(?:19|20)?\d{2})?\b"
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
    text = folded(name)
    words = re.findall(r"[a-z]+\d*", text)
    return bool(_MONTH.search(text)) or any(_is_month(word) for word in words)


def _is_month(word: str) -> bool:
    """A month by its name, in full or in three letters and more, a year behind it or not."""
    found = _WORD.fullmatch(word)
    return found is not None and month_of(found[1]) is not None


def stem_of(name: str) -> str:
    """File name without its endings."""
    return _ENDINGS.sub("", name)


def names_of_files(files: Sequence[str]) -> list[str]:
    """Series that each of several files of one kind is named after.

    Words such as "export" at either end, and dates, say nothing of the series. What all names
    share may well be a part of the tags: it stays.

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
    names = []
    for stem in stems:
        kept = list(_PARTS.finditer(stem))
        while len(kept) > 1 and _says_nothing(kept[-1][0].casefold()):
            kept = kept[:-1]
        while kept and _is_dated(kept[-1][0], len(kept)):
            kept = kept[:-1]
        while len(kept) > 1 and (
            _says_nothing(kept[0][0].casefold())
            or (_is_dated(kept[0][0], len(kept)) and len(kept[0][0]) >= 4)
        ):
            kept = kept[1:]
        names.append(stem[kept[0].start() : kept[-1].end()] if kept else "")
    return names


def _without_date(stem: str) -> str:
    """A name without the dates at its end, where something is left."""
    left = _DATED_END.sub("", stem).rstrip("_ .-")
    if not left or left == stem:
        return stem
    return _without_date(left)


def _is_dated(part: str, left: int) -> bool:
    text = folded(part)
    if _is_month(text) and left > 1:
        return text not in _OTHER_WORDS
    # A loop number of two or three digits stands at the end of a tag: only long numbers are dates.
    long = len(text) >= 4 or not text[0].isdigit()
    return left > 1 and long and bool(_DATED.fullmatch(text))


def _says_nothing(part: str) -> bool:
    return bool(
        re.fullmatch(r"(?:hist\w*|export\w*|data|dados|datos|tags?|log|trend\w*|raw)", part)
    )
