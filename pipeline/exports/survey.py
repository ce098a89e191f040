"""What was understood of an export, in words: shown before anything is stored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Final, Protocol
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.cells import EPOCHS, SERIAL
from pipeline.exports.evidence import Evidence
from pipeline.exports.export import export_readings
from pipeline.exports.moment_rows import MillClock
from pipeline.files import EXTRA, SHORT, ExportFile, shown
from pipeline.lake import Tally
from pipeline.layouts import Plan, Quality, layout_for
from pipeline.mill import Exports

_SAMPLES: Final = 3
_MOST_TAGS: Final = 60
_CELL_CHARS: Final = 24
_CELLS: Final = 8
_DELIMITERS: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "blank"}


class SurveyMill(MillClock, Protocol):
    """A mill and the layouts of its exports."""

    @property
    def exports(self) -> Exports:
        """Layouts of export files and how much may be refused."""


@dataclass(slots=True)
class _Tag:
    """What the file shows of one tag."""

    unit: str = ""
    readings: int = 0
    bad: int = 0
    outside: int = 0
    every_s: float | None = None


@dataclass(slots=True)
class Survey:
    """What one export holds.

    Attributes
    ----------
    lines : list of str
        What was understood, for a person.
    known_tags, unknown_tags : set of str
    rows, unreadable : int
        Readings offered, and those whose time, tag or value makes no sense.
    """

    lines: list[str] = field(default_factory=list)
    known_tags: set[str] = field(default_factory=set)
    unknown_tags: set[str] = field(default_factory=set)
    rows: int = 0
    unreadable: int = 0


def survey_export(
    mill: SurveyMill, path: Path, ranges: Mapping[str, tuple[float, float]] | None = None
) -> Survey:
    """Read one export to its end and tell what was understood; nothing is stored.

    Parameters
    ----------
    mill : SurveyMill
    path : Path
    ranges : mapping of str to (float, float), optional
        Lowest and highest sound reading of each tag [inside unit].

    Raises
    ------
    DataError
        The file cannot be read, or can be read in two ways.
    """
    layout = layout_for(path, mill.exports.layout)
    tally, tags = Tally(), dict[str, _Tag]()
    lines = [f"{shown(path.name)}: " + (f'layout "{layout.name}"' if layout else "as found")]
    first: datetime | None = None
    last: datetime | None = None
    samples: list[str] = []
    tell = partial(_tell_table, lines, tags, mill)
    for readings in export_readings(path, layout, mill, tally, tell):
        if readings.is_empty():
            continue
        low, high = readings.select(pl.col("ts_utc").min(), high=pl.col("ts_utc").max()).row(0)
        first, last = min(first or low, low), max(last or high, high)
        _count(tags, readings)
        _count_outside(tags, readings, ranges or {})
        if len(samples) < _SAMPLES:
            samples += _samples(readings.head(_SAMPLES - len(samples)), mill)
    if first is not None and last is not None:
        zone = ZoneInfo(mill.zone)
        lines.append(f"  from {_local(first, zone)} to {_local(last, zone)}")
    lines += [f"  read as {sample}" for sample in samples]
    lines += _tag_lines(tags)
    lines.append(f"  {_accounts(tally)}")
    lines += [f"  note: {note}" for note in tally.notes]
    return Survey(lines, tally.known_tags, tally.unknown_tags, tally.rows, tally.unreadable)


def _tell_table(
    lines: list[str],
    tags: dict[str, _Tag],
    mill: SurveyMill,
    table: ExportFile,
    plan: Plan,
    raw: pl.DataFrame,
    _evidence: Evidence,
) -> None:
    """Lines on one table: how it is written, and its first rows."""
    inner = table.where.partition("\n")[2]
    form = {"text": "delimited text", "sheet": "sheet of a workbook"}.get(table.form, table.form)
    if table.text is not None:
        mark = _DELIMITERS.get(table.delimiter, table.delimiter)
        form += f", {table.encoding.removesuffix('-sig')}, {mark}"
    if table.head is not None:
        form += f", headings in row {table.head.heading_row + 1}"
    named = f"{inner.replace('its ', '', 1)}: " if inner else ""
    lines.append(f"  {named}{form}; {plan.shape}; decimal {plan.marks.decimal}")
    lines.append(f"  times: column {shown(plan.time)}, {_time_words(plan, mill)}")
    lines += [f"  {line}" for line in _quality_lines(plan)]
    for column in plan.tags:
        tag = plan.tag_names.get(column, column)
        if unit := _unit_meant(plan, tag, plan.tag_units.get(column, "")):
            tags.setdefault(tag, _Tag()).unit = unit
    if plan.tag and plan.unit:
        pairs = raw.select(pl.col(plan.tag).cast(pl.String), pl.col(plan.unit).cast(pl.String))
        for tag, unit in pairs.drop_nulls().unique(maintain_order=True).iter_rows():
            tags.setdefault(tag.strip(), _Tag()).unit = _unit_meant(plan, tag.strip(), unit)
    for number, row in enumerate(
        raw.drop(EXTRA, SHORT, strict=False).head(_SAMPLES).iter_rows(), 1
    ):
        cells = ["" if cell is None else shown(str(cell))[:_CELL_CHARS] for cell in row[:_CELLS]]
        more = " ..." if len(row) > _CELLS else ""
        lines.append(f"  row {number}: {' | '.join(cells)}{more}")


def _unit_meant(plan: Plan, tag: str, unit: str) -> str:
    """Unit of a tag: as its layout says, else as written."""
    given = plan.units_given.get(tag) or plan.units_given.get(unit.strip())
    return f"{given}, as units of the layout says" if given else unit


def _quality_lines(plan: Plan) -> list[str]:
    """What columns tell the quality of readings, and what was made of their words."""
    lines: dict[tuple[object, ...], list[Quality]] = {}
    for quality in plan.qualities:
        lines.setdefault((quality.judge, quality.words), []).append(quality)
    found = []
    for group in lines.values():
        columns = ", ".join(shown(q.column) or "(no heading)" for q in group[:3])
        columns += f" and {len(group) - 3} more" if len(group) > 3 else ""
        whose = "" if not group[0].of else " of the tag each belongs to"
        words = ", ".join(
            f"{shown(text) or 'empty'} {group[0].judge.meaning(text) or 'not understood'} "
            f"({count:,} times)"
            for text, count in group[0].words
        )
        kind = {"status": "status codes, ", "byte": "bytes of quality, "}.get(
            group[0].judge.kind, ""
        )
        found.append(f"quality{whose} in column {columns}: {kind}{words or 'nothing'}")
    return found


def _time_words(plan: Plan, mill: SurveyMill) -> str:
    """How times are written and which zone they are in."""
    zone = f"zone {plan.time_zone}" if plan.time_zone else f"zone of the mill, {mill.zone}"
    if not plan.time_formats:
        return f"moments; without a zone of their own: {zone}"
    way = plan.time_formats[0]
    if way in EPOCHS:
        return f"counted from 1970 in UTC ({way})"
    if way == SERIAL:
        return f"days of a spreadsheet, {zone}"
    if "%#z" in way or "%z" in way:
        return "each with its offset"
    return f"written like {_like(way)}, {zone}"


def _like(pattern: str) -> str:
    """Write an example of a format, for the 25th of October 2025."""
    return datetime(2025, 10, 25, 14, 30).strftime(pattern.replace("%.f", ""))  # noqa: DTZ001


def _count(tags: dict[str, _Tag], readings: pl.DataFrame) -> None:
    """Add a batch to the counts of each tag; the first long enough gives the interval."""
    step = pl.col("ts_utc").unique().sort().diff().dt.total_milliseconds().median() / 1000.0
    seen = readings.group_by("tag").agg(pl.len(), pl.col("bad").sum(), step.alias("step"))
    for tag, count, bad, every_s in seen.iter_rows():
        entry = tags.setdefault(tag, _Tag())
        entry.readings += count
        entry.bad += bad
        entry.every_s = every_s if entry.every_s is None else entry.every_s


def _count_outside(
    tags: dict[str, _Tag], readings: pl.DataFrame, ranges: Mapping[str, tuple[float, float]]
) -> None:
    """Add readings outside the range of their tag: another unit often shows only there."""
    for (tag,), part in readings.group_by("tag"):
        if str(tag) in ranges:
            inside = part["value"].is_between(*ranges[str(tag)])
            tags[str(tag)].outside += int((~inside).sum())


def _samples(readings: pl.DataFrame, mill: SurveyMill) -> list[str]:
    """Readings in words."""
    zone = ZoneInfo(mill.zone)
    return [
        f"{_local(t, zone)}  {shown(tag)}  {'no value' if value is None else f'{value:.6g}'}"
        + (f"  (bad: {shown(reason)})" if bad else "")
        for t, tag, value, bad, reason in readings.iter_rows()
    ]


def _tag_lines(tags: dict[str, _Tag]) -> list[str]:
    """One line a tag: unit, interval, counts."""
    lines = []
    for name, tag in sorted(tags.items()):
        if not tag.readings:
            continue
        unit = f"in {shown(tag.unit)}" if tag.unit else "in the described unit"
        every = f", every {tag.every_s:g} s" if tag.every_s else ""
        bad = f", {tag.bad:,} of them bad" if tag.bad else ""
        outside = f", {tag.outside:,} of them outside its range" if tag.outside else ""
        lines.append(f"  {shown(name)}: {unit}{every}, {tag.readings:,} readings{bad}{outside}")
    more = len(lines) - _MOST_TAGS
    return lines[:_MOST_TAGS] + ([f"  and {more} more tags"] if more > 0 else [])


def _accounts(tally: Tally) -> str:
    """Write where the values went; a row of a wide file has one for each tag."""
    refused = {reason: count for reason, count in sorted(tally.refused.items()) if count}
    total = sum(refused.values())
    why = ", ".join(f"{reason.replace('_', ' ')} {count:,}" for reason, count in refused.items())
    return f"{tally.rows:,} values: {tally.rows - total:,} readings, {total:,} refused" + (
        f" ({why})" if why else ""
    )


def _local(moment: datetime, zone: ZoneInfo) -> str:
    return f"{moment.astimezone(zone):%Y-%m-%d %H:%M:%S %Z}"
