"""The data dictionary explains every column that lostpol writes; the views hold what they say."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import duckdb
import polars as pl
import pytest
from keeping import keep_found

from pipeline.cli import app
from pipeline.lake.lake import Lake
from pipeline.mill.description import load_mill
from pipeline.replay import work_out_levers
from pipeline.stages import stages
from pipeline.store.dictionary import LAKE, chapters, dictionary_text
from pipeline.store.folders import store_of
from pipeline.store.verdicts import give_verdict

ROOT = Path(__file__).resolve().parents[3]
BRINDLEWATER = load_mill(ROOT / "configs" / "demo_mill.toml")
START = datetime(2025, 10, 6, 5, tzinfo=UTC)
VIEWS = ("for_chemist", "for_analyst", "for_reliability", "sensors_to_service")


@pytest.fixture(scope="module")
def searched(tmp_path_factory):
    """A mill whose first day was pulled and searched, with one finding."""
    folder = tmp_path_factory.mktemp("searched")
    mill = replace(BRINDLEWATER, store_path=folder / "store")
    week = pl.read_parquet(ROOT / "sample_parquet" / "tags_week1.parquet")
    week.filter(pl.col("time") < START + timedelta(hours=24)).write_parquet(folder / "a.parquet")
    lab = pl.read_parquet(ROOT / "sample_parquet" / "lab.parquet")
    lab.filter(pl.col("sampled") < "2025-10-07").write_parquet(folder / "lab.parquet")
    stages.pull(mill, [folder / "a.parquet", folder / "lab.parquet"])
    stages.derive(mill)
    stages.detect(mill, "backfill")
    work_out_levers(mill)
    evidence = (
        '{"facts": [{"text": "hot", "unit": "degC", "value": 101.0}], "shares": {"ph": 0.9},'
        ' "alternatives": [{"cause": "mud_held", "weight": 0.2}], "uncertainty": {"ph": 0.1}}'
    )
    row = {"section": "settler", "cause": "overheating", "started": START}
    row |= {"ended": START + timedelta(hours=6), "lost_t": 2.0, "lost_t_low": 1.0}
    row |= {"lost_t_high": 4.0, "value": 1040.0, "currency": "USD", "confidence": 0.8}
    row |= {"status": "ended", "evidence": evidence, "lost_pct": None}
    window = (START, START + timedelta(days=1))
    keep_found(store_of(mill), [row], window=window, as_of=window[1], run_id="r")
    give_verdict(
        mill, store_of(mill).findings()["finding_id"][0], "confirmed", "<b>valve</b>", "Ana"
    )
    return mill


@pytest.fixture(scope="module")
def database(searched):
    with duckdb.connect(searched.database_path, read_only=True) as connection:
        connection.execute("SET TimeZone = 'UTC'")
        yield connection


@pytest.fixture(scope="module")
def book():
    return chapters()


def test_every_column_of_the_store_is_explained(database, book):
    columns = database.sql(
        "SELECT table_name, column_name FROM duckdb_columns() WHERE NOT internal"
    ).fetchall()
    told = {
        (chapter.title.split()[-1], entry.name)
        for chapter in book
        for entry in chapter.entries
        if entry.meaning
    }
    assert {pair for pair in columns if pair[0] != "schema_version"} <= told


def test_no_chapter_and_no_column_lacks_words(book):
    for chapter in book:
        assert chapter.about, chapter.title
        for entry in chapter.entries:
            assert len(entry.meaning) > 3, (chapter.title, entry.name)
            assert entry.unit, (chapter.title, entry.name)


@pytest.mark.parametrize("folder", sorted(set(LAKE) - {"readings", "refused", "features/grid"}))
def test_lake_files_have_the_columns_explained(searched, folder):
    _, columns = LAKE[folder]
    lake = Lake(searched.lake_path)
    kind = folder.removeprefix("features/")
    days = lake.feature_days(kind)
    frame = lake.read_features(kind, days[0], days[-1])
    assert dict(frame.schema) == {name: column.dtype for name, column in columns.items()}


def test_what_a_search_says_of_sensors_has_the_columns_explained(searched, book):
    (chapter,) = [chapter for chapter in book if chapter.title == "Lake: features/sensor_days"]
    lake = Lake(searched.lake_path)
    days = lake.feature_days("sensor_days")
    frame = lake.read_features("sensor_days", days[0], days[-1])
    assert [(e.name, e.kind) for e in chapter.entries] == [
        (name, str(kind)) for name, kind in frame.schema.items()
    ]


def test_every_folder_of_the_lake_has_a_chapter(searched, book):
    top = Lake(searched.lake_path).root
    folders = {f"features/{path.name}" for path in (top / "features").iterdir()} | {"readings"}
    assert folders <= {chapter.title.removeprefix("Lake: ") for chapter in book}


def test_readings_and_grid_have_the_columns_explained(searched):
    lake = Lake(searched.lake_path)
    day = date(2025, 10, 6)
    assert lake.read_readings(day, day).columns == list(LAKE["readings"][1])
    grid = lake.read_features("grid", day, day).columns
    signals = {signal.name for signal in searched.station.signals}
    assert set(grid) == signals | set(LAKE["features/grid"][1])


def test_the_dictionary_is_a_table_for_every_chapter(capsys, tmp_path):
    text = dictionary_text()
    for name in ("Table findings", "View for_chemist", "Lake: readings", "Export of findings"):
        assert f"## {name}\n" in text
    rows = [line for line in text.splitlines() if line.startswith("|")]
    assert all(line.replace("\\|", "").count("|") == 5 for line in rows)
    assert app.run(["dictionary"]) == 0
    assert capsys.readouterr().out == text
    assert app.run(["dictionary", "--out", str(tmp_path / "d.md")]) == 0
    assert (tmp_path / "d.md").read_text(encoding="utf-8") == text
    assert app.run(["dictionary", "--out", str(tmp_path)]) == 2


def test_the_chemist_sees_what_to_act_on(database):
    row = database.sql("SELECT * FROM for_chemist").pl().row(0, named=True)
    assert row["started_local"] == datetime(2025, 10, 6)  # noqa: DTZ001 - the mill's clock
    assert (row["time_zone"], row["mill_name"]) == ("America/Chicago", "Brindlewater")
    assert (row["lost_t"], row["hours"], row["worth"]) == (2.0, 6.0, 1040.0)
    assert row["why"].startswith("hot 101.0 degC; confirmed by Ana")
    assert (row["verdict"], row["note"], row["author"]) == ("confirmed", "<b>valve</b>", "Ana")


def test_the_analyst_can_sum(database):
    row = database.sql("SELECT * FROM for_analyst").pl().row(0, named=True)
    assert (row["share_ph"], row["share_brix"]) == (0.9, None)
    assert (row["worth_low"], row["worth_high"], row["lost_t_per_day"]) == (520.0, 2080.0, 8.0)
    assert (row["day_local"], row["week_local"]) == (date(2025, 10, 6), date(2025, 10, 6))


def test_the_reliability_engineer_sees_evidence_row_by_row(database):
    rows = database.sql("SELECT kind, what, value, unit FROM for_reliability").fetchall()
    assert rows[0] == ("fact", "hot", 101.0, "degC")
    assert ("driver", "ph", 0.9, "") in rows
    assert ("alternative", "mud_held", 0.2, "") in rows
    assert ("uncertainty", "ph", 0.1, "") in rows


@pytest.mark.parametrize("view", VIEWS)
def test_views_give_the_columns_they_explain(database, book, view):
    (chapter,) = [chapter for chapter in book if chapter.title == f"View {view}"]
    assert database.sql(f"SELECT * FROM {view}").columns == [e.name for e in chapter.entries]
