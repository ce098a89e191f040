"""The door for notebooks: frames in plant time, described, readable while a night runs."""

import runpy
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipeline.base.errors import ConfigError
from pipeline.base.lock import only_run
from pipeline.base.window import Window
from pipeline.lake import STATION, lake_of
from pipeline.mill.description import load_mill
from pipeline.notebook import open_mill
from pipeline.notebook.tables import TABLES
from pipeline.period import answer, as_data

ROOT = Path(__file__).resolve().parents[3]
ZONE = "America/Chicago"
DAY = ("2025-10-10T00:00", "2025-10-10T06:00")


@pytest.fixture(scope="module")
def m(searched):
    return open_mill(searched / "demo_mill.toml")


def test_every_frame_is_in_plant_time_and_described(m):
    frames = {
        "minutes": m.minutes(*DAY),
        "vessels": m.vessels(*DAY),
        "readings": m.readings(["LT.AI212", "ST.AI308"], *DAY),
        "laboratory": m.laboratory(*DAY),
        "tags": m.tags(),
        "findings": m.findings(),
    }
    for table, frame in frames.items():
        assert frame.height, table
        told = m.columns(table)
        assert frame.columns == told["column"].to_list() or table == "findings"
        assert set(frame.columns) <= set(told["column"])
        assert told["description"].str.len_chars().min() > 5
        assert told["unit"].null_count() == 0
        for name, kind in frame.schema.items():
            if isinstance(kind, pl.Datetime):
                assert kind.time_zone == ZONE, (table, name)
        if "time" in frame.columns:
            first, last = frame["time"].min(), frame["time"].max()
            assert (first.hour, first.date()) == (0, date(2025, 10, 10))
            assert last < datetime(2025, 10, 10, 6, tzinfo=last.tzinfo)
    assert set(m.columns()["table"].unique()) == {*TABLES, "findings"}
    assert m.columns("minutes").row(by_predicate=pl.col("column") == "flow_feed_m3_h")[1] == "m3/h"


def test_minutes_are_those_of_the_lake_and_add_up_to_the_period(m):
    minutes = m.minutes(*DAY)
    assert minutes.height == 360
    raw = lake_of(m.mill).read_features(STATION, date(2025, 10, 10), date(2025, 10, 10))
    at_five = raw.filter(pl.col("ts_utc") == datetime(2025, 10, 10, 5, tzinfo=UTC))
    assert minutes["ph_limed"][0] == at_five["ph_limed"][0]
    lost = m.vessels(*DAY)["lost_kg_h"].cast(pl.Float64).sum() / 60_000.0
    assert lost == pytest.approx(m.period(*DAY)["lost_t"], rel=1e-9)
    assert lost == pytest.approx(minutes["loss_kg_h"].sum() / 60_000.0, rel=1e-4)


def test_moments_may_be_said_or_given(m):
    said = m.minutes(*DAY)
    naive = m.minutes(datetime(2025, 10, 10), datetime(2025, 10, 10, 6))  # noqa: DTZ001
    aware = said["time"]
    assert said.equals(naive)
    assert said.equals(m.minutes(aware[0], aware[-1] + timedelta(minutes=1)))
    assert m.minutes(date(2025, 10, 10), date(2025, 10, 10)).height == 1440


def test_readings_carry_unit_and_words_and_bad_ones_stay(m):
    frame = m.readings("LT.AI212", *DAY)
    assert frame["unit"].unique().to_list() == ["pH"]
    assert "limed juice" in frame["what"][0]
    assert frame["bad"].dtype == pl.Boolean
    with pytest.raises(ConfigError, match=r"NO\.SUCH"):
        m.readings(["NO.SUCH"], *DAY)


def test_the_laboratory_tells_its_errors(m):
    frame = m.laboratory("2025-10-10", "2025-10-11")
    assert frame["sd"].min() > 0.0
    assert {"ph", "rs"} <= set(frame["analyte"])


def test_answers_are_those_of_the_commands(m):
    whole = m.period(*DAY)
    window = Window(*(whole[key].astimezone(UTC) for key in ("from", "to")))
    assert dict(whole.data) == as_data(answer(m.mill, window))
    assert whole["from"].utcoffset() == timedelta(hours=-5)
    assert whole.frame("by_vessel")["lost_t"].sum() == pytest.approx(whole["lost_t"], rel=1e-6)
    assert whole.numbers().filter(pl.col("key") == "lost_t")["value"][0] == whole["lost_t"]
    with pytest.raises(KeyError, match="by_vessel"):
        whole.frame("lost_t")
    again = m.replay(*DAY, "ph_limed=+0.1")
    assert again["saved_t"] == pytest.approx(again["recorded_t"] - again["replayed_t"], abs=1e-9)
    assert {"what", "amount", "unit", "value"} == set(again.frame("costs").columns)


def test_hours_without_anything_are_empty_frames_of_the_same_columns(m):
    for name in ("minutes", "vessels", "laboratory"):
        frame = getattr(m, name)("2024-01-01", "2024-01-02")
        assert frame.is_empty()
        assert frame.columns == m.columns(name)["column"].to_list()


def test_a_notebook_reads_while_a_night_holds_the_store(searched, m):
    before = m.findings()
    with only_run(load_mill(searched / "demo_mill.toml")):
        other = open_mill(searched / "demo_mill.toml")
        assert other.findings().equals(before)
        assert other.minutes(*DAY).height == 360
        assert other.period(*DAY)["lost_t"] > 0.0
        assert other.replay(*DAY)["saved_t"] == 0.0


def test_the_worked_script_runs(searched, monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["notebook.py", str(searched / "demo_mill.toml")])
    runpy.run_path(str(ROOT / "sample_parquet" / "notebook.py"), run_name="__main__")
    shown = capsys.readouterr().out
    assert "Milk of lime per juice" in shown
    assert "saved" in shown
    assert "lime, as CaO" in shown
