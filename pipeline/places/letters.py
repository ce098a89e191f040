"""Instrument letters of ISA-5.1, an open standard: ``FIC-101`` is a flow, ``FV-101`` its valve.

The first letter says what is measured; letters behind it change that (``D`` a difference, ``F`` a
ratio, ``Q`` a sum) or say what the instrument does with it (``I`` shows, ``T`` transmits, ``C``
controls, ``V`` is a valve, ``Z`` a position, ``S`` a switch, ``A`` an alarm).
"""

from __future__ import annotations

import re
from typing import Final

from features.base import Quantity
from pipeline.places.words import MEANINGS

#: Quantities by the first letter (ISA-5.1; D as density is a user's choice there, common practice).
FIRST: Final[dict[str, tuple[Quantity, ...]]] = {
    "f": ("flow", "imbibition_flow", "lime_flow", "flocculant_flow", "cane_rate"),
    "t": ("temperature",),
    "l": ("level", "mud_level"),
    "a": ("ph", "brix", "turbidity", "conductivity"),
    "p": ("steam_pressure",),
    "w": ("cane_rate", "flow"),
    "d": ("brix",),
}
#: First letters of what a clarification station is not described by (ISA-5.1).
_OTHERS: Final = {
    "s": "a speed",
    "i": "a current",
    "j": "a power",
    "e": "a voltage",
    "z": "a position",
    "h": "a thing set by hand",
    "x": "a thing of its own kind",
    "k": "a time",
    "v": "a vibration",
    "y": "a state",
    "q": "a sum",
    "m": "a moisture",
}
_LETTERS: Final = re.compile(r"[a-z](?:[dfq]?)[itcreyvzsahlq]{1,3}")
#: What letters behind the first make of an instrument, the first that fits.
_DOES_ELSE: Final = (
    (re.compile("v"), "a valve"),
    (re.compile("z"), "a position"),
    (re.compile("q"), "a sum"),
    (re.compile("^d"), "a difference"),
    (re.compile("^f"), "a ratio"),
    (re.compile("s|^a"), "a switch or an alarm"),
    (re.compile("^[^i]*y[^i]*$"), "the output of a controller"),
)
_DOES: Final = re.compile(r"[itcreyvzsq]")


def is_letters(token: str) -> bool:
    """Tell whether a token, with a number behind it, can be an instrument's letters."""
    known = token[:1] in FIRST or (token[:1] in _OTHERS and token not in MEANINGS)
    return known and bool(_LETTERS.fullmatch(token)) and bool(_DOES.search(token[1:]))


def quantities_of(letters: str) -> tuple[Quantity, ...]:
    """Quantities that the first letter allows; none for what no station is described by."""
    return FIRST.get(letters[:1], ())


def no_measurement(letters: str) -> str:
    """What an instrument is that measures nothing of the station; empty for one that may."""
    first, behind = letters[:1], letters[1:]
    if first in _OTHERS:
        return _OTHERS[first]
    for does, what in _DOES_ELSE:
        if does.search(behind):
            return what
    return ""
