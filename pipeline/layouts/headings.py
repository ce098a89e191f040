"""Headings that are a tag of the mill with something beside it: a unit, a word of quality.

``MJ.FI101 [kPa(g)]``, ``MJ.FI101.quality``, ``Qualidade MJ.FI101``, ``SH.TI221 in °F``: which part
is the tag, the mill's description knows.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from typing import Final, NamedTuple

_OPEN, _CLOSE = "[({", "])}"
_BETWEEN: Final = " ._-:/|,;"
#: Words between a tag and its unit, and those that tell two columns of one tag apart.
_IN: Final = re.compile(r"^(?:in|en|em|unit|unidad|unidade|einheit|unité)\s+", re.IGNORECASE)
_STATISTIC: Final = re.compile(
    r"(?i)(?:avg|average|mean|min(?:imum)?|max(?:imum)?|std(?:ev)?|sd|count|sum|total|range|first"
    r"|last|raw|sp|pv|op|set ?point|output|delta|media|média|moyenne|mittel(?:wert)?|\d+)\.?"
)


class Split(NamedTuple):
    """A heading taken apart: the tag, what stands beside it, and whether that is in brackets."""

    tag: str
    beside: str
    bracketed: bool


def split_heading(title: str, tags: Collection[str]) -> Split | None:
    """Tag of the mill that a heading names with something beside it; None without one."""
    if title in tags or len(title) > 200:
        return None
    for tag in sorted((t for t in tags if t and t in title), key=len, reverse=True):
        at = title.find(tag)
        before, behind = title[:at], title[at + len(tag) :]
        if before and behind.strip():
            continue
        rest = behind if behind.strip() else before
        edge = rest[:1] if behind.strip() else rest[-1:]
        if not rest or (edge.isalnum() and edge.isascii()):
            continue
        return _beside(tag, rest.strip())
    return None


def _beside(tag: str, rest: str) -> Split:
    bracketed = bool(rest) and rest[0] in _OPEN and rest[-1] in _CLOSE and _encloses(rest)
    text = rest[1:-1].strip() if bracketed else rest.strip(_BETWEEN)
    if not bracketed and text and text[0] in _OPEN and text[-1] in _CLOSE and _encloses(text):
        bracketed, text = True, text[1:-1].strip()
    return Split(tag, _IN.sub("", text).strip(), bracketed)


def _encloses(text: str) -> bool:
    """Whether the first bracket is closed by the last, as in ``[kPa(g)]``."""
    depth = 0
    for place, char in enumerate(text):
        depth += (char in _OPEN) - (char in _CLOSE)
        if depth == 0:
            return place == len(text) - 1
    return False


def is_statistic(text: str) -> bool:
    """Tell whether a word tells what was made of a tag, so that it is another series."""
    return bool(_STATISTIC.fullmatch(text.strip()))


def bracket_of(title: str) -> str:
    """What stands in brackets at the end of a heading; empty without any."""
    text = title.strip()
    if not text or text[-1] not in _CLOSE or len(text) > 200:
        return ""
    depth = 0
    for place in range(len(text) - 1, -1, -1):
        depth += (text[place] in _CLOSE) - (text[place] in _OPEN)
        if depth == 0:
            return text[place + 1 : -1].strip() if text[:place].strip() else ""
    return ""


def unit_behind(words: str) -> Iterable[str]:
    """Ends of a description that may be a unit: ``in °F``, ``[m3/h]``, the last word or two."""
    if inside := bracket_of(words):
        yield inside
    parts = words.split()
    for count in (1, 2, 3):
        if len(parts) > count:
            yield _IN.sub("", " ".join(parts[-count:]))
