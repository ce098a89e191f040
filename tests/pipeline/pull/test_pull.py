"""Pulling exports: the same readings whatever the file looks like."""

from __future__ import annotations

import gzip
import random
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from pulling import START, FakeMill, as_text, content, lake_bytes, long_frame, pulled

from pipeline.base.errors import DataError
from pipeline.mill.export_layout import ExportLayout, Exports
from pipeline.pull.pull import pull_files


def test_values_arrive_in_the_inside_unit(tmp_path, reference):
    frame = content(FakeMill(tmp_path / "reference"))
    warm = frame.filter(pl.col("tag") == "TI.2")["value"]
    assert warm.to_list() == pytest.approx([100.0] * 600)  # 212 degF
    assert frame["ts_utc"].min() == START


def test_iso_text_with_offset(tmp_path, reference):
    path = tmp_path / "a.csv"
    as_text(long_frame(), pattern="%Y-%m-%dT%H:%M:%S%z").write_csv(path)
    assert lake_bytes(pulled(tmp_path, "a", path)[0]) == reference
    as_text(long_frame(), "UTC", "%Y-%m-%dT%H:%M:%SZ").write_csv(path)
    assert lake_bytes(pulled(tmp_path, "b", path)[0]) == reference


def test_local_naive_text_semicolons_decimal_comma_gzip_and_old_encoding(tmp_path, reference):
    frame = as_text(long_frame(), pattern="%d.%m.%Y %H:%M:%S").with_columns(
        pl.col("value").str.replace(".", ",", literal=True), Qualität=pl.lit("gut")
    )
    path = tmp_path / "export.csv.gz"
    path.write_bytes(gzip.compress(frame.write_csv(separator=";").encode("cp1252")))
    assert lake_bytes(pulled(tmp_path, "gz", path)[0]) == reference


def test_tabs_utf16_and_quoted_cells(tmp_path, reference):
    text = as_text(long_frame()).write_csv(separator="\t", quote_style="always")
    path = tmp_path / "export.txt"
    path.write_bytes(text.encode("utf-16"))
    assert lake_bytes(pulled(tmp_path, "tabs", path)[0]) == reference


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_wide_and_long_give_the_same_lake(tmp_path, reference, suffix):
    wide = long_frame().pivot("tag", index="time", values="value")
    path = tmp_path / f"wide.{suffix}"
    if suffix == "csv":
        wide = wide.with_columns(pl.col("time").dt.convert_time_zone("UTC").dt.strftime("%FT%TZ"))
        wide.insert_column(0, pl.Series("", range(wide.height))).write_csv(path)
    else:
        wide.write_parquet(path)
    mill, result = pulled(tmp_path, "wide", path)
    assert lake_bytes(mill) == reference
    assert result.sources[0].rows_read == 1200


def test_slashed_dates_are_told_apart_by_days_above_twelve(tmp_path):
    for k, pattern in enumerate(("%d/%m/%Y %H:%M", "%m/%d/%Y %I:%M %p")):
        path = tmp_path / f"{k}.csv"
        path.write_text(
            "time,tag,value\n"
            + "".join(
                f"{datetime(2025, 10, d, 15, 5, tzinfo=UTC):{pattern}},PH.1,7.{d}\n"
                for d in (5, 25)
            )
        )
        mill, _ = pulled(tmp_path, str(k), path)
        expected = [datetime(2025, 10, d, 20, 5, tzinfo=UTC) for d in (5, 25)]
        assert content(mill)["ts_utc"].to_list() == expected


def test_dates_that_can_be_read_both_ways_are_asked_about(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value\n05/10/2025 15:05,PH.1,7.1\n")
    with pytest.raises(DataError, match="day/month") as caught:
        pulled(tmp_path, "x", path)
    assert "time_format" in caught.value.next_step
    layout = ExportLayout(name="mine", match="*.csv", time_format="%d/%m/%Y %H:%M")
    mill, result = pulled(tmp_path, "y", path, exports=Exports(layout=(layout,)))
    assert content(mill)["ts_utc"].to_list() == [datetime(2025, 10, 5, 20, 5, tzinfo=UTC)]
    assert result.sources[0].layout == "mine"


def test_naive_parquet_times_take_the_zone_of_their_layout(tmp_path):
    path = tmp_path / "tags_1.parquet"
    long_frame(3).with_columns(pl.col("time").dt.replace_time_zone(None)).write_parquet(path)
    layout = ExportLayout(name="historian", match="TAGS*.parquet", time_zone="UTC")
    mill, _ = pulled(tmp_path, "x", path, exports=Exports(layout=(layout,)))
    assert content(mill)["ts_utc"].min() == START
    mill, _ = pulled(tmp_path, "y", path)
    assert content(mill)["ts_utc"].min() == START + timedelta(hours=5)


@pytest.mark.slow
def test_seven_overlapping_files_in_any_order_and_form_give_the_same_bytes(tmp_path, reference):
    frame = long_frame()
    rng = random.Random(11)
    for attempt in range(3):
        files = []
        for k in range(7):
            chosen = [i for i in range(frame.height) if i % 7 == k or rng.random() < 0.3]
            rng.shuffle(chosen)
            path = tmp_path / f"{attempt}_{k}.{'csv' if k % 2 else 'parquet'}"
            piece = frame[chosen]
            as_text(piece).write_csv(path) if k % 2 else piece.write_parquet(path)
            files.append(path)
        rng.shuffle(files)
        together, result = pulled(tmp_path, f"together{attempt}", *files)
        assert lake_bytes(together) == reference
        assert sum(source.kept for source in result.sources) == 1200
        for path in files:
            one_by_one, _ = pulled(tmp_path, f"single{attempt}", path)
        assert lake_bytes(one_by_one) == reference


def test_a_second_pull_changes_nothing(tmp_path, reference):
    mill, result = pulled(tmp_path, "reference", tmp_path / "tags.parquet")
    assert result.days_changed == ()
    assert (result.sources[0].kept, result.sources[0].merged) == (0, 1200)
    assert lake_bytes(mill) == reference


def test_progress_tells_rows_then_days(tmp_path):
    path = tmp_path / "tags.parquet"
    long_frame().write_parquet(path)
    told = []
    pull_files(FakeMill(tmp_path / "x"), [path], lambda *step: told.append(step))
    assert told[-2:] == [("Storing 2025-10-06", 0, 2), ("Storing 2025-10-07", 1, 2)]
    assert all(what.startswith("Reading exports: 0.0 million rows") for what, *_ in told[:-2])


def test_what_a_stopped_pull_left_behind_is_removed(tmp_path, reference):
    mill = FakeMill(tmp_path / "reference")
    (mill.lake_path / "incoming" / "other" / "0").mkdir(parents=True)
    (mill.lake_path / "readings" / "date=2025-10-06" / "readings.parquet.part").write_bytes(b"x")
    pull_files(mill, [tmp_path / "tags.parquet"])
    assert lake_bytes(mill) == reference
    assert not (mill.lake_path / "incoming").exists()
