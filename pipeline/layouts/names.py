"""Where the tags of a table stand, when they are neither a column nor its headings.

A plant that exports one tag a file names it in the file's name, the sheet's or a title; others
put tags into a second line of headings. The mill's own tags are looked for there: what is no tag
of the mill is never taken for one.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from pipeline.base import DataError, joined, said
from pipeline.cells import folded
from pipeline.files import Head, parted, shown
from pipeline.layouts.columns import is_long, value_heading

_TAG_KEY: Final = re.compile(
    r"\W*(?:tag|tag ?name|point|signal|sensor|series|serie|variable|variavel|etiqueta|repere|punto|"
    r"ponto|messstelle|capteur|senal|name|nombre|nome|nom)\W*"
)
_UNIT_KEY: Final = re.compile(
    r"\W*(?:units?|uom|eu|eng(?:ineering)? units?|einheit|unidad|unidade|unite)\W*"
)
_PARTS: Final = re.compile(r"\s*[:=|;\t]\s*")


@dataclass(frozen=True, slots=True)
class Named:
    """Tags found beside the headings.

    Attributes
    ----------
    columns : mapping of str to str
        Tag of each column whose own heading is none of the mill's.
    one : str
        Tag of all readings of the table; empty where rows or headings name them.
    unit : str
        Unit that the lines above the headings give to `one`.
    headed : bool
        Some headings are tags of the mill.
    why : str
        Where the tag stands, for the person.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    one: str = ""
    unit: str = ""
    headed: bool = False
    why: str = ""


def names_for(
    where: str,
    names: Sequence[str],
    head: Head | None,
    known: Collection[str],
    given: str | None,
) -> Named:
    """Tags of a table that stand in its headings, its titles or its name.

    Parameters
    ----------
    where : str
        For messages.
    names : sequence of str
        Columns.
    head : Head or None
    known : collection of str
        Tags of the mill.
    given : str or None
        Tag that the layout gives to all readings.

    Raises
    ------
    DataError
        Two tags could be meant.
    """
    unit = _unit_above(head)
    if given is not None:
        return Named(one=given, unit=unit, why="described")
    own = dict(zip(head.names, head.tags, strict=True)) if head else {}
    if is_long(names):
        return Named()
    headed = any(n in known or own.get(n, n) in known for n in names)
    lines = _in_lines(where, head, known)
    if headed or lines:
        return Named(lines, headed=True)
    return Named()


def one_tag(
    where: str, names: Sequence[str], head: Head | None, called: Sequence[str],
    known: Collection[str],
) -> Named:  # fmt: skip
    """The one tag of a table that names none in its rows and headings.

    Raises
    ------
    DataError
        None is named, or two could be meant.
    """
    told = dict.fromkeys([*_in_titles(head, known), *_in_names(called, known)])
    if len(told) == 1:
        return Named(one=next(iter(told)), unit=_unit_above(head), why="its name or title")
    heading = shown(value_heading(names) or "", 40)
    if told:
        two = joined(said(" or "), [f'"{shown(t)}"' for t in list(told)[:2]])
        what = said('The values under "{heading}" can be of {two}.', heading=heading, two=two)
    elif titled := _said_tag(head):
        return Named(one=titled, unit=_unit_above(head), why="its title")
    else:
        what = said(
            'The values under "{heading}" can be of any tag: neither rows nor headings, '
            "title or file name hold one of the mill's.",
            heading=heading,
        )
    cure = said("Say which: tag in the [[exports.layout]] of this kind of file, or tag_column.")
    raise DataError(what, where, cure)


def _in_lines(where: str, head: Head | None, known: Collection[str]) -> dict[str, str]:
    """Tags in lines of headings above and below the one found, by column."""
    if head is None:
        return {}
    found: dict[str, str] = {}
    # A title and its value are no headings.
    lines = [
        row
        for row in (*head.below, *head.above[-3:])
        if sum(bool(cell) for cell in row) > 1 and not _TAG_KEY.fullmatch(folded(row[0]))
    ]
    for column, name in enumerate(head.names):
        if name in known or head.tags[column] in known:
            continue
        cells = [row[column] for row in lines if column < len(row)]
        tags = {t for cell in cells for t in (cell, parted(cell)[0]) if t in known}
        if len(tags) > 1:
            two = joined(said(" or "), [f'"{shown(t)}"' for t in sorted(tags)[:2]])
            raise DataError(
                said(
                    'The column "{name}" can be {two}: its lines of headings differ.',
                    name=shown(name, 40),
                    two=two,
                ),
                where,
                said(
                    "Say which line holds the tags: heading_row in the [[exports.layout]] of this "
                    "kind of file."
                ),
            )
        if tags:
            found[name] = tags.pop()
    return found


def pair_tags(
    pairs: Sequence[tuple[str, str]], head: Head | None, known: Collection[str]
) -> dict[str, str]:
    """Tags that stand above the times or the values of pairs of columns."""
    if head is None:
        return {}
    place = {name: k for k, name in enumerate(head.names)}
    found = {}
    for time, value in pairs:
        cells = [
            row[place[n]] for row in head.above[-3:] for n in (time, value) if place[n] < len(row)
        ]
        tags = {t for cell in cells for t in (cell, parted(cell)[0]) if t in known}
        if head.tags[place[value]] not in known and len(tags) == 1:
            found[value] = tags.pop()
    return found


def _cells(head: Head | None) -> Iterator[list[str]]:
    """Rows above the headings as parts: keys and what they say."""
    for row in head.above if head else ():
        parts = [part for cell in row if cell for part in _PARTS.split(cell[:300]) if part]
        if parts:
            yield parts


def _in_titles(head: Head | None, known: Collection[str]) -> list[str]:
    return [part for parts in _cells(head) for part in parts if part in known]


def _said_tag(head: Head | None) -> str:
    """Tag that a title gives and the mill does not have."""
    return next(
        (p[1] for p in _cells(head) if len(p) == 2 and _TAG_KEY.fullmatch(folded(p[0]))), ""
    )


def _unit_above(head: Head | None) -> str:
    """Unit that a title gives."""
    for parts in _cells(head):
        if len(parts) == 2 and _UNIT_KEY.fullmatch(folded(parts[0])):
            return parts[1].strip("[](){} ")
    return ""


def _in_names(called: Sequence[str], known: Collection[str]) -> list[str]:
    """Tags of the mill in the nearest name that holds one."""
    for name in called:
        stem = re.sub(r"(?i)(?:\.(?:csv|txt|tsv|dat|xlsx?|parquet|gz|zip|zst|zstd))+$", "", name)
        words = f"_{_plain(stem)}_"
        found = [tag for tag in known if _plain(tag) and f"_{_plain(tag)}_" in words]
        longest = [
            t for t in found if not any(t != o and _plain(t) in _plain(o) for o in found)
        ]  # fmt: skip
        if longest:
            return longest
    return []


def _plain(text: str) -> str:
    return re.sub(r"[\W_]+", "_", folded(text)).strip("_")
