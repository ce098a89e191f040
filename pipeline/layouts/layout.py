"""How to read a table: taken from the mill's layouts, else worked out from the file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any, Final, Literal

import polars as pl

from pipeline.cells import Judge, Marks, number_marks
from pipeline.files import EXTRA, SHORT, Head
from pipeline.layouts.columns import Places, columns_for, value_heading
from pipeline.layouts.names import Named, names_for, one_tag, pair_tags
from pipeline.layouts.stamps import Setting, written, zone_stated
from pipeline.layouts.when import Clock
from pipeline.layouts.why import reasons
from pipeline.layouts.zone_rows import check_zones
from pipeline.mill import ExportLayout

_PACKED: Final = (".gz", ".zst", ".zstd", ".zip")
_DEFAULTS: Final = ExportLayout(name="as found")
#: What a plan takes over from the columns found.
_AS_PLACED: Final = (
    *("shape", "time", "date", "tag", "value", "unit", "tags", "half", "zone", "clock", "pairs"),
)


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
    shape : {"long", "wide", "pairs"}
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
    half, zone : str or None
        Columns of AM and PM, and of the zone of each row.
    clock : str
        How times of day apart from their dates are written.
    pairs : tuple of (str, str)
        Columns of times and values side by side.
    one_tag : str
        Tag of all readings of a long table without a column of tags.
    tag_columns : tuple of str
        Columns whose cells together name a series.
    short_is_empty : bool
        What rows with fewer cells than headings lack is empty.
    needed : int
        Cells that a row must have under headings that stand again further down; 0: as at the top.
    why : tuple of str
        What was decided on evidence, for the person.
    where : str
        File, and entry or sheet, for messages.
    zone_given : bool
        The description, or each row, gives the zone.
    """

    shape: Literal["long", "wide", "pairs"]
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
    half: str | None = None
    zone: str | None = None
    clock: Clock = ""
    pairs: tuple[tuple[str, str], ...] = ()
    one_tag: str = ""
    tag_columns: tuple[str, ...] = ()
    short_is_empty: bool = False
    needed: int = 0
    why: tuple[str, ...] = ()
    where: str = ""
    zone_given: bool = False

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
    setting: Setting | None = None,
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
    setting : Setting, optional

    Raises
    ------
    DataError
        A column is not there or cannot be guessed; dates or numbers that can be read in two
        ways.
    """
    given, setting = layout or _DEFAULTS, setting or Setting()
    at, named = _columns(where, first, layout, head, setting)
    values = [at.value] if at.value else at.tags
    formats = written(where, given.time_format, at, first, rest)
    stated = zone_stated(where, given, at, first, head, setting, formats)
    placed: dict[str, Any] = {name: getattr(at, name) for name in _AS_PLACED}
    return Plan(
        **placed,
        time_formats=formats,
        formats_given=given.time_format is not None,
        time_zone=stated.zone,
        marks=_marks(where, first, layout, values, delimiter, rest),
        no_result_words=_small(given.no_result_words),
        fillers=given.fillers,
        harmless_marks=given.harmless_marks,
        units_given=given.units,
        tag_names=_by_column(head, "tags") | dict(named.columns),
        tag_units=_units(head, named, at),
        moved=frozenset(named.columns),
        one_tag=named.one,
        tag_columns=tuple(name.strip() for name in given.tag_columns),
        short_is_empty=given.short_rows == "empty",
        why=reasons(at, named, stated),
        where=where,
        zone_given=given.time_zone is not None or at.zone is not None,
    )


def _by_column(head: Head | None, what: Literal["tags", "units"]) -> dict[str, str]:
    return dict(zip(head.names, getattr(head, what), strict=True)) if head else {}


def _units(head: Head | None, named: Named, at: Places) -> dict[str, str]:
    """Unit of each column as the export states it."""
    units = _by_column(head, "units")
    if named.one and named.unit and at.value:
        units[at.value] = units.get(at.value) or named.unit
    return units


def _columns(
    where: str,
    first: pl.DataFrame,
    layout: ExportLayout | None,
    head: Head | None,
    setting: Setting,
) -> tuple[Places, Named]:
    """Which column holds what, and the tags that stand elsewhere."""
    given = layout or _DEFAULTS
    names = [name for name in first.columns if name not in (EXTRA, SHORT)]
    named = names_for(where, names, head, setting.tags, given.tag)
    at = columns_for(
        where, first, layout, setting.tags, tags_in_headings=named.headed, one_tag=bool(named.one)
    )
    if at.shape == "pairs":
        above = pair_tags(at.pairs, head, setting.tags)
        return at, Named({**named.columns, **above}, headed=True)
    bare = at.shape == "wide" and setting.tags and not named.headed and not given.tag_columns
    if bare and value_heading(at.tags) and given.shape is None:
        named = one_tag(where, names, head, setting.called, setting.tags)
        at = columns_for(where, first, layout, setting.tags, one_tag=True)
    if at.zone is not None:
        check_zones(where, first[at.zone], at.zone)
    return at, named


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
