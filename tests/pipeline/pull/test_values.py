"""Pulling exports: every value and every row accounted for, and every hour put in its place."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from pulling import as_text, content, long_frame, pulled


def lab_file(tmp_path, rows):
    path = tmp_path / "lab.csv"
    path.write_text("sampled,point_analyte,result\n" + "".join(f"{r}\n" for r in rows))
    return path


def test_lab_words_are_kept_as_reasons(tmp_path):
    rows = [
        "2025-10-06 02:00,LAB CJ rs,0.61",
        "2025-10-06 04:00,LAB CJ rs,n.d.",
        "2025-10-06 06:00,LAB CJ rs,<0.05",
        "2025-10-06 08:00,LAB CJ rs,> 9.5",
        "2025-10-06 10:00,LAB CJ rs,",
        "2025-10-06 12:00,LAB CJ rs,broken flask",
        "2025-10-06 14:00,LAB CJ rs,0.63",
    ]
    mill, result = pulled(tmp_path, "x", lab_file(tmp_path, rows))
    frame = content(mill)
    assert frame.select("value", "reason").rows() == [
        (0.61, None),
        (None, "n.d."),
        (0.05, "below_detection"),
        (9.5, "above_detection"),
        (None, "no_value"),
        (None, "broken flask"),
        (0.63, None),
    ]
    assert frame["ts_utc"][0] == datetime(2025, 10, 6, 7, tzinfo=UTC)  # daylight saving time
    assert result.sources[0].bad == {
        "above_detection": 1,
        "below_detection": 1,
        "no_result": 1,
        "no_value": 1,
        "unreadable_text": 1,
    }


def test_long_foreign_words_are_cut_and_control_characters_taken_out(tmp_path):
    rows = ["2025-10-06 02:00,LAB CJ rs,\x1b[2J" + "x" * 500] + [
        f"2025-10-06 {h:02d}:00,LAB CJ rs,1" for h in range(3, 9)
    ]
    mill, _ = pulled(tmp_path, "x", lab_file(tmp_path, rows))
    assert content(mill)["reason"][0] == " [2J" + "x" * 36


def test_a_comma_number_in_a_point_file_never_becomes_a_wrong_number(tmp_path):
    path = tmp_path / "a.csv"
    head = "time;tag;value\n"
    good = "".join(f"2025-10-06 0{k}:00;PH.1;7,4{k}\n" for k in range(8))
    path.write_text(head + good + "2025-10-06 09:00;PH.1;7.48\n2025-10-06 10:00;PH.1;1.007,5\n")
    mill, _ = pulled(tmp_path, "x", path)
    assert content(mill).select("value", "reason").rows()[-2:] == [(None, "7.48"), (1007.5, None)]


def test_quality_words_and_numbers_that_are_none(tmp_path):
    path = tmp_path / "q.parquet"
    frame = (
        long_frame(5)
        .head(5)
        .with_columns(
            value=pl.Series([7.1, 7.2, float("nan"), float("inf"), None]),
            quality=pl.Series(["Good", "uncertain", "good", "good", "bad"]),
        )
    )
    frame.write_parquet(path)
    mill, _ = pulled(tmp_path, "q", path)
    assert content(mill).select("value", "bad", "reason").rows() == [
        (7.1, False, None),
        (7.2, True, "uncertain_quality"),
        (None, True, "not_a_number"),
        (None, True, "not_a_number"),
        (None, True, "no_value"),
    ]


def test_rows_that_cannot_be_readings_are_counted_by_reason(tmp_path):
    path = tmp_path / "a.csv"
    good = "".join(f"2025-10-06 0{k}:00,PH.1,7.4\n" for k in range(9))
    odd = "yesterday,PH.1,7.4\n2025-10-06 10:00,,7.4\n2025-10-06 10:00,XX.9,7.4\n\n"
    path.write_text("time,tag,value\n" + good + odd)
    _, result = pulled(tmp_path, "x", path)
    source = result.sources[0]
    assert source.refused == {"tag_absent": 1, "tag_not_in_mill": 1, "time_unreadable": 1}
    assert source.tags_not_in_mill == ("XX.9",)
    assert (source.rows_read, source.kept) == (12, 9)


def test_a_wide_file_counts_its_cells(tmp_path):
    path = tmp_path / "w.csv"
    path.write_text("Time,PH.1,TI.2,EVENT\n2025-10-06 10:00,7.4,,0\n2025-10-06 10:01,7.5,212,1\n")
    mill, result = pulled(tmp_path, "w", path)
    source = result.sources[0]
    assert source.rows_read == 6
    assert source.refused == {"empty_cell": 1, "tag_not_in_mill": 2}
    assert source.tags_not_in_mill == ("EVENT",)
    assert content(mill)["value"].to_list() == pytest.approx([7.4, 7.5, 100.0])


def test_the_hour_that_occurs_twice_follows_the_mill(tmp_path):
    # Daylight saving ends 2025-11-02 02:00 in Chicago: 01:30 occurs at 06:30 and 07:30 UTC.
    rows = ["2025-11-02 01:30,LAB CJ rs,0.6", "2025-11-02 03:00,LAB CJ rs,0.7"]
    path = lab_file(tmp_path, rows)
    for policy, hour in (("first", 6), ("second", 7)):
        mill, _ = pulled(tmp_path, policy, path, ambiguous=policy)
        assert content(mill)["ts_utc"].to_list() == [
            datetime(2025, 11, 2, hour, 30, tzinfo=UTC),
            datetime(2025, 11, 2, 9, 0, tzinfo=UTC),
        ]
    _, result = pulled(tmp_path, "refuse", path, ambiguous="refuse")
    assert result.sources[0].refused == {"local_time_repeated": 1}


def test_the_hour_that_is_skipped_follows_the_mill(tmp_path):
    # Clocks go forward 2026-03-08 02:00 in Chicago: 02:30 is read as 03:30 CDT = 08:30 UTC.
    rows = ["2026-03-08 01:59,LAB CJ rs,0.6", "2026-03-08 02:30,LAB CJ rs,0.7"]
    path = lab_file(tmp_path, rows)
    mill, _ = pulled(tmp_path, "shift", path)
    assert content(mill)["ts_utc"].to_list() == [
        datetime(2026, 3, 8, 7, 59, tzinfo=UTC),
        datetime(2026, 3, 8, 8, 30, tzinfo=UTC),
    ]
    _, result = pulled(tmp_path, "refuse", path, missing="refuse")
    assert result.sources[0].refused == {"local_time_skipped": 1}


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_readings_of_days_to_come_are_refused_and_told(tmp_path, ending):
    """One wrong year would stretch the season by years of empty days."""
    soon = datetime.now(UTC).replace(microsecond=0) + timedelta(hours=20)
    frame = long_frame(5)
    typo = frame.head(2).with_columns(time=pl.lit(soon + timedelta(days=400)))
    near = frame.head(1).with_columns(time=pl.lit(soon))  # a clock ahead, or another zone
    path = tmp_path / f"tags.{ending}"
    whole = pl.concat([frame, typo.cast(frame.schema), near.cast(frame.schema)])
    as_text(whole).write_csv(path) if ending == "csv" else whole.write_parquet(path)
    mill, result = pulled(tmp_path, "x", path)
    assert result.sources[0].refused == {"in_the_future": 2}
    assert result.sources[0].kept == 11
    assert content(mill)["ts_utc"].max() == soon
