"""Units as people write them, in five languages, taken apart into factors of known units.

Only the spelling is judged here: ``m³/hora``, ``cubic metres per hour`` and ``m3.h-1`` all become
the same factors, named as a library of units names them (``pipeline.mill.dimensions``). A word
that means several units in the trade (``ton``, ``grad`` alone) is left out: it is asked about.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import Final, NamedTuple

#: Longest text that can be a unit.
_MOST_CHARS: Final = 40

_WORDS: Final[dict[str, str]] = {
    word: unit
    for unit, words in {
        "meter": "m metre metres meter meters metro metros mtr",
        "centimeter": "cm centimetre centimetres centimeter centimetro centimetros zentimeter",
        "millimeter": "mm millimetre millimetres millimeter milimetro milimetros",
        "decimeter": "dm",
        "foot": "ft feet foot pie pies fuss",
        "inch": "in inch inches pulgada pulgadas pulg polegada polegadas zoll pouce pouces",
        "liter": "l lt lts ltr ltrs liter liters litre litres litro litros",
        "milliliter": "ml millilitre mililitro",
        "deciliter": "dl",
        "hectoliter": "hl hectolitre hectolitro hektoliter",
        "kiloliter": "kl",
        "centimeter ** 3": "cc",
        "gallon": "gal gals gallon gallons usgal galon galones galao galoes",
        "imperial_gallon": "impgal ukgal",
        "gram": "g gr gram grams gramme grammes gramm gramo gramos grama gramas",
        "kilogram": "kg kgs kilo kilos kilogram kilograms kilogramm kilogramo kilogramos",
        "milligram": "mg milligram miligramo",
        "microgram": "ug",
        "tonne": "t tonne tonnes tonelada toneladas tonnen tm",
        "short_ton": "shortton shorttons",
        "long_ton": "longton longtons",
        "pound": "lb lbs pound pounds libra libras livre livres pfund",
        "second": "s sec secs second seconds seg segs segundo segundos seconde secondes sek "
        "sekunde sekunden",
        "minute": "min mins minute minutes minuto minutos minuten mn",
        "hour": "h hr hrs hour hours hora horas heure heures std stunde stunden",
        "day": "d day days dia dias jour jours j tag tage",
        "pascal": "pa pascal",
        "hectopascal": "hpa",
        "kilopascal": "kpa kilopascal kilopascals",
        "megapascal": "mpa",
        "bar": "bar bars",
        "millibar": "mbar millibar",
        "psi": "psi",
        "standard_atmosphere": "atm",
        "torr": "torr",
        "millimeter_Hg": "mmhg",
        "inch_Hg": "inhg",
        "centimeter_H2O * 100": "mca mwc mws mce",
        "centimeter_H2O": "cmca cmwc",
        "centimeter_H2O / 10": "mmca mmwc",
        "inch_H2O": "inwc",
        "newton": "n newton",
        "kilonewton": "kn",
        "force_kilogram": "kgf kp",
        "force_pound": "lbf",
        "siemens": "siemens mho mhos",
        "millisiemens": "millisiemens mmho mmhos",
        "microsiemens": "microsiemens umho umhos",
        "milliampere": "ma",
        "ampere": "amp amps ampere",
        "volt": "volt volts",
        "millivolt": "mv",
        "hertz": "hz",
        "kilowatt": "kw",
        "count": "counts count cts raw rohwert",
    }.items()
    for word in words.split()
}
#: What short words mean where the quantity is known.
_WITHIN: Final = {
    "conductivity": {"s": "siemens", "ms": "millisiemens", "us": "microsiemens",
                     "ds": "decisiemens", "micros": "microsiemens"},
    "pressure": {"kg": "force_kilogram", "lb": "force_pound", "lbs": "force_pound",
                 "at": "technical_atmosphere"},
    "any": {"a": "ampere", "ms": "millisiemens", "us": "microsiemens"},
}  # fmt: skip
#: Words that stand for a whole fraction.
_WHOLE: Final = {
    "gpm": "gal/min", "usgpm": "gal/min", "gph": "gal/h", "gpd": "gal/d", "igpm": "impgal/min",
    "cfm": "ft3/min", "cfh": "ft3/h", "cfs": "ft3/s", "cmh": "m3/h", "lpm": "l/min", "lpd": "l/d",
    "lps": "l/s", "lph": "l/h", "tph": "t/h", "tpd": "t/d", "tch": "t/h", "tcd": "t/d",
    "kgh": "kg/h", "kph": "kg/h",
    "mh2o": "mca", "cmh2o": "cmca", "mmh2o": "mmca", "inh2o": "inwc", "mca": "mca",
}  # fmt: skip
_CUBIC: Final = ("cubic", "cu", "cubico", "cubicos", "cubica", "cube", "cubes", "cub", "kubik")
_SQUARE: Final = ("square", "sq", "cuadrado", "quadrado", "carre", "quadrat")
_PER: Final = r"\b(?:per|por|par|pro|je)\b"
_SIGNS: Final = str.maketrans(
    {
        "\u2103": "degc",
        "\u2109": "degf",
        "º": "°",
        "˚": "°",
        "µ": "u",
        "μ": "u",
        "·": "*",
        "⋅": "*",
        "×": "*",
        "∙": "*",
        "⁻": "-",
        "−": "-",
        "∕": "/",
        "÷": "/",
        **dict(zip("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789", strict=True)),
    }
)
_FACTOR: Final = re.compile(
    r"\s*([/*.])?\s*(\d+(?:\.\d+)?(?=\s*[a-z]))?\s*([a-z]+)\s*(?:(?:\^|\*\*)?\s*\(?([+-]?[1-4])\)?)?"
)


class Factor(NamedTuple):
    """One factor of a unit: how many of which unit, to which power."""

    times: str
    unit: str
    power: int


def plain_text(text: str) -> str:
    """Small letters without accents; signs as plain ones, no blanks around."""
    text = unicodedata.normalize("NFC", text.strip()).translate(_SIGNS).casefold()
    parts = unicodedata.normalize("NFKD", text)
    return "".join(c for c in parts if not unicodedata.combining(c)).strip()


@lru_cache(maxsize=4096)
def factors(text: str, within: str = "") -> tuple[Factor, ...] | None:
    """Factors of a unit as written; None for a text that is none.

    Parameters
    ----------
    text : str
    within : {"", "conductivity", "pressure", "any"}
        What the unit is of, where short words mean something else there.
    """
    if len(text) > _MOST_CHARS:
        return None
    plain = plain_text(text)
    plain = _WHOLE.get(plain.replace(".", "").replace(" ", ""), plain)
    plain = re.sub(_PER, "/", plain)
    known = {**_WORDS, **_WITHIN.get(within, {})}
    spelled = _one_word(plain, known)
    found: list[Factor] = []
    place, turned = 0, False
    while place < len(spelled):
        part = _FACTOR.match(spelled, place)
        if part is None or part[3] not in known or (part[1] == "." and not found):
            return None
        if part[1] == "/":
            turned = True
        elif not found and part[1]:
            return None
        power = int(part[4] or 1)
        found.append(Factor(part[2] or "1", known[part[3]], -power if turned else power))
        place = part.end()
        if spelled[place:].strip() in ("", "."):
            break
    return tuple(found) or None


def _one_word(plain: str, known: dict[str, str]) -> str:
    """Text whose cubes and squares are powers: ``cubic metres`` becomes ``metres3``."""
    plain = re.sub(r"\bcu(?:\.\s*|\s+)(?=[a-z])|\bcu(?=ft|m\b|in)", "cubic ", plain)
    plain = re.sub(r"(?<=[a-z])\.(?=\s|/|$)", "", plain)
    plain = re.sub(r"\b(kubik)(?=[a-z])", r"\1 ", plain)
    for words, power in ((_CUBIC, 3), (_SQUARE, 2)):
        either = "|".join(words)
        plain = re.sub(rf"\b(?:{either})\.?\s+([a-z]+)", rf"\g<1>{power}", plain)
        for found in re.finditer(rf"\b([a-z]+)\s+(?:{either})\b\.?", plain):
            if found[1] in known:
                plain = plain.replace(found[0], f"{found[1]}{power}")
    return plain
