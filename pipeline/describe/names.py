"""Words by which tags may be known: neutral parts of names in a few languages, ISA-5.1 letters.

ISA-5.1 (an open standard for instrument tags): the first letter says what is measured, such as F
for flow; A stands for any analysis. Words of the trade are common practice.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from features.base import Quantity

_LETTERS: Final[dict[str, tuple[Quantity, ...]]] = {
    "f": ("flow", "imbibition_flow", "lime_flow", "flocculant_flow"),
    "t": ("temperature",),
    "l": ("level", "mud_level"),
    "a": ("ph", "brix", "turbidity", "conductivity"),
    "p": ("steam_pressure",),
    "w": ("cane_rate",),
    "d": ("brix",),
}
_FUNCTIONS: Final = re.compile(r"[ftlapwd][itrcey]{1,3}")

QUANTITY_WORDS: Final[dict[Quantity, frozenset[str]]] = {
    "temperature": frozenset({"temp", "temperature", "temperatura", "temperatur"}),
    "ph": frozenset({"ph"}),
    "brix": frozenset({"brix", "bx"}),
    "turbidity": frozenset({"turb", "turbidity", "turbidez", "ntu"}),
    "conductivity": frozenset({"cond", "conductivity", "conductividad", "condutividade"}),
    "level": frozenset({"level", "lvl", "nivel", "niveau"}),
    "steam_pressure": frozenset({"steam", "press", "pressure", "vapor", "presion", "pressao"}),
    "cane_rate": frozenset({"cane", "cana", "caña", "crush", "crushing", "tch"}),
    "imbibition_flow": frozenset({"imb", "imbibition", "imbibicion", "embebicao"}),
    "lime_flow": frozenset({"lime", "cal", "milk", "lechada"}),
    "flocculant_flow": frozenset({"floc", "flocculant", "polymer", "floculante", "polimero"}),
    "flow": frozenset({"flow", "caudal", "vazao", "flujo", "debit"}),
}
PLACE_WORDS: Final[dict[str, frozenset[str]]] = {
    "mixed_juice": frozenset({"mj", "mixed", "mixto", "misto", "raw"}),
    "mill": frozenset({"ml", "mill", "mills", "tandem", "molino", "moenda"}),
    "primary_heater": frozenset({"ph", "primary", "heater1", "primario"}),
    "liming_tank": frozenset({"lt", "limed", "liming", "lj", "encalado", "caleado", "preparador"}),
    "secondary_heater": frozenset({"sh", "secondary", "heater2", "secundario"}),
    "flash_tank": frozenset({"ft", "flash"}),
    "settler": frozenset({"st", "settler", "clarifier", "subsider", "decantador", "clarificador"}),
    "clear_juice_tank": frozenset({"ct", "cjt", "cleartank"}),
    "clear_juice_heater": frozenset({"ch", "cjh"}),
    "first_evaporator": frozenset({"ev", "evap", "evaporator", "e1", "evaporador", "effect"}),
}
MUD_WORDS: Final = frozenset({"mud", "lodo", "cachaza", "lama", "underflow", "uf"})
#: Two words together that name a place; the first that fits.
_PAIRS: Final = (
    ("clear_juice_tank", {"clear", "clarified"}, {"tank", "tanque"}),
    ("clear_juice_heater", {"clear", "clarified"}, {"heater", "calentador"}),
    ("liming_tank", {"lime", "limed", "liming"}, {"tank", "tanque"}),
    ("settler", {"clear", "clarified"}, {"juice", "jugo", "caldo"}),
)
#: Analyte of a laboratory series, and the juice it was taken from.
ANALYTE_WORDS: Final = {
    "ph": {"ph"},
    "brix": {"brix", "bx"},
    "pol": {"pol"},
    "purity": {"purity", "pureza", "pty"},
    "rs": {"rs", "reducing", "reductores", "redutores"},
    "lactic": {"lactic", "lactico", "latico"},
    "turbidity": {"turbidity", "turb", "turbidez"},
    "potassium": {"potassium", "k"},
    "chloride": {"chloride", "cl"},
}
SAMPLE_WORDS: Final = {
    ("mixed_juice", ""): {"mj", "mixed", "mixto", "misto"},
    ("liming_tank", "out"): {"lj", "limed", "encalado", "caleado"},
    ("settler", "out"): {"cj", "clear", "clarified", "claro", "clarificado"},
    ("clear_juice_tank", "out"): {"ej", "esj"},
}


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
        What stands before the letters; tags of one area often stand at one place.
    """

    words: frozenset[str]
    letters: str
    area: str


def parts_of(name: str) -> NameParts:
    """Take a tag's name apart."""
    tokens = re.findall(r"[^\W\d_]+|\d+", name.casefold())
    letters, area = "", ""
    for place, (token, following) in enumerate(pairwise(tokens)):
        if following.isdigit() and _FUNCTIONS.fullmatch(token):
            letters, area = token, " ".join(tokens[:place])
    words = {t for t in tokens if not t.isdigit() and t != letters}
    words |= {a + b for a, b in pairwise(tokens) if b.isdigit()}
    return NameParts(frozenset(words), letters, area)


def named_quantities(parts: NameParts) -> tuple[frozenset[Quantity], str]:
    """Quantities that a name speaks of, and how it says so (empty for nothing)."""
    if parts.letters:
        found = _LETTERS[parts.letters[0]]
        text = frozenset(q for q in found if parts.words & _words_of(q))
        return text or frozenset(found), f'letters "{parts.letters.upper()}" (ISA-5.1)'
    for quantity, known in QUANTITY_WORDS.items():
        if hit := sorted(parts.words & known):
            if quantity == "level" and parts.words & MUD_WORDS:
                return frozenset({"mud_level"}), "the words of a mud level"
            return frozenset({quantity}), f'the word "{hit[0]}"'
    return frozenset(), ""


def _words_of(quantity: Quantity) -> frozenset[str]:
    return MUD_WORDS if quantity == "mud_level" else QUANTITY_WORDS[quantity]


def named_places(parts: NameParts) -> dict[str, str]:
    """Places that a name speaks of, each with the word that says so."""
    found = {}
    for place, known in PLACE_WORDS.items():
        # "PH" before the letters of an instrument names its area; alone it is the quantity.
        usable = known if parts.letters else known - {"ph"}
        if hit := sorted(parts.words & usable):
            found[place] = hit[0]
    for place, one, other in _PAIRS:
        if parts.words & one and parts.words & other:
            return {place: " ".join(sorted(parts.words & (one | other)))}
    return found
