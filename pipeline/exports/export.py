"""One export file, from its bytes to readings: the single door to all readers.

A file may hold several tables (sheets of a workbook, files in an archive); each is read by its
own plan, and all of them count in one tally.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path

import polars as pl

from pipeline.exports.above import refuse_above
from pipeline.exports.evidence import Evidence
from pipeline.exports.layout import Plan, Setting, plan_for
from pipeline.exports.moment_rows import MillClock
from pipeline.exports.refused import Tally
from pipeline.exports.table import reader_for
from pipeline.files import ExportFile, batches, explained, export_tables, shown
from pipeline.mill import ExportLayout

#: Told of each table once its plan stands, with its first rows.
OnTable = Callable[[ExportFile, Plan, pl.DataFrame, Evidence], None]


def export_readings(
    path: Path,
    layout: ExportLayout | None,
    clock: MillClock,
    tally: Tally,
    on_table: OnTable | None = None,
) -> Iterator[pl.DataFrame]:
    """Readings of one export, in pieces of bounded size.

    Parameters
    ----------
    path : Path
        The export.
    layout : ExportLayout or None
        What the mill's description says of this kind of file; the rest is found out.
    clock : MillClock
        Zone, clock-change rules and tags of the mill.
    tally : Tally
        Counts, added to: ``tally.rows`` grows by exactly the readings given and refused.
        ``tally.notes`` gets what the person should know.
    on_table : callable, optional
        Told of each table before its readings.

    Yields
    ------
    polars.DataFrame
        ts_utc, tag, value [inside unit], bad, reason; unsorted, repeats kept.

    Raises
    ------
    DataError
        The file cannot be read, or can be read in two ways.
    """
    with export_tables(path, layout) as tables:
        for table in tables:
            evidence, rows_before = Evidence(), tally.rows
            reader = None
            setting = Setting(clock.unit_changes.keys(), clock.zone, table.called)
            for note in table.notes:
                evidence.note(note)
            for raw in batches(table):
                if reader is None:
                    plan = plan_for(
                        table.where,
                        raw,
                        layout,
                        head=table.head,
                        delimiter=table.delimiter,
                        rest=_after_first(table),
                        setting=setting,
                    )
                    refuse_above(table.head, plan, tally, evidence)
                    reader = reader_for(plan, clock, tally, evidence)
                    if on_table:
                        on_table(table, plan, raw, evidence)
                with explained(table.where):
                    yield from reader.read(raw)
            if reader is not None:
                yield from reader.read(None)
            if tally.rows == rows_before:
                evidence.note(f"{_inner(table)} has headings and no row below them.")
            tally.notes += evidence.notes()


def _inner(table: ExportFile) -> str:
    """Name of a table for a note on its file."""
    inner = table.where.partition("\n")[2].replace("its ", "the ", 1)
    return shown(inner).capitalize() if inner else "The file"


def _after_first(table: ExportFile) -> Iterator[pl.DataFrame]:
    """Rows after the first batch, read once more when they are asked for."""
    yield from islice(batches(table), 1, None)
