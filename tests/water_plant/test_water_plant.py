"""The description of the real plant record reads a file laid out like it (numbers invented)."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl

from features.signal.grid import to_grid
from pipeline.lake.lake import Lake
from pipeline.mill.description import load_mill
from pipeline.pull.pull import pull_files

HEADINGS = '"","Time","Tp","Cl","pH","Redox","Leit","Trueb","Cl_2","Fm","Fm_2","EVENT"\n'


def test_a_file_laid_out_like_the_record_is_read_in_whole(tmp_path):
    mill = load_mill(Path(__file__).with_name("water_plant.toml")).with_store(tmp_path / "store")
    path = tmp_path / "record.csv"
    rows = [
        f'"{k}",2016-08-03 11:{k}:00,6.{k},.2,8.3,750,210,.01,.1,1600,NA,FALSE' for k in (10, 11)
    ]
    path.write_text(HEADINGS + "\n".join(rows) + "\n")
    result = pull_files(mill, [path])
    source = result.sources[0]
    assert source.rows_read == 20  # nine signals and the label, two minutes
    assert source.refused == {"tag_not_in_mill": 2}
    assert source.tags_not_in_mill == ("EVENT",)
    assert source.bad == {"no_result": 2}
    assert result.missing_tags == ()
    readings = Lake(mill.lake_path).read_readings(date(2016, 8, 3), date(2016, 8, 3))
    start = datetime(2016, 8, 3, 9, 10, tzinfo=UTC)  # Berlin in summer
    grid = to_grid(readings, mill.station.signals, start, start.replace(minute=12))
    assert grid["temp_water_degc"].to_list() == [6.10, 6.11]
    assert grid["other_flow_line_2"].null_count() == 2
    assert grid.select(pl.exclude("ts_utc")).width == 9
