"""One export file, from its bytes to readings: the single door to all readers.

A file may hold several tables (sheets of a workbook, files in an archive); each is read by its
own plan, and all of them count in one tally.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import polars as pl

from pipeline.exports.above import refuse_above
from pipeline.exports.beside import note_assumptions, table_plan
from pipeline.exports.evidence import Evidence
from pipeline.exports.moment_rows import MillClock
from pipeline.exports.table import reader_for
from pipeline.files import ExportFile, batches, explained, export_tables, shown
from pipeline.lake import Tally
from pipeline.layouts import Plan
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
    # The door stands around all of it: what is raised between the tables is this file's cost, too.
    with explained(str(path)):
        yield from _of_tables(path, layout, clock, tally, on_table)


def _of_tables(
    path: Path,
    layout: ExportLayout | None,
    clock: MillClock,
    tally: Tally,
    on_table: OnTable | None,
) -> Iterator[pl.DataFrame]:
    with export_tables(path, layout) as tables:
        for table in tables:
            evidence, rows_before = Evidence(), tally.rows
            reader = None
            for note in table.notes:
                evidence.note(note)
            for raw in batches(table):
                if reader is None:
                    plan = table_plan(table, raw, layout, clock)
                    refuse_above(table.head, plan, tally, evidence)
                    reader = reader_for(plan, clock, tally, evidence)
                    if on_table:
                        on_table(table, plan, raw, evidence)
                with explained(table.where):
                    yield from reader.read(raw)
            if reader is not None:
                yield from reader.read(None)
                note_assumptions(clock, tally.known_tags, evidence)
            if tally.rows == rows_before:
                evidence.note(f"{_inner(table)} has headings and no row below them.")
            tally.notes += evidence.notes()


def _inner(table: ExportFile) -> str:
    """Name of a table for a note on its file."""
    inner = table.where.partition("\n")[2].replace("its ", "the ", 1)
    return shown(inner).capitalize() if inner else "The file"
