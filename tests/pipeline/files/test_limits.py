"""Files made to exhaust the machine are refused in bounded time and memory; spoiled ones too.

Each hostile file is read in a process of its own that may take 2 GiB of addresses more than
it has after loading its libraries, fill less than 1 GiB of memory in all, and take a minute.
"""

from __future__ import annotations

import gzip
import io
import sys
import zipfile
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import xlsxwriter
from processes import ran
from slow_case import slow

ROW = "2025-10-14 15:00:00,LT.AI212,7.4\n"
HEADING = "time,tag,value\n"
READ = """
import resource, sys
from pathlib import Path
import polars, pyarrow, python_calamine
from types import SimpleNamespace
from pipeline.base.errors import DataError
from pipeline.exports.export import export_readings
from pipeline.lake.refused import Tally
from pipeline.mill.units import UnitChange
polars.DataFrame({"a": ["1"]}).with_columns(polars.col("a").cast(polars.Float64))
taken = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
limit = taken + int(sys.argv[2]) * (1 << 20)
resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
mill = SimpleNamespace(
    zone="America/Chicago", ambiguous="first", missing="shift_forward",
    unit_changes={"LT.AI212": UnitChange()},
)
tally = Tally()
try:
    given = sum(f.height for f in export_readings(Path(sys.argv[1]), None, mill, tally))
except DataError as error:
    print(error)
else:
    print("given", given, "refused", sum(tally.refused.values()), "rows", tally.rows)
# Of this program alone: getrusage would count the one it was started from too.
peak = next(s for s in Path("/proc/self/status").read_text().splitlines() if "VmHWM" in s)
print(int(peak.split()[1]) // 1024, file=sys.stderr)
"""


def outcome(path: Path, more_mib: int = 2048) -> str:
    command = [sys.executable, "-c", READ, path, more_mib]
    code, said, errors = ran(command, env={"POLARS_MAX_THREADS": "1", "PATH": ""})
    assert code == 0, errors[-2000:]
    assert int(errors.split()[-1]) < 1024
    return said


def stretched(path, start):
    """A file of 1 GB of which only the start is on disk."""
    path.write_text(start)
    with path.open("r+b") as file:
        file.truncate(1 << 30)


def one_line(path):
    stretched(path, "x" * (2 << 20))


def line_without_end_further_down(path):
    stretched(path, HEADING + ROW * 50_000)


def one_line_gzipped(path):
    with gzip.open(path, "wb", compresslevel=1) as file:
        for _ in range(1024):
            file.write(b"x" * (1 << 20))


def rows_zstd(path):
    with pa.CompressedOutputStream(pa.OSFile(str(path), "wb"), "zstd") as file:
        file.write(HEADING.encode())
        for _ in range(1024):
            file.write(ROW.encode() * 31_000)


def spaces_in_zip(path):
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("export.csv", "w", force_zip64=True) as file,
    ):
        file.write((HEADING + ROW).encode())
        for _ in range(512):
            file.write(b",,\n" * (1 << 18))


def many_entries(path):
    with zipfile.ZipFile(path, "w") as archive:
        for k in range(5000):
            archive.writestr(f"{k}.csv", HEADING)


def book(path, parts):
    with xlsxwriter.Workbook(path) as workbook:
        workbook.add_worksheet().write(0, 0, "time")
    with zipfile.ZipFile(path) as archive:
        kept = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in kept.items():
            if name not in parts:
                archive.writestr(name, data)
        for name, pieces in parts.items():
            with archive.open(name, "w", force_zip64=True) as file:
                for piece in pieces:
                    file.write(piece)


SHEET = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
CLOSE = b"</sheetData></worksheet>"


def spaces_in_workbook(path):
    book(path, {"xl/worksheets/sheet1.xml": [SHEET, *([b" " * (1 << 20)] * 1024), CLOSE]})


def far_cell_in_workbook(path):
    rows = b'<row r="1"><c r="A1"><v>1</v></c></row>'
    rows += b'<row r="1048576"><c r="ALL1048576"><v>1</v></c></row>'
    book(path, {"xl/worksheets/sheet1.xml": [SHEET, rows, CLOSE]})


def columns_csv(path):
    names = ",".join(f"T{k}" for k in range(10_000))
    path.write_text(f"time,{names}\n" + ("2025-10-14 15:00," + "1," * 9_999 + "1\n") * 20)


def columns_parquet(path):
    pq.write_table(pa.table({f"T{k}": [1.0] for k in range(10_000)}), path)


def columns_workbook(path):
    with xlsxwriter.Workbook(path) as workbook:
        workbook.add_worksheet().write_row(0, 0, ["time", *(f"T{k}" for k in range(10_000))])


def rows_parquet(path):
    piece = pa.table({"time": pa.array([0] * (1 << 20), pa.timestamp("us")),
                      "tag": ["LT.AI212"] * (1 << 20), "value": [7.0] * (1 << 20)})  # fmt: skip
    with pq.ParquetWriter(path, piece.schema, compression="zstd") as writer:
        for _ in range(64):
            writer.write_table(piece, row_group_size=1 << 20)


HOSTILE = {
    one_line: "a row of more than",
    line_without_end_further_down: "a row of more than",
    one_line_gzipped: "a row of more than",
    rows_zstd: "unpacks to more than",
    spaces_in_zip: "unpacks to more than",
    many_entries: "5,000 entries",
    spaces_in_workbook: "unpacks to more than",
    far_cell_in_workbook: "1,048,576 rows",
    columns_csv: "10,001 columns",
    columns_parquet: "10,000 columns",
    columns_workbook: "10,001 columns",
    rows_parquet: "far more than its size can hold",
}


#: What takes seconds to be made, of forms of which another is tried each time.
LONG = {spaces_in_zip, spaces_in_workbook, rows_parquet, one_line_gzipped}


@pytest.mark.parametrize(
    "make",
    [slow(m) if m in LONG else m for m in HOSTILE],
    ids=[make.__name__ for make in HOSTILE],
)
def test_a_hostile_file_is_refused_in_little_time_and_memory(tmp_path, make):
    path = tmp_path / "export"
    make(path)
    told = outcome(path)
    assert HOSTILE[make] in told
    assert f"Where: {path}" in told
    assert "Next:" in told


def test_a_quote_that_is_never_closed_loses_no_row(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(HEADING + '"' + ROW + ROW * 200_000 + '"' + ROW * 9)
    # Both rows that begin with a mark have times that cannot be read.
    assert outcome(path).split() == ["given", "200008", "refused", "2", "rows", "200010"]


def test_an_archive_within_all_limits_is_read(tmp_path):
    path = tmp_path / "a.csv.gz"
    path.write_bytes(gzip.compress((HEADING + ROW * 100_000).encode()))
    assert outcome(path).split()[1] == "100000"


def test_links_and_passwords_in_archives_are_refused(tmp_path):
    for name, change, told in (
        ("link.zip", lambda entry: setattr(entry, "external_attr", 0o120777 << 16), "leads out"),
        ("locked.zip", lambda entry: setattr(entry, "flag_bits", 1), "password"),
    ):
        entry = zipfile.ZipInfo("a.csv")
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            archive.writestr(entry, HEADING + ROW)
            change(entry)
        (tmp_path / name).write_bytes(out.getvalue())
        assert told in outcome(tmp_path / name)


@pytest.mark.parametrize("name", ["a.csv", "[Content_Types].xml"])
@pytest.mark.parametrize(
    ("what", "value"),
    # Compression 98 is none that zipfile knows; version 9.9 is above the last one it reads; bits 5
    # and 6 stand for patches and strong encryption (PKWARE's APPNOTE,
    # sections 4.4.3 to 4.4.5; memory).
    [("compress_type", 98), ("extract_version", 99), ("flag_bits", 1 << 5), ("flag_bits", 1 << 6)],
)
def test_an_archive_or_workbook_packed_in_an_unknown_way_is_refused(tmp_path, what, value, name):
    entry, path = zipfile.ZipInfo(name), tmp_path / "odd.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(entry, HEADING + ROW)
        setattr(entry, what, value)
    told = outcome(path)
    assert "The archive is damaged or packed oddly." in told
    assert str(path) in told
