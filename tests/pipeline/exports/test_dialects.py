"""Random readings written in a random dialect come back as they were."""

from __future__ import annotations

import gzip
import io
import zipfile
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl
import pyarrow as pa
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.exports.export import export_readings
from pipeline.lake.refused import Tally
from pipeline.mill.export_layout import ExportLayout
from pipeline.mill.units import UnitChange

TAGS = ("MJ.FI101", 'pH "limed"; out', "Température, chauffé", "LAB CJ rs")
LOCAL = ZoneInfo("America/Chicago")
#: Pattern, step it can express, zone (None: the mill's).
TIMES = (
    ("%Y-%m-%d %H:%M:%S", 1, None),
    ("%Y-%m-%dT%H:%M:%SZ", 1, UTC),
    ("%Y-%m-%d %H:%M:%S%z", 1, LOCAL),
    ("%d.%m.%Y %H:%M:%S", 1, None),
    ("%d/%m/%Y %H:%M", 60, None),
    ("%m/%d/%Y %I:%M:%S %p", 1, None),
    ("%d-%b-%Y %H:%M:%S", 1, None),
    ("%Y%m%d%H%M%S", 1, None),
    ("epoch_s", 1, UTC),
    ("epoch_ms", 1, UTC),
    ("serial", 1, None),
)


@dataclass(frozen=True)
class AnyMill:
    zone: str = "America/Chicago"
    ambiguous: str = "first"
    missing: str = "shift_forward"
    unit_changes: dict = field(default_factory=lambda: dict.fromkeys(TAGS, UnitChange()))


@st.composite
def cases(draw):
    pattern, step, zone = draw(st.sampled_from(TIMES))
    # Away from clock changes: an hour that comes twice cannot come back as it was without offset.
    # A day above twelve tells day from month; a file without one is asked about instead.
    start = datetime(2025, 6, 13, 6, tzinfo=UTC)
    offsets = draw(st.lists(st.integers(0, 14_000), min_size=2, max_size=25, unique=True))
    values = st.decimals(-9000, 90_000, places=3).map(float)
    rows = [
        (
            start + timedelta(seconds=60 * k // step * step),
            draw(st.sampled_from(TAGS)),
            draw(values),
        )
        for k in offsets
    ]
    rows = list({(t, tag): (t, tag, v) for t, tag, v in rows}.values())
    return rows, pattern, zone or LOCAL


def written(moment, pattern, zone):
    if pattern == "epoch_s":
        return str(int(moment.timestamp()))
    if pattern == "epoch_ms":
        return str(int(moment.timestamp() * 1000))
    local = moment.astimezone(zone)
    if pattern == "serial":
        days = (local.replace(tzinfo=None) - datetime(1899, 12, 30)) / timedelta(days=1)  # noqa: DTZ001
        return f"{days:.10f}"
    return local.strftime(pattern)


def quoted(cell, separator):
    return '"' + cell.replace('"', '""') + '"' if separator in cell or '"' in cell else cell


def packed(data, packing):
    if packing == "gz":
        return gzip.compress(data, mtime=0)
    if packing == "zst":
        return pa.Codec("zstd").compress(data, asbytes=True)
    if packing == "zip":
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            archive.writestr("export.csv", data)
        return out.getvalue()
    return data


def read_back(path, layout):
    tally = Tally()
    frames = list(export_readings(path, layout, AnyMill(), tally))
    frame = pl.concat(frames)
    assert tally.rows == frame.height + sum(tally.refused.values())
    return frame, tally


@pytest.mark.slow
@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    case=cases(),
    separator=st.sampled_from([",", ";", "\t", "|"]),
    decimal=st.sampled_from([".", ","]),
    thousands=st.booleans(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    packing=st.sampled_from(["", "gz", "zst", "zip"]),
    line_end=st.sampled_from(["\n", "\r\n"]),
    wide=st.booleans(),
    title=st.booleans(),
)
def test_any_dialect_is_read_back_as_it_was(  # noqa: PLR0917
    tmp_path_factory, case, separator, decimal, thousands, encoding, packing, line_end, wide, title
):
    rows, pattern, zone = case
    other = "." if decimal == "," else ","

    def number(value):
        text = f"{value:,.3f}" if thousands else f"{value:.3f}"
        return text.translate(str.maketrans({",": other, ".": decimal}))

    def line(*cells):
        return separator.join(quoted(cell, separator) for cell in cells) + line_end

    lines = [line("Period", "of a night")] if title else []
    if wide:
        lines.append(line("time", *TAGS))
        for moment in dict.fromkeys(t for t, _, _ in rows):
            cells = {tag: number(v) for t, tag, v in rows if t == moment}
            lines.append(line(written(moment, pattern, zone), *(cells.get(t, "") for t in TAGS)))
    else:
        lines.append(line("time", "tag", "value"))
        lines += [line(written(t, pattern, zone), tag, number(v)) for t, tag, v in rows]
    path = tmp_path_factory.mktemp("dialect") / f"export.csv{'.' if packing else ''}{packing}"
    path.write_bytes(packed("".join(lines).encode(encoding), packing))
    # Three decimals everywhere can be thousands: then the description has to say.
    layout = ExportLayout(
        name="any", decimal=decimal, shape="wide" if wide else "long",
        encoding="cp1252" if encoding == "cp1252" else "utf-8",
        thousands=other if thousands else None,
    )  # fmt: skip
    frame, tally = read_back(path, layout)
    assert Counter(frame.select("ts_utc", "tag", "value").rows()) == Counter(rows)
    assert not frame["bad"].any()
    assert set(tally.refused) <= {"empty_cell"}


@settings(max_examples=30, deadline=None, derandomize=True)
@given(case=cases(), book=st.booleans())
def test_workbooks_and_parquet_are_read_back_as_they_were(tmp_path_factory, case, book):
    rows, _, _ = case
    folder: Path = tmp_path_factory.mktemp("binary")
    path = folder / ("a.xlsx" if book else "a.parquet")
    if book:
        with xlsxwriter.Workbook(path) as workbook:
            sheet = workbook.add_worksheet()
            style = workbook.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
            sheet.write_row(0, 0, ("time", "tag", "value"))
            for k, (t, tag, v) in enumerate(rows, start=1):
                sheet.write_datetime(k, 0, t.astimezone(LOCAL).replace(tzinfo=None), style)
                sheet.write_row(k, 1, (tag, v))
    else:
        schema = {"time": pl.Datetime("us", "UTC"), "tag": pl.String, "value": pl.Float64}
        pl.DataFrame(rows, schema=schema, orient="row").write_parquet(path)
    frame, tally = read_back(path, None)
    assert Counter(frame.select("ts_utc", "tag", "value").rows()) == Counter(rows)
    assert not tally.refused
