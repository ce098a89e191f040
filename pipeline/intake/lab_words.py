"""Words by which books of a laboratory name sampling points, analyses and composites.

English, Spanish, Portuguese and French, with the trade's usual abbreviations (common practice).
A word that means different juices in different mills is left out: it is asked about.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from features.base import Analyte, Basis, Port
from pipeline.cells import folded

Point = tuple[str, Port]

MIXED: Final[Point] = ("mixed_juice", "")
LIMED: Final[Point] = ("liming_tank", "out")
CLEAR: Final[Point] = ("settler", "out")
MUD: Final[Point] = ("settler", "mud")
TANK: Final[Point] = ("clear_juice_tank", "out")
SYRUP: Final[Point] = ("syrup", "")
FILTRATE: Final[Point] = ("filtrate", "")
CAKE: Final[Point] = ("filter_cake", "")

_JUICE: Final = r"(?:juices?|jugos?|guarapo|caldos?|jus|jug|cald|jce)"
#: Sampling points, the more particular ones first.
_POINTS: Final[tuple[tuple[Point, str], ...]] = (
    (FILTRATE, rf"filtrates?|filt|[cj] ?filt\w*|filtrat|filtrado"
               rf"|{_JUICE} (?:de )?filtr\w*|filt(?:ered)? {_JUICE}"
               r"|filt juice|filtro caldo|jf|cf|fj"),
    (CAKE, r"(?:filter |press )?cakes?|fcake|torta\w*|cachaza\w*|tourteau\w*|gateau\w*|ecumes?"
           r"|bagacillo cake"),
    (MUD, r"muds?|lodos?|boues?|underflow|borra|barro"),
    (SYRUP, r"syrups?|liquor|mel|syr|siro[pb]s?|jarabe\w*|meladura\w*|melado|xarope\w*|sirope"),
    (TANK, r"esj|ej|evap\w* (?:supply|feed)\w*"
           rf"|{_JUICE} (?:a|para|pour|aux?) (?:los |les |os )?evap\w*"
           rf"|pre ?evap\w*|{_JUICE} evap\w*"),
    (MIXED, rf"mixed|mezclad\w*|mixto|misto|melang\w*|mixte|dilue?|diluid[oa]|raw juice"
            rf"|mj|mjuice|jm|cm|[cj] ?m(?:ist|ix|ez)\w*"
            rf"|{_JUICE} mez\w*|mezcl|{_JUICE} mist\w*|caldo bruto|{_JUICE} crudo"),
    (LIMED, r"limed|encalad\w*|alcaliz\w*|calead\w*|calad[oa]|dosad[oa]|chaul\w*|lj|je|jenc"
            r"|jlim\w*|limado|[cj] ?cal\w*|c ?dos\w*|j ?(?:enc|alc|chaul)\w*"),
    (CLEAR, r"clear|clarif\w*|clar[oa]|clair\w*|decantad\w*|decante\w*|cj|jc|jcl\w*"
            r"|clarj\w*|[cj] ?cl(?:ar|air)\w*"),
)  # fmt: skip
_ANALYTES: Final[tuple[tuple[Analyte, str], ...]] = (
    ("rs", r"rs|red|ar|a r|az red\w*|azucares? red\w*|acucares red\w*|sucres? red\w*|s r"
           r"|sr|sred"
           r"|redsug\w*|red sug\w*|reducing|reductor\w*|redutor\w*|reducteur\w*|invert\w*"
           r"|glucos[ae]\w*"),
    ("lactic", r"lactic\w*|lactat\w*|latico|lactique|ac lact\w*|lact"),
    ("dextran", r"dextran\w*|dxn"),
    ("phosphate", r"phosphat\w*|fosfat\w*|p2 ?o5|po4|p o4"),
    ("potassium", r"potass\w*|potas\w*|k2 ?o|k"),
    ("chloride", r"chlorid\w*|clorur\w*|cloret\w*|chlorur\w*|cl"),
    ("turbidity", r"turb\w*|ntu"),
    ("colour", r"colou?r\w*|couleur|cor|icumsa|colorac\w*"),
    ("ph", r"ph|p h"),
    ("purity", r"purity|pureza\w*|purete\w*|pty|pza|purz|pur"),
    ("brix", r"brix|bx|solidos sol\w*|ref brix"),
    ("pol", r"pol|polar\w*|pol\w{0,2}"),
)  # fmt: skip
_TOTAL: Final = re.compile(r"\b(?:tot\w*|art|tsai|hidrol\w*|hydrol\w*)\b")
_SOLIDS: Final = (
    r"(?:brix|sol|bx|solids?|solidos?|ms|ds|m s|s ?t|sst|mat\w* seche?s?|dry \w+|solubles)"
)
_SUCROSE: Final = r"(?:pol|sucre|sucrose|sacarose|sacarosa|saccharose)"
_ON: Final = r"(?:on|sobre|s|sur|por|pct|per|p|100|por ciento|de|en|en la|por cento|base|ratio)"
_BASES: Final[tuple[tuple[Basis, re.Pattern[str]], ...]] = (
    ("solids", re.compile(rf"\b{_ON} {_SOLIDS}\b|\b(?:rs|ar|sr) {_SOLIDS}\b|\b{_SOLIDS} basis\b")),
    ("pol", re.compile(rf"\b{_ON} {_SUCROSE}\b|\b(?:rs|ar|sr) pol\b|\bpol basis\b|\bratio\b"
                       r"|\bcoef\w*\b|\bglucos\w* ratio\b")),
)  # fmt: skip
_COMPOSITE: Final = re.compile(
    r"\b(?:comp|composit\w*|compuest\w*|compost[oa]s?|compos|compose\w*|composee?|moyen\w*|media"
    r"|promedio\w*|averag\w*|acumulad\w*|cumul\w*|24 ?h\w*|diari[oa]s?|daily|journali\w*|jour"
    r"|dia|dmed|prom)\b"
)


@lru_cache(maxsize=8192)
def spaced(text: str) -> str:
    """Words of a name in small letters without accents, one blank between them."""
    parted = text[:200].replace("pH", " ph ")
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", parted)
    parted = folded(parted).replace("%", " pct ")
    parted = re.sub(r"(?<=[a-z])(?=\d)|(?<=\d)(?=[a-z])", " ", parted)
    words = " ".join(re.findall(r"[a-z]+|\d+", parted))
    for joined, apart in (("p 2 o 5", "p2o5"), ("po 4", "po4"), ("k 2 o", "k2o")):
        words = words.replace(joined, apart)
    return words


def point_of(text: str) -> tuple[Point, str] | None:
    """Sampling point that a text names, with the words that say so."""
    words = spaced(text)
    found = [(p, hit[0]) for p, pattern in _POINTS if (hit := _find(pattern, words))]
    if not found:
        return None
    # Whole words outweigh abbreviations of two letters.
    long = [f for f in found if len(f[1]) > 2]
    return (long or found)[0]


def says_point(text: str) -> bool:
    """Tell whether a cell names a sampling point of the station or the mill."""
    return point_of(text) is not None


def analyte_of(text: str) -> tuple[Analyte, str] | None:
    """Analysis that a text names, with the words that say so; None also for another analysis."""
    words = spaced(text)
    if _TOTAL.search(words):
        return None
    for analyte, pattern in _ANALYTES:
        if hit := _find(pattern, words):
            return analyte, hit[0]
    return None


def basis_of(text: str) -> Basis:
    """What reducing sugars are a share of."""
    words = spaced(text)
    return next((basis for basis, pattern in _BASES if pattern.search(words)), "juice")


def says_composite(text: str) -> bool:
    """Tell whether a text speaks of samples gathered over a time."""
    return bool(_COMPOSITE.search(spaced(text)))


def _find(pattern: str, words: str) -> re.Match[str] | None:
    return re.search(rf"\b(?:{pattern})\b", words)
