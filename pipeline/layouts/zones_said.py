"""Zone of the times of a table, as its headings and the lines above them say it.

Only a phrase that says *the zone of the times* is taken: the heading of the times, or a line such
as "Time zone: UTC-3" or "All times in UTC". A line that gives the moment of an export, a print or
a run says nothing of the readings. Any other line that names a zone is asked about.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from pipeline.base import Answer, DataError, joined, said
from pipeline.cells import (
    LOCAL,
    OPEN,
    ZoneSaid,
    folded,
    is_place,
    mentions_zone,
    zone_letters,
    zone_of,
)
from pipeline.files import is_moment, shown

_OF_TIMES: Final = (
    r"(?:the|all|of|data|readings?|times?|timestamps?|samples?|dates?|hours?|values?|and|shown|"
    r"given|expressed|stored|recorded|displayed|stamped|are|is|in|as|on|"
    r"todas?|todos?|las|los|as|os|la|le|les|de|del|da|das|dos|des|du|der|die|das|y|e|et|und|alle|"
    r"datos|dados|donnees|daten|lecturas|leituras|lectures|messwerte|fechas?|datas?|horas?|"
    r"horarios?|heures?|zeiten|zeitangaben|zeitstempel|uhrzeiten|tempos?|"
    r"sind|son|sao|sont|esta[on]?|est|ist|em|en|im|a|au)"
)
_KEY: Final = (
    r"(?:time ?zone|timezone|tz|zeitzone|fuso(?: horario)?|huso(?: horario)?|zona horaria|"
    r"fuseau(?: horaire)?|utc ?offset|zone)"
)
_NAMED: Final = re.compile(rf"\W*(?:{_OF_TIMES}\W+)*({_KEY})\b(?:\W+{_OF_TIMES}\b)*\W*?[\s:=]+(.+)")
_KEY_ALONE: Final = re.compile(rf"\W*(?:{_OF_TIMES}\W+)*{_KEY}(?:\W+{_OF_TIMES})*\W*")
_TIMES: Final = re.compile(
    r"\W*(?:(?:the|all|las|los|as|os|les|die|alle|todas|todos|toutes|tous)\s+)*"
    r"(?:times?|timestamps?|dates?|hours|readings?|data|samples?|values|fechas?|datas|horas|"
    r"horarios|tempos|heures|zeiten|zeitangaben|zeitstempel|uhrzeiten|datos|dados|donnees|daten|"
    r"lecturas|leituras|messwerte)"
    rf"(?:\W+{_OF_TIMES}\b)*[\s:=]+(.+)"
)
#: Words of lines that tell when the file was made, not when anything was read.
_OF_FILE: Final = re.compile(
    r"creat|gener|export|print|\brun\b|sync|issue|report|saved|extract|download|updat|upload|"
    r"quer|erstellt|gedruckt|erzeugt|ausgegeben|abgerufen|cread|impres|imprim|emit|emis|"
    r"cree|edit|extrai|extrac|gera|criad|salv|backup|version|login|logon"
)
_TIME_IN: Final = re.compile(r"\d{1,2}:\d{2}|\d{4}-\d{2}-\d{2}|\d{1,2}[./]\d{1,2}[./]\d{2,4}")
_LOCAL_TIME: Final = re.compile(
    r"\W*(?:local times?|horas? locale?s?|heures? locales?|horario local|ortszeit|lokalzeit)\W*"
)
_BRACKET: Final = re.compile(r"[\[({]\s*(.+?)\s*[\])}]\s*$")
_IN_NAME: Final = re.compile(r"(?i)(?<![a-z])(?:utc|gmt)(?![a-z])")
_AHEAD: Final = re.compile(r"(?i)(?<![a-z])(?:utc|gmt)(?![a-z]).*$")


@dataclass(frozen=True, slots=True)
class Stated:
    """Zone of the times as the file says it; None: it says nothing, the mill's holds."""

    zone: str | None
    why: str = ""


def heading_zone(heading: str) -> ZoneSaid | None:
    """Zone in the heading of a column of times; None where it names none."""
    heading = heading.strip("\"' ")
    if found := _BRACKET.search(heading):
        said = zone_of(found[1]) or (ZoneSaid(found[1], OPEN) if is_place(found[1]) else None)
        if said is not None:
            return said
    plain = re.sub(r"[\[\](){}]", " ", heading.replace("_", " ")).strip()
    if found := _AHEAD.search(plain):
        return zone_of(re.sub(r"(?i)[\s:]*(?:date|time|stamp|clock)+$", "", found[0]))
    last = plain.split()[-1] if plain else ""
    if plain != last and (last in zone_letters() or mentions_zone(last)):
        return ZoneSaid(last, OPEN)
    local = zone_of(plain) if not mentions_zone(plain) else None
    return local if local and local.zone == LOCAL else None


def stated_zone(
    where: str,
    heading: str,
    above: Sequence[Sequence[str]],
    mill_zone: str,
    example: str,
    called: Sequence[str] = (),
) -> Stated:
    """Zone of times written without one.

    Parameters
    ----------
    where : str
        For messages.
    heading : str
        Of the column of times.
    above : sequence of sequences of str
        Rows above the headings.
    mill_zone : str
        Zone of the mill.
    example : str
        A time as written, for messages.
    called : sequence of str
        Names of sheet, entry and file.

    Raises
    ------
    DataError
        What is said can be read in two ways.
    """
    said = heading_zone(heading)
    if said is not None and said.zone == OPEN:
        raise _open(where, said.words, example, mill_zone)
    if said is not None and said.zone != LOCAL:
        return Stated(said.zone, f'the heading "{shown(heading)}"')
    clear: dict[str, str] = {}
    unclear: list[ZoneSaid] = []
    for phrase in _phrases(above):
        found = _said_of_times(phrase)
        if found is not None and found.zone == OPEN:
            raise _open(where, found.words, example, mill_zone)
        if found is not None:
            clear.setdefault(found.zone, phrase)
        elif (other := _said_of_other(phrase)) is not None:
            unclear.append(other)
    unclear += [ZoneSaid(name, "UTC") for name in called if _IN_NAME.search(name)]
    return _settled(where, clear, unclear, mill_zone, example)


def _settled(
    where: str, clear: dict[str, str], unclear: list[ZoneSaid], mill_zone: str, example: str
) -> Stated:
    """Zone that the phrases agree on."""
    zones = [zone for zone in clear if zone != LOCAL]
    if len(zones) > 1 or (zones == ["UTC"] and LOCAL in clear):
        both = joined(said(" and "), [f'"{shown(clear[zone])}"' for zone in list(clear)[:2]])
        line = said("Lines above the headings contradict each other, {both}: times", both=both)
        raise _asked(where, line, example, zones[0], zones[1] if len(zones) > 1 else mill_zone)
    if zones:
        return Stated(zones[0], f'the line "{shown(clear[zones[0]])}"')
    if not clear:
        for told in unclear:
            if told.zone != mill_zone:
                zone = "UTC" if told.zone == OPEN else told.zone
                line = said(
                    '"{words}" stands above the headings or is a name: times',
                    words=shown(told.words),
                )
                raise _asked(where, line, example, zone, mill_zone)
    return Stated(None)


def _phrases(above: Sequence[Sequence[str]]) -> Iterator[str]:
    """Phrases of the rows above the headings; a key goes with the cell beside it."""
    for row in above:
        cells = [cell for cell in row if cell]
        k = 0
        while k < len(cells):
            cell = cells[k]
            follows = cells[k + 1] if k + 1 < len(cells) else ""
            if follows and (_KEY_ALONE.fullmatch(folded(cell)) or is_moment(follows)):
                cell, k = f"{cell}: {follows}", k + 1
            k += 1
            yield from (p.strip() for p in re.split(r"[;|]|\.(?:\s|$)", cell[:500]) if p.strip())


def _said_of_times(phrase: str) -> ZoneSaid | None:
    """Zone that a phrase gives to the times of the file; None where it speaks of something else."""
    plain = folded(phrase)
    if found := _NAMED.match(plain):
        words = _tail(phrase, plain, found.start(2))
        said = zone_of(words)
        if said is not None or found[1] != "zone":
            return said or ZoneSaid(words, OPEN)
    found = _TIMES.match(plain)
    if found and not _TIME_IN.search(re.sub(r"[+-]\s?\d{1,2}:\d{2}", "", plain)):
        words = _tail(phrase, plain, found.start(1))
        return zone_of(words) or (ZoneSaid(words, OPEN) if is_place(words) else None)
    return ZoneSaid(phrase, LOCAL) if _LOCAL_TIME.fullmatch(plain) else None


def _tail(phrase: str, plain: str, start: int) -> str:
    """The end of a phrase with its capitals, where these keep their places."""
    return phrase[start:] if len(phrase) == len(plain) else phrase[start - len(plain) :]


def _said_of_other(phrase: str) -> ZoneSaid | None:
    """Zone named in a phrase that may or may not speak of the times of the file."""
    plain = folded(phrase)
    bare = re.sub(r"\b[A-Z]{3,5}\b", lambda w: w[0] if w[0] in ("UTC", "GMT") else "", phrase)
    if not mentions_zone(bare):
        return None
    if _TIME_IN.search(re.sub(r"(?:utc|gmt)\s?[+-]\s?\d{1,2}:\d{2}", "", plain)) and (
        _OF_FILE.search(plain)
    ):
        return None
    found = re.search(r"(?i)(?:utc|gmt)\s*[+\-−–]\s?\d{1,2}(?::?\d{2})?(?!\d)", phrase)
    zone = zone_of(found[0]) if found else None
    name = re.search(r"\b[A-Z][A-Za-z]+/[A-Z][A-Za-z_/]+", phrase)
    if name and (exact := zone_of(name[0])) and exact.zone != OPEN:
        zone = exact
    return ZoneSaid(phrase, zone.zone if zone else "UTC")


def _open(where: str, words: str, example: str, mill_zone: str) -> DataError:
    """Build the question about a zone that may or may not change its clocks."""
    return DataError(
        said(
            'The export gives its zone as "{words}": times such as "{example}" can be read by '
            "the clock of a place, with its summer time, or at one offset from UTC all year.",
            words=shown(words),
            example=shown(example, 30),
        ),
        where,
        said(
            'Say which: time_zone = "{place}" (a place) or time_zone = "-06:00" (an offset) in the '
            "[[exports.layout]] of this kind of file.",
            place=mill_zone or "America/Chicago",
        ),
        [Answer({"time_zone": mill_zone}, said("by the clock of {place}", place=mill_zone))]
        if mill_zone
        else (),
    )


def _asked(where: str, line: str, example: str, zone: str, other: str) -> DataError:
    """Build the question which of two zones the times are in."""
    return DataError(
        said(
            '{line} such as "{example}" can be read as {zone} or as {other}.',
            line=line,
            example=shown(example, 30),
            zone=zone,
            other=other,
        ),
        where,
        said(
            'Say which: time_zone = "{zone}" (or time_zone = "{other}") in the '
            "[[exports.layout]] of this kind of file.",
            zone=zone,
            other=other,
        ),
        [Answer({"time_zone": z}, said("times are in {z}", z=z)) for z in (zone, other) if z],
    )


def check_line(
    where: str, cells: Sequence[str], zone: str | None, mill_zone: str, example: str
) -> None:
    """Ask about a line below the headings that gives the times another zone than they are read in.

    Parameters
    ----------
    where : str
        For messages.
    cells : sequence of str
        Cells of a row without a moment.
    zone : str or None
        Zone in which the times are read; None is the mill's.
    mill_zone : str
    example : str
        A time as written, for messages.

    Raises
    ------
    DataError
        The line names another zone.
    """
    for phrase in _phrases([cells]):
        found = _said_of_times(phrase)
        if found is None or found.zone in (LOCAL, zone or mill_zone):
            continue
        if found.zone == OPEN:
            raise _open(where, found.words, example, mill_zone)
        line = said('A line below the headings says "{words}": times', words=shown(phrase))
        raise _asked(where, line, example, found.zone, zone or mill_zone)
