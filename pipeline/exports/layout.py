"""Which column holds what: taken from the mill's layouts, else worked out from the file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final, Literal
from zoneinfo import available_timezones

import polars as pl

from pipeline.base import DataError
from pipeline.cells import Marks, number_marks, quality_kind, time_formats
from pipeline.files import DATE_NAMES, EXTRA, TIME_NAMES, Head, plain_name
from pipeline.mill import ExportLayout

_TAG_NAMES: Final = (
    "tag", "point_analyte", "point", "signal", "sensor", "series", "variable", "name", "tag_name",
    "messstelle", "señal", "variavel",
)  # fmt: skip
_VALUE_NAMES: Final = ("value", "result", "reading", "measurement", "wert", "messwert", "valor")
_QUALITY_NAMES: Final = ("quality", "status", "state", "validity", "status_code", "statuscode")
_UNIT_NAMES: Final = ("unit", "units", "einheit", "unidad", "unidade", "eng_unit")
_PACKED: Final = (".gz", ".zst", ".zstd", ".zip")
_CLOCK: Final = r"^\s*\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?:\s*[AaPp]\.?[Mm]\.?)?\s*$"
_DEFAULTS: Final = ExportLayout(name="as found")


@dataclass(frozen=True, slots=True)
class Plan:
    """How to read one table, with nothing left open.

    Attributes
    ----------
    shape : {"long", "wide"}
    time : str
        Column of times.
    date : str or None
        Column of dates where these stand apart from the times of day.
    tag, value, quality, unit : str or None
        Columns of a long table; quality and unit may be absent.
    tags : tuple of str
        Columns of a wide table that are tags (everything named but the time).
    tag_names, tag_units : mapping of str to str
        What the columns are called without their unit, and their units.
    moved : frozenset of str
        Columns of a wide table that hold another tag than their heading at the top says.
    time_formats : tuple of str
        strptime formats tried in turn on times written as text, or one word for numbers.
    formats_given : bool
        The formats come from the mill's description.
    time_zone : str or None
        Zone of times written without one; None is the mill's.
    marks : Marks
        How numbers are written.
    good_words, uncertain_words, no_result_words : frozenset of str
        In small letters.
    quality_kind : {"status", "words"}
    fillers : tuple of float or None
        None: to be found on evidence.
    harmless_marks : tuple of str
    """

    shape: Literal["long", "wide"]
    time: str
    date: str | None
    tag: str | None
    value: str | None
    quality: str | None
    unit: str | None
    tags: tuple[str, ...]
    time_formats: tuple[str, ...]
    formats_given: bool
    time_zone: str | None
    marks: Marks
    good_words: frozenset[str]
    uncertain_words: frozenset[str]
    no_result_words: frozenset[str]
    quality_kind: Literal["status", "words"]
    fillers: tuple[float, ...] | None
    harmless_marks: tuple[str, ...]
    tag_names: Mapping[str, str] = field(default_factory=dict)
    tag_units: Mapping[str, str] = field(default_factory=dict)
    moved: frozenset[str] = frozenset()


def layout_for(path: Path, layouts: Iterable[ExportLayout]) -> ExportLayout | None:
    """First layout whose pattern fits the file's name, with or without the packing's suffix."""
    name = path.name.casefold()
    names = {name, *(name.removesuffix(suffix) for suffix in _PACKED)}
    for layout in layouts:
        if any(fnmatchcase(n, layout.match.casefold()) for n in names):
            return layout
    return None


def plan_for(
    where: str,
    first: pl.DataFrame,
    layout: ExportLayout | None,
    *,
    head: Head | None = None,
    delimiter: str = "",
    rest: Iterable[pl.DataFrame] = (),
) -> Plan:
    """Decide how to read a table from its layout and its first rows.

    Parameters
    ----------
    where : str
        File, and entry or sheet, for messages.
    first : polars.DataFrame
        The first rows.
    layout : ExportLayout or None
    head : Head, optional
        Headings, units and zone of a text or a sheet.
    delimiter : str, optional
        Of delimited text.
    rest : iterable of polars.DataFrame
        The rows after the first; looked at only where the first leave the order of day and
        month open.

    Raises
    ------
    DataError
        A column is not there or cannot be guessed; dates or numbers that can be read in two
        ways.
    """
    given = layout or _DEFAULTS
    names = [name for name in first.columns if name != EXTRA]
    time = _column(where, names, given.time_column, TIME_NAMES, "time_column", "times")
    date = _date_column(where, first, names, time, given.date_column)
    tag = _find(where, names, given.tag_column, _TAG_NAMES, "tag_column")
    value = _find(where, names, given.value_column, _VALUE_NAMES, "value_column")
    unit = quality = None
    shape = layout.shape if layout else ("long" if tag and value else "wide")
    tags: tuple[str, ...] = ()
    if shape == "wide":
        tag = value = None
        tags = tuple(n for n in names if n not in (time, date) and not _is_unnamed(n))
    else:
        tag = tag or _column(where, names, None, _TAG_NAMES, "tag_column", "tags")
        value = value or _column(where, names, None, _VALUE_NAMES, "value_column", "values")
        quality = _find(where, names, given.quality_column, _QUALITY_NAMES, "quality_column")
        unit = _find(where, names, given.unit_column, _UNIT_NAMES, "unit_column")
    _require_kinds(where, first, time, [value] if value else tags)
    return Plan(
        shape=shape,
        time=time,
        date=date,
        tag=tag,
        value=value,
        quality=quality,
        unit=unit,
        tags=tags,
        time_formats=(given.time_format,)
        if given.time_format
        else time_formats(
            where,
            joined_time(first, time, date)[time],
            (joined_time(frame, time, date)[time] for frame in rest),
        ),
        formats_given=given.time_format is not None,
        time_zone=given.time_zone or _known_zone(head, time),
        marks=_marks(where, first, layout, [value] if value else tags, delimiter),
        good_words=_small(given.good_words),
        uncertain_words=_small(given.uncertain_words),
        no_result_words=_small(given.no_result_words),
        quality_kind=quality_kind(
            first[quality] if quality else None,
            words_given="good_words" in given.model_fields_set,
        ),
        fillers=given.fillers,
        harmless_marks=given.harmless_marks,
        tag_names=dict(zip(head.names, head.tags, strict=True)) if head else {},
        tag_units=dict(zip(head.names, head.units, strict=True)) if head else {},
    )


def joined_time(frame: pl.DataFrame, time: str, date: str | None) -> pl.DataFrame:
    """Rows whose times are whole moments, made of date and time of day where these are apart."""
    if date is None:
        return frame
    day = pl.col(date).cast(pl.String).str.strip_chars().str.replace(r"[ T]\d{1,2}:\d{2}.*$", "")
    return frame.with_columns(
        pl.concat_str(day, pl.col(time).cast(pl.String).str.strip_chars(), separator=" ").alias(
            time
        )
    )


def _small(words: Iterable[str]) -> frozenset[str]:
    return frozenset(word.casefold() for word in words)


def _marks(
    where: str,
    first: pl.DataFrame,
    layout: ExportLayout | None,
    columns: Sequence[str],
    delimiter: str,
) -> Marks:
    """How numbers are written: as described, else as found."""
    if layout and "decimal" in layout.model_fields_set:
        return Marks(layout.decimal, layout.thousands or "")
    if layout and "thousands" in layout.model_fields_set and layout.thousands:
        return Marks("." if layout.thousands != "." else ",", layout.thousands)
    return number_marks(where, first, columns, delimiter)


def _known_zone(head: Head | None, time: str) -> str | None:
    """Zone the export itself states, when it is one."""
    if head is None:
        return "UTC" if re.search(r"(?i)(?:^|[^a-z])utc(?:[^a-z]|$)", time) else None
    zone = head.time_zone
    return zone if zone == "UTC" or zone in available_timezones() else None


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


def _require_kinds(
    where: str, first: pl.DataFrame, time: str, values: Sequence[str]
) -> None:  # fmt: skip
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
