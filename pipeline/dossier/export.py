"""The data of a dossier beside it, as CSV for people and as Parquet for programs."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import polars as pl

from pipeline.dossier.gather import Material
from pipeline.dossier.lanes import LOSS_KEY, Lane
from pipeline.dossier.steps import Step
from pipeline.lake import replace_file
from pipeline.words import clean, is_formula


def harmless(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    phrase = clean(text, 500)
    return f"'{phrase}" if is_formula(text) or is_formula(phrase) else phrase


def minutes_frame(material: Material, lanes: Sequence[Lane]) -> pl.DataFrame:
    """Hours drawn by minute: UTC, plant time, and for each line its value and its parcel time.

    Columns are called after the tag, with the unit; two of the same name are numbered.
    """
    first, last = (material.index_of(moment) for moment in material.drawn)
    part = material.grid.select("ts_utc")[first:last]
    local = pl.col("ts_utc").dt.convert_time_zone(material.mill.zone)
    columns = [
        *part.get_columns(),
        *part.select(ts_local=local.dt.to_string("%Y-%m-%d %H:%M:%S%:z")).get_columns(),
    ]
    names = {"ts_utc", "ts_local"}
    for lane in lanes:
        for line in lane.lines:
            name = _name(lane, line.name, names)
            values = pl.Series(name, line.values[first:last]).fill_nan(None)
            columns.append(values)
        if lane.lines and lane.carried:
            back = pl.Series(_name(lane, "moved back [min]", names), lane.delay_min[first:last])
            columns.append(back.round(2))
    return pl.DataFrame(columns)


def _name(lane: Lane, line: str, taken: set[str]) -> str:
    base = lane.tag or lane.what
    if lane.key == LOSS_KEY or line not in ("as read",):
        base = f"{base}, {line}"
    unit = "" if line.endswith("]") else f" [{lane.unit}]"
    name = wanted = harmless(base + unit)
    number = 2
    while name in taken:
        name, number = f"{wanted} ({number})", number + 1
    taken.add(name)
    return name


def lab_frame(material: Material) -> pl.DataFrame:
    """Laboratory results of the hours drawn, with their standard error."""
    local = pl.col("ts_utc").dt.convert_time_zone(material.mill.zone)
    frame = material.lab.with_columns(ts_local=local.dt.to_string("%Y-%m-%d %H:%M:%S%:z"))
    columns = ("place", "port", "analyte", "value", "sd", "period_h")
    return frame.select("ts_utc", "ts_local", *columns)


def steps_frame(steps: Sequence[Step]) -> pl.DataFrame:
    """Steps of the calculation, as printed."""
    names = ("number", "what", "formula", "value", "unit", "source", "mark")
    rows = [{name: getattr(step, name) for name in names} for step in steps]
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String))


def write_both(folder: Path, name: str, frame: pl.DataFrame) -> tuple[str, str]:
    """Write a frame as CSV and as Parquet; names of the two files."""
    write_whole(folder / f"{name}.parquet", parquet_bytes(frame))
    write_whole(folder / f"{name}.csv", csv_bytes(frame))
    return f"{name}.csv", f"{name}.parquet"


def parquet_bytes(frame: pl.DataFrame) -> bytes:
    """A frame as Parquet."""
    buffer = io.BytesIO()
    frame.write_parquet(buffer, compression="zstd", compression_level=3)
    return buffer.getvalue()


def csv_bytes(frame: pl.DataFrame) -> bytes:
    """A frame as CSV in which no cell is a formula; UTC with a Z."""
    text = frame.with_columns(
        pl.col(pl.String).map_elements(harmless, return_dtype=pl.String, skip_nulls=True),
        pl.col(pl.Datetime).dt.to_string("%Y-%m-%dT%H:%M:%SZ"),
    )
    # The mark at the start tells spreadsheets that this is UTF-8.
    return b"\xef\xbb\xbf" + text.write_csv().encode()


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that a reader finds the old one or the new one, never half of it."""
    part = path.with_name(f".{path.name}.part")
    part.write_bytes(content)
    replace_file(part, path)
