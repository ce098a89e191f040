"""Zones in words: what ``UTC-3``, ``(UTC-03:00) Brasilia``, ``EST`` or ``Europe/Paris`` say.

Only what says one thing is taken. The name of a standard time may stand for a clock that changes
in spring or for one that never does, and three letters may name several zones: these are told as
what they are, so that a person can be asked.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

#: The clock of the mill, said in words.
LOCAL: Final = "local"
#: The words say a zone, but not which of several.
OPEN: Final = "open"

_OFFSET: Final = r"([+\-−–])\s?(\d{1,2})(?:[:.h]?([0-5]\d))?"
_BASE: Final = re.compile(rf"(?i)(?<![a-z])(utc|gmt)(?![a-z])\s*(?:{_OFFSET}(?![\d/:.-]))?")
_BARE: Final = re.compile(r"([+\-−–])\s?(\d{1,2})(?:[:.h]?([0-5]\d))?(?:\s?h)?")
_IANA: Final = re.compile(r"\b[A-Z][A-Za-z]+(?:/[A-Za-z0-9_+-]+){1,2}")
_NAMED_TIME: Final = (
    r"(?i)\b(?:standard|daylight|summer|winter|eastern|central|mountain|pacific|atlantic) time\b|"
    r"\bdst\b|\b(?-i:[A-Z]{3}[+-]?\d{1,2}(?:[A-Z]{3})?)\b"
)
_LOCAL: Final = re.compile(
    r"\b(?:local(?:es|e)?|locales?|locaux|locais|lokal\w*|ortszeit\w*|plant time|mill time|"
    r"wall clock)\b"
)
#: Letters of zones in use that no longer stand in the data base of zones (common practice).
_LETTERS: Final = frozenset((
    "BRT", "BRST", "ART", "COT", "PET", "VET", "CLT", "CLST", "BOT", "ECT", "GYT", "UYT", "PYT",
    "MEZ", "MESZ", "OEZ", "OESZ", "WEZ", "WESZ", "HNE", "HAE", "HNC", "HAC", "HNP", "HAP", "HNR",
    "HAR", "HEC", "HEEC", "ICT", "WIB", "PHT", "SGT", "MYT", "THA", "GST", "PKT", "NPT", "BDT",
    "MMT", "IRST", "TRT", "MSK", "SAST", "CAT", "EAT", "WAT", "AEST", "AEDT", "AWST", "ACST",
    "NZST", "NZDT", "ET", "CT", "MT", "PT",
))  # fmt: skip
_EVER_SAME: Final = ("coordinated universal time", "universal time coordinated",
                     "greenwich mean time", "universal time", "temps universel coordonne",
                     "tiempo universal coordinado", "tempo universal coordenado",
                     "koordinierte weltzeit", "weltzeit", "zulu")  # fmt: skip


@dataclass(frozen=True, slots=True)
class ZoneSaid:
    """A zone that some text names.

    Attributes
    ----------
    words : str
        The text.
    zone : str
        IANA name, fixed offset such as ``+05:30``, `LOCAL` or `OPEN`.
    """

    words: str
    zone: str


def folded(text: str) -> str:
    """Small letters without accents."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in parts if not unicodedata.combining(c))


def zone_of(text: str) -> ZoneSaid | None:
    """Zone that a text names and nothing else; None where it names none.

    Parameters
    ----------
    text : str
        What stands where a zone is expected: in brackets, behind "time zone:", in a cell.
    """
    words = text.strip().strip("\"'.,;:").strip()
    plain = re.sub(r"^[\[(]\s*(.*?)\s*[\])]$", r"\1", words)
    if not plain or len(plain) > 120:
        return None
    if zone := _exact(plain):
        return ZoneSaid(words, zone)
    if _LOCAL.search(folded(plain)) and not mentions_zone(plain):
        return ZoneSaid(words, LOCAL)
    return ZoneSaid(words, OPEN) if mentions_zone(plain) else None


def mentions_zone(text: str) -> bool:
    """Tell whether a zone is named somewhere in a text."""
    if _BASE.search(text) or any(_is_iana(name) for name in _IANA.findall(text)):
        return True
    return any(word in zone_letters() for word in re.findall(r"\b[A-Z]{2,5}\b", text)) or bool(
        re.search(_NAMED_TIME, text)
    )


def is_place(text: str) -> bool:
    """Tell whether a text names a city or part of a land after which a zone is called."""
    plain = f" {re.sub(r'[^a-z]+', ' ', folded(text))} "
    return any(f" {place} " in plain for place in _places())


@cache
def _places() -> frozenset[str]:
    """Cities of the data base of zones, and words for parts of lands."""
    cities = {
        folded(name.rsplit("/", 1)[1]).replace("_", " ")
        for name in available_timezones()
        if "/" in name and not name.startswith(("Etc/", "SystemV/", "US/"))
    }
    return frozenset(c for c in cities if len(c) > 3) | {
        "brasilia", "eastern", "central", "mountain", "pacific", "atlantic", "este", "centro",
    }  # fmt: skip


def _exact(text: str) -> str | None:
    """Zone of a text that says one zone only."""
    if folded(text) in _EVER_SAME or text in ("Z", "z"):
        return "UTC"
    rest = re.sub(r"(?i)[\s,(]+(" + "|".join(_EVER_SAME) + r")\)?$", "", text)
    if found := _BASE.fullmatch(rest):
        return offset(found[2], found[3], found[4]) if found[2] else "UTC"
    if found := _BARE.fullmatch(text):
        return offset(found[1], found[2], found[3])
    return text if _is_iana(text) else None


def offset(sign: str, hours: str, minutes: str | None) -> str | None:
    """Fixed offset as ``+05:30``; None where no place has it."""
    minus = sign != "+"
    h, m = int(hours), int(minutes or 0)
    if h > (12 if minus else 14):
        return None
    return "UTC" if not h and not m else f"{'-' if minus else '+'}{h:02}:{m:02}"


def _is_iana(name: str) -> bool:
    if "/" not in name or not re.fullmatch(r"[A-Za-z0-9_+\-/]{3,50}", name):
        return False
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


@cache
def zone_letters() -> frozenset[str]:
    """Letters by which zones are called, such as ``CST``."""
    found = set(_LETTERS)
    for name in available_timezones():
        zone = ZoneInfo(name)
        for year in (2000, 2024):
            for month in (1, 7):
                word = datetime(year, month, 1, tzinfo=zone).tzname() or ""
                if word.isalpha() and word.isupper() and 3 <= len(word) <= 5:
                    found.add(word)
    return frozenset(found - {"UTC", "GMT"})
