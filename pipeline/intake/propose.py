"""How a table that nobody has described is best read: keys of a layout and the names of its series.

Decided by what stands in the columns. Whatever the file itself can show later (zones, order of day
and month, marks of numbers) is left to the reader, which asks where the file leaves it open.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import polars as pl

from pipeline.base import DataError
from pipeline.files import ExportFile, is_moment
from pipeline.intake.apart import explained, joined, naming_columns, same_meaning
from pipeline.intake.columns import (
    ColumnLook,
    look_at_columns,
    of_role,
    sampled,
    texts,
)
from pipeline.intake.headings import TAG_LIKE, heading_lines, title_of
from pipeline.intake.lab_words import analyte_of, says_composite, says_point
from pipeline.intake.twice import series_twice
from pipeline.layouts import (
    When,
    bracket_of,
    is_tag_heading,
    joined_time,
    kind_of,
    pairs_in,
    value_heading,
    when_for,
)
from pipeline.mill import ExportLayout

#: Roles of columns of a book that hold neither results nor names.
_NO_READINGS: Final = ("group", "words", "counter")
_LIKE_TAGS: Final = 0.6
#: So many different names, which explain so much of the values, are those of series (estimates).
_MANY: Final = 5
_LEVELS: Final = 0.6


@dataclass(frozen=True)
class Proposal:
    """How to read one table.

    Attributes
    ----------
    where : str
        File, and sheet or entry.
    called : tuple of str
        Names of sheet, entry and file, the nearest first.
    keys : dict of str to object
        Keys of a layout.
    series : tuple of str
        Names of the series in the headings; empty where the rows or a name tell them.
    words : mapping of str to str
        What the table says of a series beside its name.
    one : bool
        The table is of one series that neither its headings nor its rows name.
    heading : str
        Heading of the values of a table of one series.
    pooled : tuple of str
        Series with two different values at one moment, most likely of several juices.
    repeats : tuple of str
        Series with two determinations of one sample.
    units : tuple of str
        What it gives as units.
    by_hand : bool
        Looks like a book of the laboratory: columns name points of sampling.
    """

    where: str
    called: tuple[str, ...]
    keys: dict[str, object]
    series: tuple[str, ...] = ()
    words: Mapping[str, str] = field(default_factory=dict)
    one: bool = False
    heading: str = ""
    pooled: tuple[str, ...] = ()
    repeats: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    by_hand: bool = False


def propose(table: ExportFile, first: pl.DataFrame, given: Mapping[str, object]) -> Proposal | None:
    """How to read a table; None for one without a column of moments.

    Parameters
    ----------
    table : ExportFile
    first : polars.DataFrame
        Its first rows.
    given : mapping of str to object
        Keys that a person gave.

    Raises
    ------
    DataError
        Several columns of moments differ: the question carries its answers.
    """
    rows = sampled(first)
    layout = ExportLayout.model_validate({"name": "proposed", **given})
    kinds = {name: kind_of(rows[name]) for name in rows.columns}
    if not ({"moment", "date"} & set(kinds.values())) and "time_column" not in given:
        counted = when_for(table.where, rows, kinds, layout)
        if counted is None:
            return None
    pairs = _pairs(table, rows, layout)
    if pairs:
        return Proposal(
            table.where,
            table.called,
            {"shape": "pairs"},
            _pair_names(table, pairs),
            units=_units_stated(table, [], [value for _, value in pairs]),
        )
    when = when_for(table.where, rows, kinds, layout)
    if when is None:
        return None
    return _of_columns(table, rows, when)


def _pairs(
    table: ExportFile, rows: pl.DataFrame, layout: ExportLayout
) -> tuple[tuple[str, str], ...]:
    kinds = {name: kind_of(rows[name]) for name in rows.columns}
    try:
        return pairs_in(table.where, rows, kinds, layout)
    except DataError as error:
        answer = next((a for a in error.answers if a.keys.get("shape") == "pairs"), None)
        if answer is None:
            raise
        both = ExportLayout.model_validate({"name": "pairs", **answer.keys})
        return pairs_in(table.where, rows, kinds, both)


def _pair_names(table: ExportFile, pairs: tuple[tuple[str, str], ...]) -> tuple[str, ...]:
    """Tag of each pair: the heading of its values, or what stands above it."""
    head = table.head
    if head is None:
        return tuple(value for _, value in pairs)
    place = {name: k for k, name in enumerate(head.names)}
    names = []
    for time, value in pairs:
        own = head.tags[place[value]]
        above = [
            row[place[n]] for row in head.above[-3:] for n in (value, time) if place[n] < len(row)
        ]
        said = next((cell for cell in above if TAG_LIKE.fullmatch(cell)), "")
        generic = (
            value_heading([own]) is not None or not own or own == head.tags[place[pairs[0][1]]]
        )
        names.append(said if said and generic and len(pairs) > 1 else own)
    return tuple(names)


def _of_columns(table: ExportFile, rows: pl.DataFrame, when: When) -> Proposal | None:
    looks = look_at_columns(rows, when)
    values = [look.name for look in of_role(looks, "number") if look.name.strip()]
    if not values:
        return None
    moments = texts(joined_time(rows, when)[when.time])
    groups = [look for look in of_role(looks, "group") if look.name.strip()]
    naming = _naming(rows, moments, groups, values)
    long = len(values) == 1 and bool(naming)
    pooled, repeats = series_twice(rows, moments, naming, values, long=long)
    found = Proposal(
        table.where,
        table.called,
        _when_keys(when),
        pooled=pooled,
        repeats=repeats,
        units=_units_stated(table, looks, values),
        by_hand=any(_says_points(g) for g in groups if g.name in naming),
    )
    if long:
        keys = found.keys | _long_keys(naming, values[0], looks)
        return replace(found, keys=keys, words=_words_of(rows, groups, naming))
    if naming:
        return _by_sample(table, rows, found, naming, looks)
    if len(values) == 1 and value_heading(values) is not None:
        keys = found.keys | {"value_column": values[0]}
        return replace(found, keys=keys, one=True, heading=values[0])
    names, words = heading_lines(table.head, values)
    heading = values[0] if len(values) == 1 else ""
    keys = found.keys | {"shape": "wide"}
    return replace(found, keys=keys, series=tuple(names), words=words, heading=heading)


def _units_stated(table: ExportFile, looks: list[ColumnLook], values: list[str]) -> tuple[str, ...]:
    """What the table gives as units, known or not: in a column, a row, or behind headings."""
    column = [text for look in of_role(looks, "unit") for text in look.different]
    row = [unit for unit in table.head.units if unit] if table.head else []
    whole = [table.head.unit] if table.head and table.head.unit else []
    return (*column, *row, *whole, *(u for v in values if (u := bracket_of(v))))


def _by_sample(
    table: ExportFile, rows: pl.DataFrame, found: Proposal, naming: tuple[str, ...],
    looks: list[ColumnLook],
) -> Proposal:  # fmt: skip
    """Proposal for a book with a column an analysis, and others that name the sample."""
    keys = found.keys | {"shape": "wide", "tag_columns": list(naming)}
    if ignored := [k.name for k in looks if k.role in _NO_READINGS and k.name not in naming]:
        keys |= {"ignore_columns": ignored}
    names = [title_of(table.head, look.name) for look in of_role(looks, "number") if look.name]
    cells = joined(rows, naming).unique(maintain_order=True).to_list()
    series = tuple(f"{cell} {name}" for cell in cells for name in names if cell.strip())
    return replace(found, keys=keys, series=series)


def _naming(
    rows: pl.DataFrame, moments: pl.Series, groups: list[ColumnLook], values: list[str]
) -> tuple[str, ...]:
    """Columns that name the series of a table."""
    likely = {g.name for g in groups if _may_name(g)}
    if len(values) == 1:
        # States of a plant are few; names of many series lie each at a level of its own.
        likely |= {
            g.name
            for g in groups
            if len(g.different) >= _MANY and explained(rows, [g.name], values) >= _LEVELS
        }
    naming = naming_columns(rows, moments, [g.name for g in groups], values, likely)
    return _with_kinds(groups, naming, rows)


def _when_keys(when: When) -> dict[str, object]:
    apart = {"date_column": when.date, "half_column": when.half, "zone_column": when.zone}
    keys: dict[str, object] = {k: c for k, c in apart.items() if c is not None}
    return {"time_column": when.time, **keys}


def _long_keys(naming: tuple[str, ...], value: str, looks: list[ColumnLook]) -> dict[str, object]:
    units = [look.name for look in of_role(looks, "unit")]
    keys: dict[str, object] = {"shape": "long", "value_column": value}
    keys |= {"tag_column": naming[0]} if len(naming) == 1 else {"tag_columns": list(naming)}
    return keys | ({"unit_column": units[0]} if len(units) == 1 else {})


def _may_name(look: ColumnLook) -> bool:
    like = sum(bool(TAG_LIKE.fullmatch(w)) and not is_moment(w) for w in look.different)
    return (
        is_tag_heading(look.name)
        or like >= _LIKE_TAGS * max(len(look.different), 1)
        or _says_points(look)
    )


def _says_points(look: ColumnLook) -> bool:
    """Whether most cells of a column name juices and the like, or analyses."""
    named = sum(says_point(w) or analyte_of(w) is not None for w in look.different)
    return 2 * named > len(look.different)


def _with_kinds(
    groups: list[ColumnLook], naming: tuple[str, ...], rows: pl.DataFrame
) -> tuple[str, ...]:
    """Add a column that says which samples were gathered over a day, where only some were."""
    for group in groups:
        said = [says_composite(w) for w in group.different]
        told = not naming or group.name in naming or same_meaning(rows, naming, group.name)
        if not told and any(said) and not all(said):
            return tuple(sorted((*naming, group.name), key=rows.columns.index))
    return naming


def _words_of(
    rows: pl.DataFrame, groups: list[ColumnLook], naming: tuple[str, ...]
) -> dict[str, str]:
    """Descriptions: columns of words that say one thing of each series."""
    found: dict[str, list[str]] = {}
    key = joined(rows, naming)
    for group in groups:
        if group.name in naming or not same_meaning(rows, naming, group.name):
            continue
        pairs = pl.DataFrame({"key": key, "said": texts(rows[group.name])}).unique("key")
        for name, said in pairs.iter_rows():
            found.setdefault(name, []).append(said)
    return {name: " ".join(parts) for name, parts in found.items()}
