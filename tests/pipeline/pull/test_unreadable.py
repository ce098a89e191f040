"""Exports that cannot be read: named with a cure, and the lake left alone."""

from __future__ import annotations

import gzip
from datetime import timedelta

import polars as pl
import pytest
from pulling import FakeMill, as_text, lake_bytes, long_frame, pulled

from pipeline.base.errors import DataError
from pipeline.mill.export_layout import ExportLayout, Exports
from pipeline.pull.pull import pull_files


def broken_parquet(path):
    path.write_bytes(b"PAR1" + b"\x00" * 200)


def cut_gzip(path):
    full = gzip.compress(as_text(long_frame()).write_csv().encode(), mtime=0)
    path.write_bytes(full[: len(full) // 2])


def ragged(path):
    path.write_text("time,tag,value\n2025-10-06 10:00,PH.1,7.4\n2025-10-06 10:01,PH.1,7.4,9,9\n")


UNREADABLE = {
    "absent": (lambda path: None, "no such export"),
    "folder": (lambda path: path.mkdir(), "folder"),
    "empty": (lambda path: path.write_bytes(b""), "empty"),
    "spreadsheet": (lambda path: path.write_bytes(b"PK\x03\x04" + b"\x00" * 99), "packed oddly"),
    "damaged Parquet": (broken_parquet, "damaged"),
    "cut gzip": (cut_gzip, "cut short"),
    "ragged": (ragged, "1 of 2 readings"),
    "no time": (lambda path: path.write_text("a,b\n1,2\n"), "No column of times"),
    "all text": (
        lambda path: path.write_text("time,tag,value\n2025-10-06 10:00,PH.1,seven\n"),
        "cannot be read",
    ),
}


@pytest.mark.parametrize("case", UNREADABLE)
def test_an_unreadable_file_stops_the_pull_and_leaves_the_lake_alone(tmp_path, reference, case):
    make, message = UNREADABLE[case]
    bad = tmp_path / "bad.csv"
    make(bad)
    good = tmp_path / "good.csv"
    as_text(long_frame(5).with_columns(pl.col("time") + timedelta(days=3))).write_csv(good)
    mill = FakeMill(tmp_path / "reference")
    with pytest.raises(DataError, match=message) as caught:
        pull_files(mill, [good, bad])
    assert str(bad) in caught.value.where
    assert caught.value.next_step
    assert {k: v for k, v in lake_bytes(mill).items() if not k.startswith("incoming/")} == reference


def test_text_that_is_not_what_the_layout_says(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes("time,tag,value,Qualität\n2025-10-06 10:00,PH.1,7.4,ä\n".encode("cp1252"))
    layout = ExportLayout(name="mine", match="*.csv", encoding="utf-8")
    with pytest.raises(DataError, match="not utf-8") as caught:
        pulled(tmp_path, "x", path, exports=Exports(layout=(layout,)))
    assert "encoding" in caught.value.next_step
    layout = ExportLayout(name="mine", encoding="cp1252", value_column="reading")
    with pytest.raises(DataError, match='no column "reading"'):
        pulled(tmp_path, "x", path, exports=Exports(layout=(layout,)))
