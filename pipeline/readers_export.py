"""One export file, from its bytes to readings: the single door to all readers.

A file may hold several tables (sheets of a workbook, files in an archive); each is read by its
own plan, and all of them count in one tally.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import polars as pl

from pipeline.config_models import ExportLayout
from pipeline.readers import batches, open_export
from pipeline.readers_layout import plan_for
from pipeline.readers_values import MillClock, to_readings
from pipeline.refused import Tally


def export_readings(
    path: Path, layout: ExportLayout | None, clock: MillClock, tally: Tally
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

    Yields
    ------
    polars.DataFrame
        ts_utc, tag, value [inside unit], bad, reason; unsorted, repeats kept.

    Raises
    ------
    DataError
        The file cannot be read, or can be read in two ways.
    """
    plan = None
    for raw in batches(open_export(path, layout)):
        plan = plan or plan_for(path, raw, layout)
        yield to_readings(raw, plan, clock, tally)
