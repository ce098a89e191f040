"""How to read a table: taken from the mill's layouts, else worked out from the file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final, Literal
from zoneinfo import available_timezones

import polars as pl

from pipeline.cells import Judge, Marks, number_marks, time_formats
from pipeline.exports.columns import Places, columns_for
from pipeline.files import Head
from pipeline.mill import ExportLayout

_PACKED: Final = (".gz", ".zst", ".zstd", ".zip")
_DEFAULTS: Final = ExportLayout(name="as found")


@dataclass(frozen=True, slots=True)
class Quality:
    """One column of quality.

    Attributes
    ----------
    column : str
    of : str
        Column of a wide table whose readings it judges; empty for all of the row.
    judge : Judge
        What its words mean.
    words : tuple of (str, int)
        Its words in the first rows, and how often each comes.
    """

    column: str
    of: str
    judge: Judge
    words: tuple[tuple[str, int], ...] = ()


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
    tag, value, unit : str or None
        Columns of a long table; the unit may be absent.
    tags : tuple of str
        Columns of a wide table that are tags (everything named but the time).
    tag_names, tag_units : mapping of str to str
        What the columns are called without their unit, and their units.
    moved : frozenset of str
        Columns of a wide table that hold another tag than their heading at the top says.
    qualities : tuple of Quality
        Columns that judge readings; the worst of them counts.
    units_given : mapping of str to str
        Units by tag, or by unit as written, that the mill's description gives.
    where : str
        File, and entry or sheet, for messages.
    time_formats : tuple of str
        strptime formats tried in turn on times written as text, or one word for numbers.
    formats_given : bool
        The formats come from the mill's description.
    time_zone : str or None
        Zone of times written without one; None is the mill's.
    marks : Marks
        How numbers are written.
    no_result_words : frozenset of str
        In small letters.
    fillers : tuple of float or None
        None: to be found on evidence.
    harmless_marks : tuple of str
    """

    shape: Literal["long", "wide"]
    time: str
    date: str | None
    tag: str | None
    value: str | None
    unit: str | None
    tags: tuple[str, ...]
    time_formats: tuple[str, ...]
    formats_given: bool
    time_zone: str | None
    marks: Marks
    no_result_words: frozenset[str]
    fillers: tuple[float, ...] | None
    harmless_marks: tuple[str, ...]
    tag_names: Mapping[str, str] = field(default_factory=dict)
    tag_units: Mapping[str, str] = field(default_factory=dict)
    moved: frozenset[str] = frozenset()
    qualities: tuple[Quality, ...] = ()
    units_given: Mapping[str, str] = field(default_factory=dict)
    where: str = ""

    @property
    def quality(self) -> str | None:
        """Column of quality, the first of them; None without one."""
        return self.qualities[0].column if self.qualities else None


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
    """Decide how to read a table from its layout, if it has one, and its first rows.

    Parameters
    ----------
    where : str
        File, and entry or sheet, for messages.
    first : polars.DataFrame
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
    at = columns_for(where, first, layout)
    values = [at.value] if at.value else at.tags
    return Plan(
        shape=at.shape,
        time=at.time,
        date=at.date,
        tag=at.tag,
        value=at.value,
        unit=at.unit,
        tags=at.tags,
        time_formats=_time_formats(where, given.time_format, at, first, rest),
        formats_given=given.time_format is not None,
        time_zone=given.time_zone or _known_zone(head, at.time),
        marks=_marks(where, first, layout, values, delimiter, rest),
        no_result_words=_small(given.no_result_words),
        fillers=given.fillers,
        harmless_marks=given.harmless_marks,
        tag_names=dict(zip(head.names, head.tags, strict=True)) if head else {},
        tag_units=dict(zip(head.names, head.units, strict=True)) if head else {},
        units_given=given.units,
        where=where,
    )


def _time_formats(
    where: str,
    given: str | None,
    at: Places,
    first: pl.DataFrame,
    rest: Iterable[pl.DataFrame],
) -> tuple[str, ...]:
    """How times are written: as described, else as found."""
    if given:
        return (given,)
    times = joined_time(first, at.time, at.date)[at.time]
    later = (joined_time(frame, at.time, at.date)[at.time] for frame in rest)
    return time_formats(where, times, later)


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
    rest: Iterable[pl.DataFrame],
) -> Marks:
    """How numbers are written: as described, else as found."""
    if layout and "decimal" in layout.model_fields_set:
        return Marks(layout.decimal, layout.thousands or "")
    thousands = layout.thousands if layout else None
    if thousands in (".", ","):
        return Marks("," if thousands == "." else ".", thousands)
    found = number_marks(where, first, columns, delimiter, rest)
    return Marks(found.decimal, thousands) if thousands else found


def _known_zone(head: Head | None, time: str) -> str | None:
    """Zone the export itself states, when it is one."""
    if head is None:
        return "UTC" if re.search(r"(?i)(?:^|[^a-z])utc(?:[^a-z]|$)", time) else None
    zone = head.time_zone
    return zone if zone == "UTC" or zone in available_timezones() else None
