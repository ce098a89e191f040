"""Making room: nothing by default, whole old seasons by rule, and the database without gaps."""

import os
import re
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import duckdb
import polars as pl
import pytest
from keeping import merge_day

from pipeline.base.errors import ConfigError, StoreBusyError
from pipeline.base.lock import only_run
from pipeline.care.store import leavings
from pipeline.care.tidy import make_room
from pipeline.cli.app import run
from pipeline.lake.coverage import lake_of
from pipeline.lake.kinds import GRID
from pipeline.lake.merge import READINGS_SCHEMA
from pipeline.mill.description import load_mill
from pipeline.store.folders import store_of

ROOT = Path(__file__).resolve().parents[3]
OLD = [date(2023, 10, 1) + timedelta(days=n) for n in range(3)]
NEW = [date(2025, 10, 1) + timedelta(days=n) for n in range(3)]


def described(folder, keep=""):
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    text = re.sub(r'(?m)^store = ".*"$', 'store = "store"', text)
    (folder / "mill.toml").write_text(text + f"\n[keep]\n{keep}\n", encoding="utf-8")
    return load_mill(folder / "mill.toml")


def fill(mill):
    """Two seasons of readings and grids, reports, refused rows, logs, remains of stopped runs."""
    lake = lake_of(mill)
    for day in OLD + NEW:
        noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
        row = {"ts_utc": noon, "tag": "T", "value": 1.0, "bad": False, "reason": None}
        merge_day(lake, day, pl.DataFrame([row], schema=READINGS_SCHEMA))
        lake.write_features(GRID, day, pl.DataFrame({"ts_utc": [noon]}))
    for day in (OLD[0], NEW[2]):
        put(mill.reports_path / str(day) / "nightly.html", 300)
    put(mill.lake_path / "refused" / "aa.parquet", 50, age_days=400)
    put(mill.lake_path / "refused" / "bb.parquet", 50)
    put(mill.store_path / "log" / "lostpol.jsonl", 70, age_days=400)
    put(mill.store_path / "log" / "lostpol.jsonl.1", 70, age_days=400)
    put(mill.lake_path / "readings" / "date=2025-10-01" / "readings.parquet.part", 1000)
    put(mill.lake_path / "incoming" / "abc" / "2025-10-01_0.parquet", 2000)


def put(path, size, age_days=0.0):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"x" * size)
    moment = time.time() - age_days * 86400.0
    os.utime(path, (moment, moment))


def files(mill):
    names = {p.relative_to(mill.store_path).as_posix() for p in mill.store_path.rglob("*")}
    return {name for name in names if not name.endswith((".lock", "lostpol.jsonl"))}


def test_by_default_only_remains_of_stopped_runs_go(tmp_path):
    mill = described(tmp_path)
    fill(mill)
    before = files(mill)
    done = make_room(mill, dry_run=False)
    assert sorted(item.size_bytes for item in done.items) == [1000, 2000]
    gone = {name for name in before - files(mill) if (mill.store_path / name).suffix}
    assert gone == {
        "lake/readings/date=2025-10-01/readings.parquet.part",
        "lake/incoming/abc/2025-10-01_0.parquet",
    }


def test_a_dry_run_lists_the_same_and_deletes_nothing(tmp_path):
    keep = "readings_days = 365\nrefused_days = 365\nreports_days = 365\nlogs_days = 90"
    mill = described(tmp_path, keep)
    fill(mill)
    before = files(mill)
    told = make_room(mill, dry_run=True)
    assert files(mill) == before
    assert make_room(mill, dry_run=False).items == told.items
    assert make_room(mill, dry_run=True).items == ()


def test_old_seasons_reports_refused_rows_and_logs_go_by_rule(tmp_path):
    keep = "readings_days = 365\nrefused_days = 365\nreports_days = 365\nlogs_days = 90"
    mill = described(tmp_path, keep)
    fill(mill)
    make_room(mill, dry_run=False)
    assert lake_of(mill).days() == NEW
    assert lake_of(mill).feature_days(GRID) == NEW
    assert [p.name for p in mill.reports_path.iterdir()] == [str(NEW[2])]
    assert [p.name for p in (mill.lake_path / "refused").iterdir()] == ["bb.parquet"]
    assert not (mill.store_path / "log" / "lostpol.jsonl.1").exists()


def test_no_season_is_cut_and_the_last_one_always_stays(tmp_path):
    mill = described(tmp_path, "readings_days = 730")
    fill(mill)  # the old season ended 731 days before the end of data, but began earlier
    make_room(mill, dry_run=False)
    assert lake_of(mill).days() == NEW
    other = tmp_path / "b"
    other.mkdir()
    mill = described(other, "readings_days = 732")
    fill(mill)
    make_room(mill, dry_run=False)
    assert lake_of(mill).days() == OLD + NEW


def test_days_that_wait_to_be_worked_out_stay(tmp_path):
    mill = described(tmp_path, "readings_days = 365")
    fill(mill)
    store_of(mill).record_pull([], [OLD[1]])
    make_room(mill, dry_run=False)
    assert lake_of(mill).days() == OLD + NEW


def test_the_database_loses_its_gaps_and_nothing_else(tmp_path):
    mill = described(tmp_path)
    store = store_of(mill)
    store.record_pull([], NEW)
    with duckdb.connect(store.path) as connection:
        connection.execute(
            "CREATE TABLE big AS SELECT range AS n, hash(range) AS h FROM range(1000000)"
        )
        connection.execute("CHECKPOINT")
        # Behind the gap, so that the file cannot just be cut off.
        connection.execute("CREATE TABLE last AS SELECT hash(range) AS h FROM range(200000)")
        connection.execute("CHECKPOINT")
        connection.execute("DROP TABLE big")
        connection.execute("CHECKPOINT")
    done = make_room(mill, dry_run=False)
    assert done.database_after < done.database_before
    assert store.pending_days() == tuple(NEW)
    store.clear_pending(NEW)  # the new file can be written
    assert store.pending_days() == ()


def test_nothing_is_deleted_while_a_run_works(tmp_path):
    mill = described(tmp_path)
    fill(mill)
    with only_run(mill), pytest.raises(StoreBusyError):
        make_room(mill, dry_run=False)
    assert (mill.lake_path / "incoming").exists()


def test_a_rule_too_short_is_refused(tmp_path):
    with pytest.raises(ConfigError, match="fault"):
        described(tmp_path, "readings_days = 10")


def test_the_command_says_what_and_how_much(tmp_path, capsys):
    mill = described(tmp_path)
    fill(mill)
    assert run(["tidy", str(mill.config_path), "--dry-run"]) == 0
    said = capsys.readouterr().out
    assert "2 files and folders would go: 3,000 bytes." in said
    assert "left by a stopped run" in said


def test_an_empty_folder_for_what_comes_in_is_no_remains(tmp_path, capsys):
    mill = described(tmp_path)
    (mill.lake_path / "incoming").mkdir(parents=True)
    assert list(leavings(mill)) == []
    put(mill.lake_path / "incoming" / "abc" / "2025-10-01_0.parquet", 2000)
    assert [sign.what for sign in leavings(mill)] == ["one of a stopped run, 0.0 MiB"]
    assert run(["tidy", str(mill.config_path), "--dry-run"]) == 0
    assert "1 file or folder would go: 2,000 bytes." in capsys.readouterr().out
