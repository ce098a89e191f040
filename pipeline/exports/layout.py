"""How to read a table: taken from the mill's layouts, else worked out from the file."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final, Literal

import polars as pl

from pipeline.base import DataError
from pipeline.cells import EPOCHS, Marks, number_marks, quality_kind, time_formats
from pipeline.exports.columns import Places, columns_for, value_heading
from pipeline.exports.names import Named, names_for, one_tag, pair_tags
from pipeline.exports.when import Clock, joined_time, whole_rest
from pipeline.exports.zone_rows import check_zones
from pipeline.exports.zones_said import Stated, stated_zone
from pipeline.files import EXTRA, SHORT, Head
from pipeline.mill import ExportLayout

_PACKED: Final = (".gz", ".zst", ".zstd", ".zip")
_DEFAULTS: Final = ExportLayout(name="as found")
_OWN_ZONE: Final = r"(?:\d[Zz]|\b(?:UTC|GMT)|:\d{2}(?:\.\d+)?\s?[+-]\d{2}(?::?\d{2})?)\s*$"


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
    why : tuple of str
        What was decided on evidence, for the person.
    """

    shape: Literal["long", "wide", "pairs"]
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
    half: str | None = None
    zone: str | None = None
    clock: Clock = ""
    pairs: tuple[tuple[str, str], ...] = ()
    one_tag: str = ""
    tag_columns: tuple[str, ...] = ()
    short_is_empty: bool = False
    why: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Setting:
    """What the reading of a table may know of the mill and of the file it comes in.

    Attributes
    ----------
    tags : collection of str
        Tags of the mill.
    zone : str
        Zone of the mill.
    called : tuple of str
        Names of sheet, entry and file.
    """

    tags: Collection[str] = ()
    zone: str = ""
    called: tuple[str, ...] = ()


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
    formats = _time_formats(where, given.time_format, at, first, rest)
    stated = _zone(where, given, at, first, head, setting.zone, formats)
    names = dict(zip(head.names, head.tags, strict=True)) if head else {}
    units = dict(zip(head.names, head.units, strict=True)) if head else {}
    if named.one and named.unit and at.value:
        units[at.value] = units.get(at.value) or named.unit
    return Plan(
        shape=at.shape,
        time=at.time,
        date=at.date,
        tag=at.tag,
        value=at.value,
        quality=at.quality,
        unit=at.unit,
        tags=at.tags,
        time_formats=formats,
        formats_given=given.time_format is not None,
        time_zone=stated.zone,
        marks=_marks(where, first, layout, values, delimiter),
        good_words=_small(given.good_words),
        uncertain_words=_small(given.uncertain_words),
        no_result_words=_small(given.no_result_words),
        quality_kind=quality_kind(
            first[at.quality] if at.quality else None,
            words_given="good_words" in given.model_fields_set,
        ),
        fillers=given.fillers,
        harmless_marks=given.harmless_marks,
        tag_names=names | dict(named.columns),
        tag_units=units,
        moved=frozenset(named.columns),
        half=at.half,
        zone=at.zone,
        clock=at.clock,
        pairs=at.pairs,
        one_tag=named.one,
        tag_columns=tuple(name.strip() for name in given.tag_columns),
        short_is_empty=given.short_rows == "empty",
        why=_reasons(at, named, stated),
    )


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
    named = names_for(where, names, head, setting.called, setting.tags, given.tag)
    at = columns_for(
        where, first, layout, setting.tags, tags_in_headings=named.headed, one_tag=bool(named.one)
    )
    if at.shape == "pairs":
        above = pair_tags(at.pairs, head, setting.tags)
        return at, Named({**named.columns, **above}, headed=True)
    bare = at.shape == "wide" and setting.tags and not named.headed and not given.tag_columns
    if bare and (heading := value_heading(at.tags)) and layout_shape(layout) is None:
        named = one_tag(where, names, head, setting.called, setting.tags)
        at = columns_for(where, first, layout, setting.tags, one_tag=True)
        assert at.value is not None or heading
    check_unnamed(where, first, given, at)
    if at.zone:
        check_zones(where, first[at.zone], at.zone)
    return at, named


def layout_shape(layout: ExportLayout | None) -> str | None:
    """Shape that a layout states."""
    return layout.shape if layout else None


def check_unnamed(where: str, first: pl.DataFrame, given: ExportLayout, at: Places) -> None:
    """Ask about a column of numbers without a heading behind one of values.

    Such a column may hold the decimals of the numbers before it, parted from them by a comma.
    """
    if given.unnamed_columns == "ignore":
        return
    names = [name for name in first.columns if name not in (EXTRA, SHORT)]
    used = {at.time, at.date, at.half, at.zone, at.tag, at.quality, at.unit}
    for before, name in zip(names, names[1:], strict=False):
        unnamed = not name or name.startswith("_duplicated_")
        if not unnamed or name in used or before in used or not before:
            continue
        whole = r"^\s*[<>]?\s*[+-]?\d+\s*$"
        both = first.select(a=pl.col(before).cast(pl.String), b=pl.col(name).cast(pl.String))
        digits = both.filter(pl.col("b").str.contains(r"^\s*\d+\s*$"))
        digits = digits.filter(pl.col("a").str.contains(whole).fill_null(value=False))
        if digits.is_empty():
            continue
        a, b = (cell.strip() for cell in digits.row(0))
        raise DataError(
            f'A column without a heading behind "{before[:40]}" holds numbers: "{a}" and "{b}" '
            f"can be one number, {a},{b}, or two.",
            where,
            "Export the file again with another delimiter or decimal mark; or, if that column is "
            'not wanted, unnamed_columns = "ignore" in its [[exports.layout]].',
        )


def _reasons(at: Places, named: Named, stated: Stated) -> tuple[str, ...]:
    """What was decided on evidence."""
    found = []
    if stated.zone and stated.why:
        found.append(f"Times are in {stated.zone}: {stated.why} says so.")
    if at.zone:
        found.append(f'Each row gives its zone in column "{at.zone[:40]}".')
    if named.one and named.why != "described":
        found.append(f"All readings are of {named.one[:60]}: {named.why} says so.")
    if at.pairs:
        found.append(f"{len(at.pairs)} pairs of times and values stand side by side.")
    if at.date and at.clock in ("hours", "hhmm"):
        way = "hours" if at.clock == "hours" else "hours and minutes"
        found.append(f'Whole numbers under "{at.time[:40]}" are {way} of the day.')
    return tuple(found)


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
    times = [time for time, _ in at.pairs] or [at.time]
    if len(times) == 1:
        return time_formats(where, joined_time(first, at)[at.time], whole_rest(rest, at))
    whole = pl.concat([first[name] for name in times])
    later = (pl.concat([frame[name] for name in times]) for frame in rest)
    return time_formats(where, whole, later)


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


def _zone(
    where: str,
    given: ExportLayout,
    at: Places,
    first: pl.DataFrame,
    head: Head | None,
    mill_zone: str,
    formats: tuple[str, ...],
) -> Stated:
    """Zone of times that do not state their own."""
    if given.time_zone is not None:
        return Stated(given.time_zone)
    times = joined_time(first, at)[at.time]
    own = isinstance(times.dtype, pl.Datetime) and times.dtype.time_zone is not None
    if own or at.zone or (formats and formats[0] in EPOCHS):
        return Stated(None)
    cells = times.drop_nulls()
    if cells.dtype == pl.String:
        cells = cells.filter(cells.str.contains(r"\d"))
        if len(cells) and bool(cells.str.contains(_OWN_ZONE).all()):
            return Stated(None)
    example = str(cells[0]) if len(cells) else ""
    return stated_zone(where, at.time, head.above if head else (), mill_zone, example)
