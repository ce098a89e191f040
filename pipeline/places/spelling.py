"""Words of a tag's name: parted where names join them, known where cut short or misspelt."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeAlias

from pipeline.places.words import ALONE_ONLY, EMPTY, MEANINGS, ROLES

#: Letters that stand for a quantity by themselves at the start or end of a name.
_LETTER: Final = {
    "t": ("q_temp",), "f": ("q_flow",), "q": ("q_flow",), "p": ("q_press",), "l": ("q_level",),
    "n": ("q_level",),
}  # fmt: skip
#: Shortest word of which a beginning, or a misspelling, is taken for it.
_CUT_CHARS: Final = 4
#: Length of the code of an area before instrument letters, which may be the start of a word.
_AREA_CHARS: Final = 3
_TYPO_CHARS: Final = 6
_TYPO_LIKENESS: Final = 0.84
#: Longest name taken apart.
_MOST_CHARS: Final = 160
#: "2nd effect", "1er effet", "3º efecto": the number then goes behind, as in "effect 2".
_ORDINAL: Final = re.compile(
    r"\b(\d)(?:st|nd|rd|th|er|ere|eme|e|o|a|ro|do|to|ra|da)[\s._\-]*([^\W\d_]+)", re.IGNORECASE
)
#: Words between others in a joined word.
_LINKS: Final = frozenset(("de", "do", "da", "del"))
_Parting: TypeAlias = tuple[float, tuple[tuple[str, tuple[str, ...]], ...]]
#: Concepts whose words are told from others by one letter; these must be spelled right.
_SPELLED: Final = ROLES | {"bottom", "top", "in", "out", "to"}
_LONG_WORDS: Final = sorted(w for w in MEANINGS if len(w) >= _TYPO_CHARS - 1 and "_" not in w)


@dataclass(frozen=True, slots=True)
class Sense:
    """A word, where it stands, and the concepts it may stand for."""

    word: str
    spot: int
    concepts: tuple[str, ...]


def folded(text: str) -> str:
    """Small letters without accents, no blanks around."""
    parts = unicodedata.normalize("NFKD", text[:_MOST_CHARS])
    return "".join(c for c in parts if not unicodedata.combining(c)).casefold().strip()


def tokens_of(text: str) -> list[str]:
    """Words and numbers of a name, in order, in small letters without accents.

    Words joined by a change of case (``MJFlow``, ``CJpH``) or by a number are parted.
    """
    parts = unicodedata.normalize("NFKD", text[:_MOST_CHARS])
    plain = "".join(c for c in parts if not unicodedata.combining(c))
    plain = re.sub(r"pH(?![a-z])", " ph ", plain)
    plain = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})", " ", plain)
    plain = _ORDINAL.sub(r"\2 \1 ", plain)
    return re.findall(r"[^\W\d_]+|\d+", plain.casefold())


def senses(tokens: Sequence[str], *, instrument: bool) -> list[Sense]:
    """What each word may stand for; words that say nothing are left out.

    Parameters
    ----------
    tokens : sequence of str
    instrument : bool
        The name has instrument letters, so that a short word before them names an area.
    """
    found: list[Sense] = []
    skip = -1
    for spot, token in enumerate(tokens):
        if spot <= skip or token.isdigit():
            continue
        following = tokens[spot + 1] if spot + 1 < len(tokens) else ""
        if following and f"{token}_{following}" in MEANINGS:
            found.append(Sense(f"{token} {following}", spot, MEANINGS[f"{token}_{following}"]))
            skip = spot + 1
            continue
        if f"{token}{following}" in MEANINGS and following.isdigit():
            found.append(
                Sense(f"{token}{following}", spot, MEANINGS[token + following] + known(token))
            )
            continue
        if len(token) == 1:
            at_end = spot == 0 or all(t.isdigit() for t in tokens[spot + 1 :])
            if at_end and _speaks(tokens, spot) and token in _LETTER and not instrument:
                found.append(Sense(token, spot, _LETTER[token]))
            elif token == "a" and following and known(following):
                found.append(Sense(token, spot, ("to",)))
            continue
        if instrument and token == "ph":
            found.append(Sense(token, spot, ("primary_heater", "q_ph")))
            continue
        if concepts := known(token) or _lettered(token):
            found.append(Sense(token, spot, concepts))
        elif instrument and len(token) == _AREA_CHARS:
            found += [Sense(token, spot, concepts) for concepts in [begun_by(token)] if concepts]
        elif token not in EMPTY and not (instrument and len(token) < _AREA_CHARS):
            found += [Sense(part, spot, concepts) for part, concepts in parted(token)]
    return found


@lru_cache(maxsize=8192)
def known(token: str) -> tuple[str, ...]:
    """Concepts of a word as written, in the plural, cut short or misspelt; none where unknown."""
    if token in MEANINGS:
        return MEANINGS[token]
    if token in EMPTY:
        return ()
    if token.endswith("s") and token[:-1] in MEANINGS and len(token) > 4:
        return MEANINGS[token[:-1]]
    if len(token) >= _CUT_CHARS and (concepts := begun_by(token)):
        return concepts
    if len(token) >= _TYPO_CHARS:
        near = difflib.get_close_matches(token, _LONG_WORDS, 1, _TYPO_LIKENESS)
        if near and not set(MEANINGS[near[0]]) & _SPELLED:
            return MEANINGS[near[0]]
    return ()


@lru_cache(maxsize=8192)
def begun_by(token: str) -> tuple[str, ...]:
    """Concepts of the words that a text begins; none where these are more than two."""
    begun = {c for w, found in MEANINGS.items() if w.startswith(token) for c in found}
    return tuple(sorted(begun)) if 0 < len(begun) <= 2 else ()


def _speaks(tokens: Sequence[str], spot: int) -> bool:
    """Tell whether another word of a name is known, so that a letter beside it means something."""
    others = (t for n, t in enumerate(tokens) if n != spot and len(t) > 1 and not t.isdigit())
    return any(known(t) or parted(t) for t in others)


def _lettered(token: str) -> tuple[str, ...]:
    """Concepts of a word with a letter behind it that counts: ``secb``, ``heatera``."""
    return MEANINGS.get(token[:-1], ()) if len(token) > 3 and token[-1] in "abc" else ()


@lru_cache(maxsize=8192)
def parted(token: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Known words joined to a token, as in ``jugoclaro`` or ``tjc``; none where some is left."""
    if not 3 <= len(token) <= 30 or not token.isascii():
        return ()
    best = _parting(token, first=True)
    return best[1] if best is not None else ()


@lru_cache(maxsize=65536)
def _parting(rest: str, *, first: bool) -> _Parting | None:
    """Cheapest way to part a text into known words: few and long ones."""
    if not rest:
        return 0.0, ()
    best: _Parting | None = None
    for size in range(len(rest) - first, 0, -1):
        piece = rest[:size]
        concepts, cost = _piece(piece, at_end=first or size == len(rest))
        if not concepts and (first or piece not in _LINKS):
            continue
        behind = _parting(rest[size:], first=False)
        if behind is None:
            continue
        whole = (cost + behind[0], ((piece, concepts), *behind[1]))
        if best is None or whole[0] < best[0]:
            best = whole
    return best


def _piece(piece: str, *, at_end: bool) -> tuple[tuple[str, ...], float]:
    """Concepts of a piece of a joined word as it is written, and what taking it costs."""
    if len(piece) == 1:
        return (_LETTER.get(piece, ()) if at_end else ()), 2.5
    concepts = () if piece in ALONE_ONLY else MEANINGS.get(piece, ())
    return concepts, 1.0 if len(piece) >= 4 else 1.6 if len(piece) == 3 else 2.0
