"""What a tag's name and the words beside it say: the quantity, the place, the side, the role.

A text is split into words, each word is read as what it may stand for (`pipeline.places.words`),
and words that belong together become one: "clear juice tank", "tanque de jugo claro" and "TQ JC"
all speak of the clear juice tank. Words of the trade are common practice.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise, product
from typing import Final

from pipeline.places.joined import composed
from pipeline.places.letters import is_letters
from pipeline.places.spelling import folded, senses, tokens_of
from pipeline.places.words import ROLES

#: Readings of one text that are weighed at most.
_MOST_READINGS: Final = 48
#: Ends of a tag that say which value of a controller it is; common practice.
_ENDS: Final = {
    "sp": "r_set_point", "spt": "r_set_point", "sv": "r_set_point", "rsp": "r_set_point",
    "op": "r_output", "mv": "r_output", "out": "r_output", "cv": "r_output", "co": "r_output",
    "pv": "r_value", "tot": "r_total", "sum": "r_total",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class NameParts:
    """What a tag's name says.

    Attributes
    ----------
    words : frozenset of str
        Its parts in small letters, without the instrument's letters and number.
    letters : str
        ISA-5.1 letters that stand before a number, or nothing.
    area : str
        What stands before the letters, or the hundred of the number; tags of one area often stand
        at one place.
    loop : str
        The number behind the letters; tags of one loop share it.
    readings : tuple of frozenset of str
        Concepts that the words may stand for, one set for each way to read them.
    heard : dict of str to str
        Word behind each concept.
    """

    words: frozenset[str]
    letters: str
    area: str
    loop: str = ""
    readings: tuple[frozenset[str], ...] = (frozenset(),)
    heard: tuple[tuple[str, str], ...] = ()

    def word_for(self, concept: str) -> str:
        """The word that was heard as a concept; empty for none."""
        return dict(self.heard).get(concept, "")

    @property
    def roles(self) -> frozenset[str]:
        """Roles that every reading has: set-point, output, total and the like."""
        return frozenset.intersection(*self.readings) & ROLES


def parts_of(name: str) -> NameParts:
    """Take a tag's name, or what is said of it, apart."""
    tokens = tokens_of(name)
    letters, area, loop, spot = _instrument(tokens)
    words = {t for n, t in enumerate(tokens) if not t.isdigit() and n != spot}
    words |= {a + b for a, b in pairwise(tokens) if b.isdigit()}
    spoken = [t for n, t in enumerate(tokens) if n not in (spot, spot + 1)] if letters else tokens
    readings, heard = _read(spoken, letters, folded(name))
    return NameParts(frozenset(words), letters, area, loop, readings, heard)


def _instrument(tokens: list[str]) -> tuple[str, str, str, int]:
    """Letters, area, loop and position of an instrument among the tokens."""
    found = ("", "", "", -5)
    for spot, (token, following) in enumerate(pairwise(tokens)):
        if following.isdigit() and is_letters(token):
            area = " ".join(tokens[:spot])
            if not area and len(following) >= 3:
                area = f"#{following[:-2]}"
            found = (token, area, following, spot)
    return found


def _read(
    tokens: list[str], letters: str, text: str
) -> tuple[tuple[frozenset[str], ...], tuple[tuple[str, str], ...]]:
    """All ways to read the words, and the word behind each concept."""
    fixed, open_senses, heard = [], [], {}
    end = re.search(r"[._/|:\- ]([a-z]{2,3})$", text)
    if end and end[1] in _ENDS and (letters or end[1] != "out"):
        role = _ENDS[end[1]]
        fixed.append((role, len(tokens)))
        heard[role] = end[1]
        tokens = tokens[:-1] if tokens and tokens[-1] == end[1] else tokens
    for found in senses(tokens, instrument=bool(letters)):
        for concept in found.concepts:
            heard.setdefault(concept, found.word)
        if len(found.concepts) == 1:
            fixed.append((found.concepts[0], found.spot))
        elif found.concepts:
            open_senses.append([(concept, found.spot) for concept in found.concepts])
    numbers = {n for n, t in enumerate(tokens) if t.isdigit()}
    readings: list[frozenset[str]] = []
    for choice in product(*open_senses[:6]):
        concepts = composed(sorted([*fixed, *choice], key=lambda c: c[1]), tokens, numbers)
        if concepts not in readings:
            readings.append(concepts)
        if len(readings) >= _MOST_READINGS:
            break
    return tuple(readings), tuple(sorted(heard.items()))
