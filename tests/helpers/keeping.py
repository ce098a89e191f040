"""Readings, findings and health of tags put into a store, without a pull or a search."""

from pathlib import Path
from tempfile import TemporaryDirectory

from pipeline.lake.columns import write_frame
from pipeline.store.rows import keep_findings, keep_sensors


def merge_day(lake, day, *news):
    """Merge readings into a stored day; the counts of each frame, and whether the day changed."""
    merged, counts, changed = lake.merged_day(day, news)
    if changed:
        with TemporaryDirectory() as folder:
            write_frame(Path(folder) / "day.parquet", merged)
            written = (Path(folder) / "day.parquet").read_bytes()
        lake.storage.write(lake.readings_name(day), lambda file: file.write(written))
    return counts, changed


def keep_found(store, rows, *, window, as_of, run_id="run1", cells=None):
    """Store what a run would have found; findings after it, withdrawn ones left out."""
    with store._writing() as connection:
        named = (as_of, run_id)
        keep_findings(connection, store.mill, rows, window=window, named=named, cells=cells)
    return store.findings()


def keep_health(store, rows):
    """Store the health of tags by day."""
    with store._writing() as connection:
        keep_sensors(connection, rows)
