"""Decimal commas between commas that part cells: ``7,37`` stands in two cells as 7 and 37.

A writer who puts numbers with decimal commas between commas, without quotes, leaves whole numbers
in the column of values and up to three digits in the next. Nobody can tell them from two columns
of whole numbers, so the person is asked.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

import polars as pl

from pipeline.base import Answer, DataError, said
from pipeline.files import EXTRA, SHORT, shown
from pipeline.layouts.layout import Plan
from pipeline.mill import ExportLayout

_WHOLE: Final = r"^\s*[+-]?\d+\s*$"
_PART: Final = r"^\s*\d{1,3}\s*$"
#: Share of rows that look so; of the parts, those with two digits or more (estimates).
_LEAST_SHARE: Final = 0.5
_LEAST_LONG: Final = 0.3


def require_whole_numbers(
    plan: Plan,
    first: pl.DataFrame,
    delimiter: str,
    tags: Collection[str],
    layout: ExportLayout | None,
) -> None:
    """Ask about numbers that may have been cut in two by the comma that parts cells.

    Parameters
    ----------
    plan : Plan
    first : polars.DataFrame
        The first rows.
    delimiter : str
        What parts the cells.
    tags : collection of str
        Tags of the mill.
    layout : ExportLayout or None

    Raises
    ------
    DataError
        Cells side by side may be one number.
    """
    if layout is not None and "delimiter" in layout.model_fields_set:
        return
    names = [name for name in first.columns if name not in (EXTRA, SHORT)]
    read = {plan.time, plan.date, plan.tag, plan.value, plan.unit}
    read |= {quality.column for quality in plan.qualities}
    read |= set(layout.ignore_columns) if layout else set()
    values = [plan.value] if plan.value else [c for c in plan.tags if _is_tag(c, plan, tags)]
    for value in values:
        place = names.index(value) + 1 if value in names else len(names)
        if place == len(names) or names[place] in read or _is_tag(names[place], plan, tags):
            continue
        if _is_unnamed(names[place]):
            # Whatever parts the cells, numbers that nobody named are not left out unseen.
            if layout is None or layout.unnamed_columns == "ask":
                _require(plan, first, value, names[place], named=False)
        elif delimiter == ",":
            _require(plan, first, value, names[place], named=True)


def _is_tag(column: str, plan: Plan, tags: Collection[str]) -> bool:
    return column in tags or plan.tag_names.get(column, column) in tags


def _is_unnamed(column: str) -> bool:
    return not column or "_duplicated_" in column


def _require(plan: Plan, first: pl.DataFrame, value: str, after: str, *, named: bool) -> None:
    kinds = first.schema
    if kinds[value] != pl.String or kinds[after] != pl.String:
        return
    held = first.filter(pl.col(value).str.contains(r"\d"))
    cut = held.filter(pl.col(value).str.contains(_WHOLE) & pl.col(after).str.contains(_PART))
    long = cut.filter(pl.col(after).str.strip_chars().str.len_chars() > 1).height
    if cut.is_empty() or (named and cut.height < _LEAST_SHARE * max(held.height, 1)):
        return
    if named and long < _LEAST_LONG * cut.height:
        return  # a counter, such as the number of a shift
    one, other = cut.row(0, named=True)[value].strip(), cut.row(0, named=True)[after].strip()
    raise DataError(
        said(
            '"{one},{other}" can be one number with a decimal comma or the two numbers {one2} '
            "and {other2}, which stand in two cells.",
            one=one,
            other=other,
            one2=one,
            other2=other,
        ),
        said(
            '{where}\ncolumns "{value}" and "{after}"',
            where=plan.where,
            value=shown(value),
            after=shown(after) or said("(no heading)"),
        ),
        said(
            "Export it again with another delimiter, or with numbers in quotes. If these are two "
            "numbers, say so in the [[exports.layout]] of this kind of file: its delimiter, or, "
            'for a column without a heading that is not wanted, unnamed_columns = "ignore".'
        ),
        ()
        if named
        else [Answer({"unnamed_columns": "ignore"}, said("{one} is the number", one=one))],
    )
