"""Files whose readings cannot all be meant: two values of one moment, or no tag of the mill."""

from __future__ import annotations

import polars as pl
import pytest
from pulling import FakeMill

from pipeline.base import DataError
from pipeline.mill import ExportLayout, Exports
from pipeline.pull.pull import pull_files

HOURS = [f"2025-10-06 {h:02}:00" for h in range(24)]


def pull(tmp_path, rows, **layout):
    path = tmp_path / "export.csv"
    path.write_text("\n".join(["time,tag,value", *rows]) + "\n")
    given = (ExportLayout(name="mine", **layout),) if layout else ()
    mill = FakeMill(tmp_path / "mill", exports=Exports(layout=given))
    (source,) = pull_files(mill, [path]).sources
    days = [pl.read_parquet(p) for p in sorted(mill.lake_path.rglob("date=*/*.parquet"))]
    return source, pl.concat(days)


def test_two_values_at_every_moment_are_asked_about(tmp_path):
    rows = [f"{hour},PH.1,{value}" for hour in HOURS for value in (7.0, 7.6)]
    with pytest.raises(DataError, match=r"PH.1 at .* can be 7 or 7.6: .* 24 times") as caught:
        pull(tmp_path, rows)
    for key in ("tag_columns", "sheets", "repeats"):
        assert key in caught.value.next_step
    source, stored = pull(tmp_path, rows, repeats="best")
    assert (source.kept, source.merged, source.conflicts) == (24, 24, 24)
    assert stored["value"].unique().to_list() == [7.6]


def test_a_date_without_its_time_of_day_is_told_so(tmp_path):
    rows = [f"2025-10-{day:02},PH.1,{value}" for day in range(6, 12) for value in (7.0, 7.6)]
    with pytest.raises(DataError, match="is there a time of day"):
        pull(tmp_path, rows)


def test_a_stray_moment_with_two_values_is_bad_without_a_number(tmp_path):
    rows = [*(f"{hour},PH.1,7.{k:02}" for k, hour in enumerate(HOURS)), f"{HOURS[3]},PH.1,9.1"]
    source, stored = pull(tmp_path, rows)
    assert (source.rows_read, source.kept, source.merged) == (25, 24, 1)
    assert source.bad == {"two_values": 1}
    assert any("two good values at one moment" in note for note in source.notes)
    odd = stored.filter("bad")
    assert odd.select("value", "reason").rows() == [(None, "two_values")]


@pytest.mark.parametrize("again", ["7.4", "7.40", "7.3812"])
def test_rounding_and_repeats_are_no_second_value(tmp_path, again):
    rows = [f"{hour},PH.1,{value}" for hour in HOURS for value in ("7.4", again)]
    source, stored = pull(tmp_path, rows)
    assert not source.bad
    assert stored["value"].unique().to_list() == [float(again)]


def test_the_hour_that_comes_twice_is_no_question(tmp_path):
    # Clocks go back in Chicago on 2 November 2025, 02:00 (tz data base): one stamp an hour.
    hours = [f"2025-11-02 {h:02}:00" for h in (0, 1, 1, 2, 3)]
    rows = [f"{hour},{tag},{7 + k}" for tag in ("PH.1", "TI.2", "LAB CJ rs")
            for k, hour in enumerate(hours)]  # fmt: skip
    source, _ = pull(tmp_path, rows)
    assert source.kept + source.merged == 15


def test_a_file_without_a_tag_of_the_mill_is_refused(tmp_path):
    with pytest.raises(
        DataError, match=r"none of its 2 tags .*\"BOILER.1\", \"BOILER.2\""
    ) as caught:
        pull(tmp_path, [f"{HOURS[0]},BOILER.{k},1" for k in (1, 2)])
    assert "tag_column" in caught.value.next_step
    source, _ = pull(tmp_path, [f"{HOURS[0]},BOILER.1,1", f"{HOURS[0]},PH.1,7"])
    assert source.refused == {"tag_not_in_mill": 1}
