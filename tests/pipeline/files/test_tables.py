"""Opening export files piece by piece."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.files import tables
from pipeline.files.tables import batches, export_tables
from pipeline.mill.export_layout import ExportLayout


def first_table(path):
    with export_tables(path, None) as found:
        return next(found)


def all_rows(path):
    return pl.concat(list(batches(first_table(path))))


@pytest.mark.parametrize("block", [1, 7, 64, 10_000])
def test_small_pieces_give_the_same_rows_even_across_quoted_line_breaks(
    tmp_path, monkeypatch, block
):
    path = tmp_path / "a.csv"
    path.write_bytes(
        b'\xef\xbb\xbf time ,tag,value\r\n1,"two\nlines, one cell",3\r\n\r\n4,"say ""five""",6'
    )
    monkeypatch.setattr(tables, "TEXT_BLOCK", block)
    frame = all_rows(path)
    assert frame.columns == ["time", "tag", "value"]
    assert frame.rows() == [("1", "two\nlines, one cell", "3"), ("4", 'say "five"', "6")]


def test_parquet_comes_in_pieces_in_order(tmp_path, monkeypatch):
    path = tmp_path / "a.parquet"
    frame = pl.DataFrame({"k": range(10)})
    frame.write_parquet(path)
    monkeypatch.setattr(tables, "PARQUET_ROWS", 3)
    assert [b.height for b in batches(first_table(path))] == [3, 3, 3, 1]
    assert all_rows(path).equals(frame)


def test_a_file_of_headings_has_columns_and_no_rows(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("time;tag;value\n")
    assert all_rows(path).columns == ["time", "tag", "value"]
    assert all_rows(path).height == 0
    pl.DataFrame(schema={"time": pl.String}).write_parquet(tmp_path / "b.parquet")
    assert all_rows(tmp_path / "b.parquet").height == 0


@pytest.mark.parametrize(
    ("heading", "delimiter"),
    [("a,b,c", ","), ("a;b;c", ";"), ("a\tb\tc", "\t"), ('"x, y";b;c', ";"), ("a|b", "|")],
)
def test_the_delimiter_is_the_one_that_splits_the_headings(tmp_path, heading, delimiter):
    path = tmp_path / "a.csv"
    path.write_text(heading + "\n")
    assert first_table(path).delimiter == delimiter


def test_a_separator_line_that_names_no_delimiter_is_not_followed(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("sep=å\ntime;tag;value\n2025-10-06 10:00;PH.1;7.4\n")
    assert first_table(path).delimiter == ";"
    assert all_rows(path).rows() == [("2025-10-06 10:00", "PH.1", "7.4")]


@pytest.mark.parametrize("mark", ["å", '"', "\n"])
def test_a_described_delimiter_must_be_one_plain_character(mark):
    with pytest.raises(ValueError, match="cannot be a delimiter"):
        ExportLayout(name="odd", delimiter=mark)


def test_a_tab_may_be_described_as_delimiter():
    assert ExportLayout(name="tabs", delimiter="\t").delimiter == "\t"
