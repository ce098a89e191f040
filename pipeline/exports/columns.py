"""Which column of a table holds what."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import polars as pl

from pipeline.base import DataError
from pipeline.files import DATE_NAMES, EXTRA, TIME_NAMES, plain_name
from pipeline.mill import ExportLayout

_TAG_NAMES: Final = (
    "tag", "point_analyte", "point", "signal", "sensor", "series", "variable", "name", "tag_name",
    "messstelle", "señal", "variavel",
)  # fmt: skip
_VALUE_NAMES: Final = ("value", "result", "reading", "measurement", "wert", "messwert", "valor")
_UNIT_NAMES: Final = (
    "unit", "units", "uom", "eu", "eng_unit", "eng_units", "engineering_unit",
    "engineering_units", "unit_of_measure", "einheit", "einheiten", "maßeinheit", "unidad",
    "unidades", "unidad_de_medida", "unidade", "unidade_de_medida", "unité", "unite", "unités",
    "unites", "unité_de_mesure", "u.m.", "um", "ud",
)  # fmt: skip
_CLOCK: Final = r"^\s*\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?:\s*[AaPp]\.?[Mm]\.?)?\s*$"


@dataclass(frozen=True, slots=True)
class Places:
    """Columns of a table, called as in ``pipeline.exports.layout.Plan``."""

    shape: Literal["long", "wide"]
    time: str
    date: str | None
    tag: str | None
    value: str | None
    unit: str | None
    tags: tuple[str, ...]


def columns_for(where: str, first: pl.DataFrame, layout: ExportLayout | None) -> Places:
    """Which column holds what: as its layout says, else as its name says.

    Raises
    ------
    DataError
        A column is not there, cannot be guessed, or holds neither numbers nor text.
    """
    given = layout or ExportLayout(name="as found")
    names = [name for name in first.columns if name != EXTRA]
    time = _column(where, names, given.time_column, TIME_NAMES, "time_column", "times")
    date = _date_column(where, first, names, time, given.date_column)
    tag = _find(where, names, given.tag_column, _TAG_NAMES, "tag_column")
    value = _find(where, names, given.value_column, _VALUE_NAMES, "value_column")
    unit = None
    shape = layout.shape if layout else ("long" if tag and value else "wide")
    tags: tuple[str, ...] = ()
    if shape == "wide":
        tag = value = None
        tags = tuple(n for n in names if n not in (time, date) and not _is_unnamed(n))
    else:
        tag = tag or _column(where, names, None, _TAG_NAMES, "tag_column", "tags")
        value = value or _column(where, names, None, _VALUE_NAMES, "value_column", "values")
        unit = _find(where, names, given.unit_column, _UNIT_NAMES, "unit_column")
    _require_kinds(where, first, time, [value] if value else tags)
    if given.quality_column:
        _find(where, names, given.quality_column, (), "quality_column")
    return Places(shape, time, date, tag, value, unit, tags)


def _date_column(
    where: str, first: pl.DataFrame, names: Sequence[str], time: str, wanted: str | None
) -> str | None:
    """Column of dates where the times are times of day only."""
    if wanted is not None:
        return _find(where, names, wanted, DATE_NAMES, "date_column")
    kind = first.schema[time]
    if kind not in (pl.String, pl.Time):
        return None
    sample = first[time].cast(pl.String).drop_nulls().head(1000)
    if sample.is_empty() or int(sample.str.contains(_CLOCK).sum()) < 0.9 * len(sample):
        return None
    others = [name for name in names if name != time]
    return next((n for n in others if plain_name(n) in DATE_NAMES), None)


def _require_kinds(where: str, first: pl.DataFrame, time: str, values: Sequence[str]) -> None:
    """Refuse columns whose type cannot hold what is looked for in them."""
    kinds = first.schema
    for name in (time, *values):
        kind = kinds[name]
        plain = kind.is_numeric() or kind in (pl.String, pl.Boolean, pl.Null)
        if not plain and not (name == time and kind.is_temporal()):
            raise DataError(
                f'The column "{_shown(name)}" holds {kind}, neither numbers nor text.',
                where,
                "Export it as plain numbers, or name another column in its [[exports.layout]].",
            )


def _find(
    where: str, names: Sequence[str], wanted: str | None, usual: Sequence[str], key: str
) -> str | None:
    """Column named in the layout, else the first with a usual name, else None."""
    if wanted is not None:
        if wanted.strip() in names:
            return wanted.strip()
        raise _no_column(where, names, f'The export has no column "{wanted}".', key)
    known = {plain_name(name): name for name in reversed(names)}
    return next((known[name] for name in usual if name in known), None)


def _column(
    where: str, names: Sequence[str], wanted: str | None, usual: Sequence[str], key: str, what: str
) -> str:
    """Find a column that must be there."""
    found = _find(where, names, wanted, usual, key)
    if found is None:
        raise _no_column(where, names, f"No column of {what} could be found in the export.", key)
    return found


def _no_column(where: str, names: Sequence[str], what: str, key: str) -> DataError:
    """Build the error for a column that is not there, listing those that are."""
    shown = ", ".join(f'"{_shown(name)}"' for name in names[:12])
    return DataError(
        what,
        f"{where}\nits columns: {shown}" + (" ..." if len(names) > 12 else ""),
        f"Name the column: {key} in the [[exports.layout]] of this kind of file; where its "
        "headings stand further down, heading_row.",
    )


def _shown(name: str) -> str:
    return "".join(c if c.isprintable() else " " for c in name[:40])


def _is_unnamed(name: str) -> bool:
    """Tell whether a column is a bare row counter, whose heading was left empty."""
    return not name or name.startswith("_duplicated_")
