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
from pipeline.files import ExportFile
from pipeline.intake.apart import joined
from pipeline.intake.columns import (
    ColumnLook,
    look_at_columns,
    of_role,
    sampled,
    texts,
)
from pipeline.intake.headings import TAG_LIKE, heading_lines, title_of
from pipeline.intake.naming import (
    is_analysis,
    like_tags,
    naming_of,
    says_points,
    typed_naming,
    words_of_series,
)
from pipeline.intake.twice import series_twice
from pipeline.layouts import (
    When,
    bracket_of,
    joined_time,
    kind_of,
    pairs_in,
    value_heading,
    when_for,
)
from pipeline.mill import ExportLayout

#: Roles of columns of a book that hold neither results nor names.
_NO_READINGS: Final = ("group", "words", "counter")


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
    return _of_columns(table, rows, when, given)


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


def _of_columns(
    table: ExportFile, rows: pl.DataFrame, when: When, given: Mapping[str, object]
) -> Proposal | None:
    looks = look_at_columns(rows, when)
    typed = typed_naming(given, rows)
    values = [look.name for look in of_role(looks, "number") if look.name.strip()]
    values = [v for v in values if v not in typed]
    if "value_column" in given:
        values = [str(given["value_column"])]
    if not values:
        return None
    moments = texts(joined_time(rows, when)[when.time])
    groups = [look for look in of_role(looks, "group") if look.name.strip()]
    naming = typed or naming_of(rows, moments, groups, values)
    long = len(values) == 1 and bool(naming) and given.get("shape") != "wide"
    if "shape" not in given:
        long = long and not is_analysis(values[0], groups, naming)
    pooled, repeats = series_twice(rows, moments, naming, values, long=long)
    found = Proposal(
        table.where,
        table.called,
        _when_keys(when),
        pooled=pooled,
        repeats=repeats,
        units=_units_stated(table, looks, values),
        by_hand=any(says_points(g) and not like_tags(g) for g in groups if g.name in naming),
    )
    if long:
        keys = found.keys | _long_keys(naming, values[0], looks)
        return replace(found, keys=keys, words=words_of_series(rows, groups, naming))
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


def _when_keys(when: When) -> dict[str, object]:
    apart = {"date_column": when.date, "half_column": when.half, "zone_column": when.zone}
    keys: dict[str, object] = {k: c for k, c in apart.items() if c is not None}
    return {"time_column": when.time, **keys}


def _long_keys(naming: tuple[str, ...], value: str, looks: list[ColumnLook]) -> dict[str, object]:
    units = [look.name for look in of_role(looks, "unit")]
    keys: dict[str, object] = {"shape": "long", "value_column": value}
    keys |= {"tag_column": naming[0]} if len(naming) == 1 else {"tag_columns": list(naming)}
    return keys | ({"unit_column": units[0]} if len(units) == 1 else {})
