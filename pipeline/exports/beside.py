"""What stands beside the tags of a table: their units, and the quality of their readings.

``pipeline.layouts.layout`` finds the columns of time, tag and value; with the tags that the mill
knows, the headings and cells beside them can be told apart.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace
from itertools import islice
from typing import Final

import polars as pl

from pipeline.base import DataError, said
from pipeline.cells import heading_says
from pipeline.exports.evidence import Evidence
from pipeline.exports.moment_rows import MillClock
from pipeline.exports.units import change_of, says_unit
from pipeline.files import ExportFile, batches, shown
from pipeline.layouts import (
    Plan,
    QualityFinder,
    Setting,
    bracket_of,
    is_statistic,
    plan_for,
    require_whole_numbers,
    split_heading,
    unit_behind,
    without_qualities,
)
from pipeline.mill import ExportLayout, is_unit

#: Different texts of a column of units; a record has no more units than this (estimate).
_MOST_UNITS: Final = 40
#: What stands in the place of a unit and is none: the described units are of such a system.
_SYSTEMS: Final = ("metric", "si", "si units", "engineering", "eng")


class _AfterFirst:
    """Rows after the first batch of a table, read once more each time they are asked for."""

    def __init__(self, table: ExportFile) -> None:
        self._table = table

    def __iter__(self) -> Iterator[pl.DataFrame]:
        yield from islice(batches(self._table), 1, None)


def table_plan(
    table: ExportFile, first: pl.DataFrame, layout: ExportLayout | None, clock: MillClock
) -> Plan:
    """How to read a table: from its layout, its first rows, and the tags that the mill knows.

    Raises
    ------
    DataError
        A column is not there or cannot be guessed; something in it can be read in two ways.
    """
    rest = _AfterFirst(table)
    plan = plan_for(
        table.where,
        first,
        layout,
        head=table.head,
        delimiter=table.delimiter,
        rest=rest,
        setting=Setting(clock.unit_changes.keys(), clock.zone, table.called),
    )
    return with_beside(plan, table, first, layout, clock, rest)


def with_beside(
    plan: Plan,
    table: ExportFile,
    first: pl.DataFrame,
    layout: ExportLayout | None,
    clock: MillClock,
    rest: Iterable[pl.DataFrame] = (),
) -> Plan:
    """Plan with units and columns of quality found beside the tags.

    Parameters
    ----------
    plan : Plan
    table : ExportFile
    first : polars.DataFrame
        The first rows.
    layout : ExportLayout or None
    clock : MillClock
        Knows the tags of the mill.
    rest : iterable of polars.DataFrame
        The rows after the first; looked at only where the first leave something open.

    Raises
    ------
    DataError
        A column can be read in two ways.
    """
    units = {**table.units, **{k: v for k, v in plan.tag_units.items() if v}}
    plan = replace(plan, tag_units=units)
    finder = QualityFinder(table.where, first, rest, layout)
    if plan.shape == "long":
        plan = _unit_of_values(plan, table.head.unit if table.head else "")
        plan = _unit_column(plan, first, layout, clock)
        plan = without_qualities(plan, finder.found(plan, {}))
        require_whole_numbers(plan, first, table.delimiter, clock.unit_changes, layout)
        return plan
    plan = _parted(plan, clock)
    plan = _described(plan, table, clock)
    plan = _unit_of_all(plan, table, clock)
    called = {column: _tag(column, plan, clock.unit_changes) for column in plan.tags}
    if not any(called.values()):  # nothing is known of the mill yet: every heading may be a tag
        called = {c: plan.tag_names.get(c, c) for c in plan.tags if c and heading_says(c) is None}
        called = {
            c: t for c, t in called.items() if split_heading(t, set(called.values()) - {t}) is None
        }
    plan = without_qualities(plan, finder.found(plan, called))
    require_whole_numbers(plan, first, table.delimiter, clock.unit_changes, layout)
    return plan


def _tag(column: str, plan: Plan, tags: Collection[str]) -> str:
    """Tag of the mill that a column holds; empty for none."""
    if column in tags and column not in plan.moved:
        return column
    tag = plan.tag_names.get(column, column)
    return tag if tag in tags else ""


def _parted(plan: Plan, clock: MillClock) -> Plan:
    """Plan whose headings are parted into tag and unit where the mill knows the tag."""
    tags = clock.unit_changes
    held = [_tag(column, plan, tags) for column in plan.tags]
    names, units = dict(plan.tag_names), dict(plan.tag_units)
    found: dict[str, list[tuple[str, str]]] = {}
    for column in plan.tags:
        title = names.get(column, column)
        if _tag(column, plan, tags):
            continue
        split = split_heading(title, tags)
        if split is None or split.tag in held or not split.beside:
            continue
        if heading_says(split.beside) or is_statistic(split.beside):
            continue
        if split.bracketed or says_unit(clock, split.tag, split.beside):
            found.setdefault(split.tag, []).append((column, split.beside))
    for tag, columns in found.items():
        if len(columns) == 1:  # of several columns of one tag none is the tag itself
            column, unit = columns[0]
            names[column], units[column] = tag, unit
    return replace(plan, tag_names=names, tag_units=units)


def _described(plan: Plan, table: ExportFile, clock: MillClock) -> Plan:
    """Plan with units out of the rows of words below or above the headings."""
    if table.head is None or not table.head.words:
        return plan
    units = dict(plan.tag_units)
    for column, words in zip(table.head.names, table.head.words, strict=False):
        tag = _tag(column, plan, clock.unit_changes)
        if not tag or not words or units.get(column):
            continue
        for text in (words, *unit_behind(words)):
            if says_unit(clock, tag, text) or (text == words and _like_a_unit(text)):
                units[column] = text
                break
    return replace(plan, tag_units=units)


def _like_a_unit(text: str) -> bool:
    """Whether a single cell is written like a unit, known or not: ``cuartos/turno``, ``[Bé]``."""
    plain = text.strip()
    return " " not in plain and len(plain) <= 20 and any(c in plain for c in "/%°º²³")


def _unit_of_all(plan: Plan, table: ExportFile, clock: MillClock) -> Plan:
    """Plan with the unit that a line above the headings states.

    Raises
    ------
    DataError
        It stands above several tags, and may be that of one or of all.
    """
    unit = table.head.unit if table.head else ""
    tags = {c: tag for c in plan.tags if (tag := _tag(c, plan, clock.unit_changes))}
    bare = [column for column in tags if not plan.tag_units.get(column)]
    if not unit or unit.casefold() in _SYSTEMS or not bare:
        return plan
    if len(tags) == 1 or plan.units_given.keys() >= {tags[column] for column in bare}:
        return replace(plan, tag_units={**plan.tag_units, **dict.fromkeys(bare, unit)})
    told = ", ".join(shown(tags[column]) for column in bare[:5])
    raise DataError(
        said(
            'The unit "{unit}" above the headings can be that of one tag or of all of them.',
            unit=shown(unit),
        ),
        said("{where}\ntags without a unit of their own: {told}", where=table.where, told=told),
        said(
            'Give each its unit: units = { "TAG" = "..." } in the [[exports.layout]] of this kind '
            "of file."
        ),
    )


def _unit_of_values(plan: Plan, of_all: str) -> Plan:
    """Plan with the unit behind the heading of the values or above all headings, known or not."""
    if plan.value is None or plan.tag_units.get(plan.value):
        return plan
    unit = bracket_of(plan.value) or ("" if of_all.casefold() in _SYSTEMS else of_all)
    return replace(plan, tag_units={**plan.tag_units, plan.value: unit}) if unit else plan


def _unit_column(
    plan: Plan, first: pl.DataFrame, layout: ExportLayout | None, clock: MillClock
) -> Plan:
    """Plan with a column of units under a heading of its own, found by what is in it."""
    if plan.unit is not None or plan.tag is None or (layout and layout.unit_column is not None):
        return plan
    used = {plan.time, plan.date, plan.half, plan.zone, plan.tag, plan.value, *plan.tag_columns}
    used |= set(layout.ignore_columns if layout else ())
    for name, kind in first.schema.items():
        if name in used or kind != pl.String:
            continue
        # The texts first: they are few, and most columns of words hold no unit at all.
        said = first.select(pl.col(name).filter(pl.col(plan.tag).is_not_null()).unique())
        texts = {text.strip() for text in said[name].drop_nulls()} - {""}
        if not texts or len(texts) > _MOST_UNITS:
            continue
        if 2 * sum(is_unit(text) for text in texts) <= len(texts):
            continue
        pairs = first.select(
            tag=pl.col(plan.tag).cast(pl.String).str.strip_chars(),
            unit=pl.col(name).str.strip_chars(),
        ).drop_nulls().filter(pl.col("unit") != "").unique(maintain_order=True)  # fmt: skip
        if any(says_unit(clock, tag, unit) for tag, unit in pairs.head(500).iter_rows()):
            return replace(plan, unit=name)
    return plan


def note_assumptions(clock: MillClock, tags: Iterable[str], evidence: Evidence) -> None:
    """Tell what had to be taken for known to convert from the described unit of some tags."""
    for tag in sorted(tags):
        if assumed := change_of(clock, tag, None).assumed:
            evidence.note(f"{shown(tag)}: from its described unit: {assumed}.")
