"""Which column of a table holds what."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import polars as pl

from pipeline.base import DataError, said
from pipeline.cells import folded, heading_says
from pipeline.files import EXTRA, SHORT, TIME_NAMES, plain_name
from pipeline.layouts.kinds import Kind
from pipeline.layouts.pairs import pairs_in
from pipeline.layouts.when import Clock, When, moment_columns, when_for
from pipeline.mill import ExportLayout

_TAG_NAMES: Final = (
    "tag", "point_analyte", "point", "signal", "sensor", "series", "variable", "name", "tag_name",
    "messstelle", "senal", "variavel", "etiqueta", "repere", "punto", "ponto", "messpunkt",
    "serie", "capteur", "tagname", "tag_id", "parameter", "parametro", "parametre",
)  # fmt: skip
_VALUE_NAMES: Final = ("value", "result", "reading", "measurement", "wert", "messwert", "valor",
                       "valeur", "resultado", "resultat", "ergebnis", "lectura", "leitura",
                       "mesure", "medicion", "medida", "val", "pv")  # fmt: skip
_UNIT_NAMES: Final = (
    "unit", "units", "uom", "eu", "eng_unit", "eng_units", "engineering_unit",
    "engineering_units", "unit_of_measure", "einheit", "einheiten", "maßeinheit", "masseinheit",
    "unidad", "unidades", "unidad_de_medida", "unidade", "unidade_de_medida", "unite", "unites",
    "unite_de_mesure", "u.m.", "um", "ud",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Places:
    """Columns of a table, called as in ``pipeline.layouts.layout.Plan``."""

    shape: Literal["long", "wide", "pairs"]
    time: str
    date: str | None
    tag: str | None
    value: str | None
    unit: str | None
    tags: tuple[str, ...]
    half: str | None = None
    clock: Clock = ""
    zone: str | None = None
    pairs: tuple[tuple[str, str], ...] = ()


def columns_for(
    where: str,
    first: pl.DataFrame,
    layout: ExportLayout | None,
    known: Collection[str] = (),
    *,
    tags_in_headings: bool = False,
    one_tag: bool = False,
) -> Places:
    """Which column holds what: as its layout says, else as its cells and its name say.

    Parameters
    ----------
    where : str
        For messages.
    first : polars.DataFrame
    layout : ExportLayout or None
    known : collection of str
        Tags of the mill.
    tags_in_headings : bool
        Some headings are tags of the mill.
    one_tag : bool
        All readings are of one tag that stands elsewhere.

    Raises
    ------
    DataError
        A column is not there, cannot be guessed, or holds neither numbers nor text.
    """
    given = layout or ExportLayout(name="as found")
    names = [name for name in first.columns if name not in (EXTRA, SHORT)]
    kinds = moment_columns(first, names)
    tag = _find(where, names, given.tag_column, _TAG_NAMES, "tag_column")
    value = _find(where, names, given.value_column, _VALUE_NAMES, "value_column")
    look = given.tag_column is None and not tags_in_headings
    told = _by_cells(first, kinds, known) if look else None
    tag = told or tag
    is_long = bool((tag or given.tag_columns) and value) or one_tag or told is not None
    shape = given.shape or ("long" if is_long and not tags_in_headings else "wide")
    may_be_pairs = shape == "pairs" or (shape == "wide" and given.shape is None)
    if may_be_pairs and (pairs := pairs_in(where, first, kinds, given)):
        return _side_by_side(where, first, pairs)
    when = _when(where, first, names, kinds, given)
    unit: str | None = None
    tags: tuple[str, ...] = ()
    if shape == "wide":
        tag, value, tags = None, None, _wide_tags(first, names, when, given)
    else:
        tag = None if one_tag else _tag_column(where, names, tag, given)
        unit = _find(where, names, given.unit_column, _UNIT_NAMES, "unit_column")
        taken = {when.time, when.date, when.half, when.zone, tag, unit}
        value = value or _only_value(where, names, kinds, taken)
    _require_kinds(where, first, when.time, [value] if value else tags)
    if given.quality_column:
        _find(where, names, given.quality_column, (), "quality_column")
    if not value and not tags:
        raise _no_column(
            where, names, said("The export has no column but that of times."), "delimiter"
        )
    return Places(
        shape, when.time, when.date, tag, value, unit, tags, when.half, when.clock, when.zone
    )


def _side_by_side(where: str, first: pl.DataFrame, pairs: tuple[tuple[str, str], ...]) -> Places:
    """Columns of a table that holds a column of times beside each tag's own."""
    values = tuple(value for _, value in pairs)
    _require_kinds(where, first, pairs[0][0], values)
    return Places("pairs", pairs[0][0], None, None, None, None, values, pairs=pairs)


def _wide_tags(
    first: pl.DataFrame, names: Sequence[str], when: When, given: ExportLayout
) -> tuple[str, ...]:
    """Columns of a wide table that may be tags: all with a heading that do not say when."""
    said = {when.time, when.date, when.half, when.zone, *(c.strip() for c in given.tag_columns)}
    said |= {c.strip() for c in given.ignore_columns}
    return tuple(
        name
        for name in names
        if name not in said and not _is_unnamed(name) and not first.schema[name].is_temporal()
    )


def _tag_column(where: str, names: Sequence[str], tag: str | None, given: ExportLayout) -> str:
    """Column of tags of a long table; the first of several that name a series together."""
    if given.tag_columns:
        tag = _find(where, names, given.tag_columns[0], (), "tag_columns")
    return tag or _column(where, names, None, _TAG_NAMES, "tag_column", said("tags"))


def _when(
    where: str, first: pl.DataFrame, names: list[str], kinds: dict[str, Kind], given: ExportLayout
) -> When:
    for key in ("time_column", "date_column", "half_column", "zone_column"):
        _find(where, names, getattr(given, key), (), key)
    found = when_for(where, first, kinds, given)
    if found is not None:
        return found
    return When(_column(where, names, None, TIME_NAMES, "time_column", said("times")))


def _by_cells(first: pl.DataFrame, kinds: dict[str, Kind], known: Collection[str]) -> str | None:
    """Column in which most tags of the mill stand as cells."""
    if not known:
        return None
    counts = {}
    for name, kind in kinds.items():
        if kind in ("words", "zone") and first.schema[name] in (pl.String, pl.Categorical):
            met = first[name].cast(pl.String).unique().drop_nulls().str.strip_chars()
            counts[name] = int(met.is_in(list(known)).sum())
    best = max(counts, key=lambda name: counts[name], default=None)
    return best if best is not None and counts[best] else None


def _only_value(
    where: str, names: Sequence[str], kinds: dict[str, Kind], taken: set[str | None]
) -> str:
    """The only column of numbers that is left."""
    left = [
        name
        for name in names
        if kinds[name] == "number"
        and name not in taken
        and not _is_unnamed(name)
        and not heading_says(name)
    ]
    if len(left) == 1:
        return left[0]
    return _column(where, names, None, _VALUE_NAMES, "value_column", said("values"))


def _require_kinds(where: str, first: pl.DataFrame, time: str, values: Sequence[str]) -> None:
    """Refuse columns whose type cannot hold what is looked for in them."""
    kinds = first.schema
    for name in (time, *values):
        kind = kinds[name]
        plain = kind.is_numeric() or kind in (pl.String, pl.Boolean, pl.Null)
        if not plain and not (name == time and kind.is_temporal()):
            raise DataError(
                said(
                    'The column "{name}" holds {kind}, neither numbers nor text.',
                    name=_shown(name),
                    kind=kind,
                ),
                where,
                said(
                    "Export it as plain numbers, or name another column in its [[exports.layout]]."
                ),
            )


def _find(
    where: str, names: Sequence[str], wanted: str | None, usual: Sequence[str], key: str
) -> str | None:
    """Column named in the layout, else the first with a usual name, else None."""
    if wanted is not None:
        if wanted.strip() in names:
            return wanted.strip()
        what = said('The export has no column "{wanted}".', wanted=wanted)
        raise _no_column(where, names, what, key)
    known = {folded(plain_name(name)): name for name in reversed(names)}
    return next((known[name] for name in usual if name in known), None)


def _column(
    where: str, names: Sequence[str], wanted: str | None, usual: Sequence[str], key: str, what: str
) -> str:
    """Find a column that must be there."""
    found = _find(where, names, wanted, usual, key)
    if found is None:
        raise _no_column(
            where, names, said("No column of {what} could be found in the export.", what=what), key
        )
    return found


def _no_column(where: str, names: Sequence[str], what: str, key: str) -> DataError:
    """Build the error for a column that is not there, listing those that are."""
    columns = ", ".join(f'"{_shown(name)}"' for name in names[:12])
    columns += " ..." * (len(names) > 12)
    return DataError(
        what,
        said("{where}\nits columns: {columns}", where=where, columns=columns),
        said(
            "Name the column: {key} in the [[exports.layout]] of this kind of file; where its "
            "headings stand further down, heading_row. A file that is no export is left out.",
            key=key,
        ),
    )


def _shown(name: str) -> str:
    return "".join(c if c.isprintable() else " " for c in name[:40])


def _is_unnamed(name: str) -> bool:
    """Tell whether a column is a bare row counter, whose heading was left empty."""
    return not name or name.startswith("_duplicated_")


def value_heading(names: Sequence[str]) -> str | None:
    """Heading of a column of values of no tag in particular."""
    known = {folded(plain_name(name)): name for name in reversed(names)}
    return next((known[name] for name in _VALUE_NAMES if name in known), None)


def is_tag_heading(name: str) -> bool:
    """Tell whether a heading is a usual one of a column of tags."""
    return folded(plain_name(name)) in _TAG_NAMES


def is_unit_heading(name: str) -> bool:
    """Tell whether a heading is a usual one of a column of units."""
    return folded(plain_name(name)) in _UNIT_NAMES


def is_long(names: Sequence[str]) -> bool:
    """Tell whether headings name columns of tags and of values."""
    known = {folded(plain_name(name)) for name in names}
    return not known.isdisjoint(_TAG_NAMES) and not known.isdisjoint(_VALUE_NAMES)
