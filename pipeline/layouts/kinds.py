"""What the cells of a column are: moments, dates, times of day, halves of the day, zones.

A column is judged by what stands in it; what it is called only settles what its cells leave open.
"""

from __future__ import annotations

import re
from typing import Final, Literal

import polars as pl

from pipeline.cells import EPOCHS, OPEN, SERIAL, folded, number_word, zone_of

Kind = Literal["moment", "date", "clock", "half", "zone", "number", "words", "empty"]

#: Cells looked at, and the share of them that must be of a kind.
_SAMPLE: Final = 1000
_SHARE: Final = 0.5
_MOST_ZONES: Final = 50
_WEEKDAY: Final = r"(?:\p{L}{2,10}[.,]{0,2} )?"
_DATE: Final = (
    _WEEKDAY + r"(?:\d{4}[-/]\d{2}[-/]?\d{2}|\d{4}\.\d{2}\.\d{2}"
    r"|(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])"
    r"|\d{1,4}[-./ ]\s?(?:\d{1,2}|\p{L}{3,10}\.?)[-./ ,]+\d{2,4}"
    r"|\d{1,2}\.? (?:de )?\p{L}{3,10}\.?,? (?:de )?\d{2,4}|\d{1,2}\p{L}{3}\d{2,4}"
    r"|\p{L}{3,10}\.? \d{1,2}(?:st|nd|rd|th)?,? \d{4})"
)
_CLOCK: Final = (
    r"\d{1,2}(?::\d{2}(?::\d{2}(?:[.,:]\d+)?)?|[hH]\d{0,2})"
    r"(?:\s*(?:[AaPp]\.?\s?[Mm]\.?|[AaPp]|Uhr|h))?"
)
_DATED: Final = rf"^\s*{_DATE}"
_DATE_ALONE: Final = rf"^\s*{_DATE}(?:[T ]+0?0:00(?::00(?:\.0+)?)?)?\s*$"
_CLOCK_ALONE: Final = rf"^\s*{_CLOCK}\s*$"
_COMPACT: Final = r"^\s*\d{8}[T ]?\d{4}(?:\d{2})?\s*$"
_WITH_CLOCK: Final = r"\d[:hH.]\d{2}|T\d{4}|[ T]\d{4,6}\s*$"
_HALF: Final = r"^\s*[AaPp]\.?\s?[Mm]\.?\s*$"
_NUMBER: Final = r"^\s*[<>]?[+-]?[\d.,' ]*\d[\d.,]*(?:[eE][+-]?\d+)?\s*$"

_TYPED: Final[tuple[tuple[Kind, tuple[type[pl.DataType], ...]], ...]] = (
    ("moment", (pl.Datetime,)), ("date", (pl.Date,)), ("clock", (pl.Time,)),
)  # fmt: skip


def kind_of(column: pl.Series) -> Kind:
    """Kind of most cells of a column that are not empty."""
    dtype = column.dtype
    for kind, types in _TYPED:
        if isinstance(dtype, types):
            return kind
    if dtype != pl.String:
        return "number" if dtype.is_numeric() else "words"
    cells = filled(column)
    return _kind_of_text(cells) if len(cells) else "empty"


def _kind_of_text(cells: pl.Series) -> Kind:
    tries: tuple[tuple[Kind, str], ...] = (
        ("half", _HALF),
        ("clock", _CLOCK_ALONE),
        ("moment", _COMPACT),
    )
    for kind, pattern in tries:
        if _share(cells, pattern) > _SHARE:
            return kind
    if _share(cells, _DATED) >= _SHARE:
        if _share(cells, _DATE_ALONE) > _SHARE:
            return "date"
        return "moment" if _share(cells, _WITH_CLOCK) >= _SHARE else "words"
    if _share(cells, _NUMBER) > _SHARE:
        return "number"
    return "zone" if says_zones(cells) else "words"


def filled(column: pl.Series) -> pl.Series:
    """The first cells of a text column that hold something."""
    cells = column.head(20 * _SAMPLE).drop_nulls()
    return cells.filter(cells.str.strip_chars() != "").head(_SAMPLE)


def is_counted(column: pl.Series) -> bool:
    """Tell whether a column holds seconds since 1970 or days of a spreadsheet."""
    cells = column.drop_nulls().head(_SAMPLE)
    word = number_word(cells) if len(cells) else None
    return word is not None and (word in EPOCHS or word == SERIAL)


def says_zones(cells: pl.Series, *, open_too: bool = False) -> bool:
    """Tell whether every cell names a zone; `open_too` also by letters such as EST."""
    words = cells.unique().head(_MOST_ZONES + 1).to_list()
    return len(words) <= _MOST_ZONES and all(
        (said := zone_of(word)) is not None
        and (open_too or (said.zone != OPEN and len(word.strip()) > 1))
        and not re.fullmatch(r"\s*[+-]?\d+(?:\.\d+)?\s*", word)
        for word in words
    )


def says_offsets(cells: pl.Series) -> bool:
    """Tell whether every cell is one of a few offsets written as a signed number."""
    words = cells.unique().head(4).to_list()
    return len(words) < 4 and all(re.fullmatch(r"\s*[+-](?:\d{1,2}|\d{4})\s*", w) for w in words)


def _share(cells: pl.Series, pattern: str) -> float:
    return int(cells.str.contains(pattern).sum()) / len(cells)


#: Words that stand in the headings of moments, without accents.
_TIME_WORDS: Final = frozenset((
    "time", "times", "timestamp", "datetime", "date", "day", "ts", "stamp", "sampled", "clock",
    "zeit", "zeitstempel", "zeitpunkt", "datum", "uhrzeit", "fecha", "hora", "horario", "momento",
    "instante", "data", "dia", "horodatage", "horodate", "heure", "jour", "utc", "gmt", "taken",
    "when",
))  # fmt: skip
_HOUR_WORDS: Final = frozenset((
    "hour", "hours", "hr", "hrs", "h", "time", "clock", "hhmm", "hora", "horas", "heure", "heures",
    "uhrzeit", "zeit", "stunde", "uhr",
))  # fmt: skip
_SAMPLING: Final = re.compile(
    r"sampl|taken|collect|drawn|muestr|toma\b|coleta|colhe|amostr|prelev|echantill|probe|entnahm|"
    r"entnomm|measured|medid|medic|gemessen|messzeit|mesure"
)
_ZONE_WORDS: Final = re.compile(
    r"\b(?:tz|time ?zone|timezone|zeitzone|fuso(?: horario)?|huso(?: horario)?|zona horaria|"
    r"fuseau(?: horaire)?|(?:utc|gmt)[ _-]?offset\w*|offset.*(?:utc|gmt)|tz ?offset)\b"
)


def heading_words(heading: str) -> list[str]:
    """Words of a heading in small letters without accents."""
    text = re.sub(r"([a-z])([A-Z])", r"\1 \2", heading)
    return re.findall(r"[a-z]+", folded(text))


def sounds_like_time(heading: str) -> bool:
    """Tell whether a heading may name moments."""
    return not _TIME_WORDS.isdisjoint(heading_words(heading))


def sounds_like_hours(heading: str) -> bool:
    """Tell whether a heading may name hours of the day."""
    return not _HOUR_WORDS.isdisjoint(heading_words(heading))


def says_sampling(heading: str) -> bool:
    """Tell whether a heading names the moment at which a sample was taken or measured."""
    return bool(_SAMPLING.search(folded(heading)))


def sounds_like_zone(heading: str) -> bool:
    """Tell whether a heading names zones or offsets from UTC."""
    text = folded(heading.replace("_", " "))
    return bool(_ZONE_WORDS.search(text) or _ZONE_WORDS.search(folded(heading)))
