"""Headings and units that stand again further down, as in exports put one after the other.

From such a row on its columns are what it says. The rows themselves are no readings: they are
refused, and counted as such.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Final

import polars as pl

from pipeline.base import DataError, said
from pipeline.cells import heading_says
from pipeline.exports.evidence import Evidence
from pipeline.exports.passes import NAIVE, STATED
from pipeline.files import bare_unit, is_moment, is_number, parted, shown, subhead
from pipeline.layouts import Plan, check_line, split_heading
from pipeline.mill import is_unit

#: Column that is True in rows of units.
UNITS: Final = " units"
#: Rows without a moment looked at one by one in a batch; in more of them there is no order.
_MOST_LOOKED_AT: Final = 1000
#: A table that changes its headings more often is none: those that held last hold on.
_MOST_CHANGES: Final = 200
#: Cells of a row of units that say nothing of a unit.
_NO_UNIT: Final = ("", "-", "1")


def is_heading(plan: Plan) -> pl.Expr:
    """Rows that say what the headings of their column of moments say."""
    name = plan.date or plan.time
    return (pl.col(name).str.strip_chars() == name).fill_null(value=False)


def _example(rows: pl.DataFrame, plan: Plan) -> str:
    """A time that could be read, as written."""
    read = rows.filter(pl.col(NAIVE).is_not_null())
    return str(read[plan.time][0]) if read.height else ""


class Sections:
    """The headings that hold in a table, row by row.

    Parameters
    ----------
    plan : Plan
        How the table is read from its top.
    tags : collection of str
        Tags of the mill.
    evidence : Evidence
        Told what changes.
    zone : str
        Zone of the mill; lines that give the times another are asked about.
    """

    def __init__(
        self, plan: Plan, tags: Collection[str], evidence: Evidence, zone: str = ""
    ) -> None:
        self.plan = plan
        self._zone = zone
        self._first = plan
        self._tags, self._evidence = tags, evidence
        self._titles: dict[str, str] = {}
        self._changes = 0
        self._below_heading = False  # the batch before ended in headings

    def parts(self, rows: pl.DataFrame) -> list[tuple[pl.DataFrame, Plan]]:
        """Rows of a batch cut where headings or units stand again.

        Parameters
        ----------
        rows : polars.DataFrame
            With the columns of moments that ``pipeline.exports.passes`` adds.
        """
        first = self._first
        columns = [first.date or first.time, *(first.tags or (first.tag, first.value))]
        timeless = (rows[NAIVE].is_null() & rows[STATED].is_null()).arg_true()
        kinds = rows.schema
        last_heading = -1 if self._below_heading else -2
        self._below_heading = False
        if timeless.is_empty() or any(kinds[c] != pl.String for c in columns if c):
            return [(rows, self.plan)]
        names = [name for name, kind in kinds.items() if kind == pl.String]
        looked_at = timeless.head(_MOST_LOOKED_AT)
        again = rows[looked_at].select(is_heading(self._first)).to_series().to_list()
        cells = rows[looked_at].select(pl.col(names).fill_null("")).rows()
        parts, units, start = [], [], 0
        for row, heading, texts in zip(looked_at.to_list(), again, cells, strict=True):
            if self._changes >= _MOST_CHANGES:
                break
            facts = dict(zip(names, (text.strip() for text in texts), strict=True))
            before = self.plan
            if heading:
                last_heading = row
                self._new_headings(facts)
            elif self._is_units(facts, sure=row - last_heading == 1):
                units.append(row)
                self._new_units(facts)
            elif self._zone and not first.zone_given:
                line = [cell for cell in facts.values() if cell]
                check_line(first.where, line, first.time_zone, self._zone, _example(rows, first))
            if self.plan is not before and row > start:
                parts.append((start, row, before))
                start = row
                self._changes += 1
        self._below_heading = last_heading == rows.height - 1
        if units:
            flags = pl.Series(UNITS, [False]).new_from_index(0, rows.height)
            rows = rows.with_columns(flags.scatter(units, values=True))
        parts.append((start, rows.height, self.plan))
        return [(rows[a:b], plan) for a, b, plan in parts]

    # Headings ---------------------------------------------------------------------------------

    def _new_headings(self, facts: dict[str, str]) -> None:
        """Take over headings that differ from those that held so far."""
        if any(is_number(cell) or is_moment(cell) for cell in facts.values() if cell):
            return  # a damaged row of readings
        if self.plan.shape == "wide":
            self._new_columns(facts)
        else:
            self._new_places(facts)

    def _new_columns(self, facts: dict[str, str]) -> None:
        """Headings of a wide table: which tag a column holds, and in which unit."""
        plan, changed = self.plan, {}
        self._require_same_qualities(facts)
        names, units = dict(plan.tag_names), dict(plan.tag_units)
        for column in plan.tags:
            title, cell = self._titles.get(column, column), facts[column]
            # A second level of headings above the first stands in the title only.
            if cell == title or (cell and title.endswith(f" {cell}")):
                continue
            self._titles[column] = cell
            tag, unit = self._parted(cell)
            if tag != self._tag(column):
                changed[column] = tag
                units[column] = unit
            names[column], units[column] = tag, unit or units.get(column, "")
        needed = max((k for k, cell in enumerate(facts.values(), start=1) if cell), default=0)
        if names == plan.tag_names and units == plan.tag_units and needed == plan.needed:
            return
        moved = plan.moved | changed.keys()
        self.plan = replace(plan, tag_names=names, tag_units=units, moved=moved, needed=needed)
        if changed:
            told_tags = ", ".join(shown(tag) or "no tag" for tag in list(changed.values())[:5])
            self._evidence.note(
                f"Headings stand again further down and differ; from there on these columns "
                f"are others: {told_tags}."
            )

    def _require_same_qualities(self, facts: dict[str, str]) -> None:
        """Refuse headings by which columns of quality would stand elsewhere.

        Raises
        ------
        DataError
            They are not called as they were at the top.
        """
        for quality in self.plan.qualities:
            title = self.plan.tag_names.get(quality.column, quality.column)
            cell = facts.get(quality.column, "")
            if cell not in (title, quality.column):
                raise DataError(
                    said(
                        "Headings stand again further down, with columns of quality in other "
                        'places: "{cell}" can be quality or a tag.',
                        cell=shown(cell),
                    ),
                    said(
                        '{where}\ncolumn "{column}"',
                        where=self.plan.where,
                        column=shown(quality.column),
                    ),
                    said(
                        "Part the file where its headings stand again, or name the columns of "
                        "quality: quality_columns in its [[exports.layout]]."
                    ),
                )

    def _parted(self, cell: str) -> tuple[str, str]:
        """Tag and unit of a heading; a unit in brackets behind a known tag need not be known."""
        if cell in self._tags:
            return cell, ""
        split = split_heading(cell, self._tags)
        if split is not None and split.bracketed and not heading_says(split.beside):
            return split.tag, split.beside
        return parted(cell)

    def _tag(self, column: str) -> str:
        """Tag that a column holds now."""
        if column in self._tags and column not in self.plan.moved:
            return column
        return self.plan.tag_names.get(column, column)

    def _new_places(self, facts: dict[str, str]) -> None:
        """Headings of a long table: where each kind of cell stands, and the unit of values."""
        first = self._first
        columns = {parted(cell)[0]: column for column, cell in reversed(facts.items()) if cell}
        tag, value, quality, unit = (
            columns.get(parted(name)[0]) if name is not None else ""
            for name in (first.tag, first.value, first.quality, first.unit)
        )
        if tag is None or value is None or quality is None or unit is None:
            self._evidence.note(
                "Headings stand again further down and name other columns; what follows is "
                "read by the headings at the top."
            )
            return
        units = dict(self.plan.tag_units)
        units[value] = parted(facts[value])[1] or units.get(self.plan.value or "", "")
        plan = replace(
            self.plan,
            tag=tag or None,
            value=value,
            qualities=tuple(replace(q, column=quality) for q in first.qualities[:1])
            if quality
            else (),
            unit=unit or None,
            tag_units=units,
        )
        self.plan = self.plan if plan == self.plan else plan

    # Units ------------------------------------------------------------------------------------

    def _is_units(self, facts: dict[str, str], *, sure: bool) -> bool:
        """Tell whether a row is one of units; `sure` below headings."""
        if sure:
            return subhead(list(facts.values()), list(facts)) == "units"
        columns = self._value_columns()
        named = [cell for column in columns if (cell := bare_unit(facts[column]))]
        plain = [cell for cell in named if cell not in _NO_UNIT]
        return (
            len(plain) >= min(2, len(columns))
            and all(is_unit(cell) for cell in plain)
            and not (self.plan.tag and facts[self.plan.tag])
        )

    def _new_units(self, facts: dict[str, str]) -> None:
        """Take over units; an empty cell says nothing new."""
        found = {
            column: unit
            for column in self._value_columns()
            if (unit := bare_unit(facts[column])) not in _NO_UNIT
        }
        units = {**self.plan.tag_units, **found}
        if units != self.plan.tag_units:
            self.plan = replace(self.plan, tag_units=units)

    def _value_columns(self) -> tuple[str, ...]:
        return self.plan.tags if self.plan.shape == "wide" else (self.plan.value or "",)
