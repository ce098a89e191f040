"""The table of sensor health: every tag on every day, and what the report makes of it."""

from datetime import date, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipeline.lake.coverage import lake_of
from pipeline.lake.kinds import GRID, SENSORS, STATION
from pipeline.mill.description import load_mill
from pipeline.present.view import view_of
from pipeline.report.write import write_report
from pipeline.stages import sensors, stages
from pipeline.stages.sensors import sensors_to_look_at
from pipeline.store.folders import store_of
from pipeline.store.tables import table_schema

ROOT = Path(__file__).resolve().parents[3]
FIRST, SECOND = "ST.AI308", "ST.AI308B"
BESIDE = f"""
[tags."{SECOND}"]
quantity = "ph"
place = "settler"
port = "out"
unit = "pH"
range = [3.5, 12.0]
every_s = 10
beside = "{FIRST}"
"""
FROZEN, HIGH = "LT.TI214", "EV.TI501"
FROM = pl.datetime(2025, 10, 8, 6, time_zone="UTC")
UNTIL = FROM + pl.duration(hours=8)


def test_columns_are_those_of_the_table():
    assert list(sensors._SCHEMA.items()) == list(table_schema("sensor_health").items())


@pytest.fixture(scope="module")
def searched(tmp_path_factory):
    """Three days with a frozen thermometer and one that steps up alone."""
    folder = tmp_path_factory.mktemp("sensors")
    week = pl.read_parquet(ROOT / "sample_parquet" / "tags_week1.parquet")
    inside = pl.col("time").is_between(FROM, UNTIL)
    stuck = inside & (pl.col("tag") == FROZEN)
    value = pl.when(stuck).then(71.3).otherwise("value")
    value = pl.when(inside & (pl.col("tag") == HIGH)).then(value + 9.0).otherwise(value)
    days = week.filter(pl.col("time").dt.date() <= date(2025, 10, 9)).with_columns(value=value)
    twin = days.filter(pl.col("tag") == FIRST).with_columns(
        tag=pl.lit(SECOND), value=pl.col("value") - 0.35
    )
    days = pl.concat([days, twin.cast(days.schema)])
    days.filter(pl.col("tag") != "ST.TI307").write_parquet(folder / "tags_a.parquet")
    lab = pl.read_parquet(ROOT / "sample_parquet" / "lab.parquet")
    lab.filter(pl.col("sampled") < "2025-10-09 19:00").write_parquet(folder / "lab.parquet")
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    text = text.replace('../lostpol_store/brindlewater"', f'{folder / "store"}"')
    (folder / "mill.toml").write_text(text + BESIDE, encoding="utf-8")
    mill = load_mill(folder / "mill.toml")
    stages.pull(mill, [folder / "tags_a.parquet", folder / "lab.parquet"])
    stages.derive(mill)
    return mill, stages.detect(mill, "nightly")


def test_every_tag_has_a_row_on_every_day(searched):
    mill, judged = searched
    first, last = judged.window.days
    table = store_of(mill).sensors(first, last)
    days = (last - first).days + 1
    assert table.height == days * len(mill.station.signals)
    parts = ("good", "spikes", "out_of_range", "frozen", "calibration", "other_bad")
    assert (table["readings"] == table.select(pl.sum_horizontal(parts)).to_series()).all()
    lake = lake_of(mill).read_readings(first, last, [FROZEN])
    assert table.filter(pl.col("tag") == FROZEN)["readings"].sum() == lake.height


def test_verdicts_follow_what_happened(searched):
    mill, judged = searched
    ill = sensors_to_look_at(mill, *judged.window.days)
    rows = {row["tag"]: row for row in ill.to_dicts()}
    assert rows["ST.TI307"]["verdict"] == "silent"
    assert rows[FROZEN]["verdict"] == "sick"
    assert "frozen for" in rows[FROZEN]["text"]
    assert rows[HIGH]["verdict"] == "sick"
    assert "nothing followed" in rows[HIGH]["text"]
    assert ill["tag"][0] == "ST.TI307"


def test_ph_probes_are_compared_with_the_laboratory(searched):
    mill, judged = searched
    table = store_of(mill).sensors(*judged.window.days)
    compared = table.filter(pl.col("drift").is_not_null())
    assert set(compared["quantity"]) == {"ph"}
    assert set(compared["tag"]) == {"MJ.AI104", "LT.AI212", FIRST, SECOND}
    assert (compared["drift_sd"] > 0.0).all()


def test_a_second_probe_that_drifts_is_told_by_the_first_and_the_laboratory(searched):
    mill, judged = searched
    table = store_of(mill).sensors(*judged.window.days)
    rows = {tag: table.filter(pl.col("tag") == tag) for tag in (FIRST, SECOND)}
    last = {tag: part.sort("day").row(-1, named=True) for tag, part in rows.items()}
    assert last[SECOND]["verdict"] == "sick"
    assert (
        "reads 0.35 pH (standard error 0.000) below its first instrument ST.AI308; the"
        in (last[SECOND]["text"])
    )
    assert "the laboratory bears ST.AI308 out" in last[SECOND]["text"]
    assert SECOND not in last[FIRST]["text"]
    assert last[SECOND]["drift"] == pytest.approx(last[FIRST]["drift"] - 0.35, abs=0.01)


def test_the_physics_follows_the_first_probe(searched):
    mill, judged = searched
    lake, (first, last) = lake_of(mill), judged.window.days
    grid = lake.read_features(GRID, first, last)
    ph = lake.read_features(STATION, first, last)["ph_clear"]
    one, other = (grid[f"ph_settler_out{name}"] for name in ("", "_second"))
    assert (one - other).median() == pytest.approx(0.35)
    assert (ph - one).abs().max() < 1e-9


def test_a_sick_sensor_is_no_loss(searched):
    mill, judged = searched
    view = view_of(mill, judged.window)
    assert view.notices is not None
    assert "sensor_fault" in view.notices["kind"].to_list()
    hot = view.findings.filter(pl.col("cause") == "overheating")
    assert hot.is_empty()


def test_the_report_names_the_sensors_to_look_at(searched, tmp_path):
    mill, judged = searched
    page = write_report(tmp_path / "r.html", view_of(mill, judged.window)).read_text("utf-8")
    assert "Sensors to look at" in page
    table = page[page.index("Sensors to look at") :]
    for text in (FROZEN, "do not trust", "no readings"):
        assert text in table


def test_a_run_again_writes_the_same_rows(searched):
    mill, judged = searched
    before = store_of(mill).sensors(*judged.window.days)
    stages.detect(mill, "nightly")
    assert store_of(mill).sensors(*judged.window.days).equals(before)


def test_the_lake_keeps_a_days_counts(searched):
    mill, _ = searched
    days = lake_of(mill).feature_days(SENSORS)
    assert days == [days[0] + timedelta(days=n) for n in range(len(days))]
