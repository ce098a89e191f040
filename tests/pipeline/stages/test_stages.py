"""Stages and chains on four days of the sample season: repeats, late files, faults."""

import hashlib
import shutil
import subprocess
import sys
import time
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import nights
import polars as pl
import pytest
from four_days import DAYS, ROOT, describe
from keeping import merge_day
from polars.testing import assert_frame_equal
from processes import PATIENCE_S, ending

from models.account.sums import bare_sums
from models.detect.uncalibrated import UNCALIBRATED_COLUMNS
from pipeline.base.errors import ConfigError, DataError, StoreBusyError
from pipeline.base.lock import only_run
from pipeline.base.window import ONE_DAY
from pipeline.cli.check import check_mill
from pipeline.lake.coverage import lake_of, tag_health
from pipeline.lake.kinds import GRID, HEALTH, LOSSES, STATION, UNCALIBRATED, ZONES
from pipeline.mill.description import load_mill
from pipeline.present.view import view_of
from pipeline.pull import inbox
from pipeline.run import order
from pipeline.stages import stages
from pipeline.stages.search_plan import plan_search
from pipeline.stages.search_results import SUMS, season_days
from pipeline.stages.search_windows import plan
from pipeline.store.folders import store_of
from pipeline.store.store import Store


@pytest.fixture(autouse=True)
def _no_pause(monkeypatch):
    """Look at arriving files twice without waiting long between."""
    monkeypatch.setattr(inbox, "PAUSE_S", 0.05)


@pytest.fixture(scope="session")
def worked_out(tmp_path_factory, exports):
    """A mill whose exports were pulled and worked out at one go; not to be changed."""
    mill = describe(tmp_path_factory.mktemp("whole"))
    stages.pull(mill, exports)
    stages.derive(mill)
    return mill


@pytest.fixture
def ready(tmp_path, worked_out):
    """A copy of it to work on."""
    shutil.copytree(worked_out.store_path, tmp_path / "store")
    return describe(tmp_path)


def digests(mill, kind):
    root = mill.lake_path / "features" / kind
    return {
        p.parent.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in root.rglob("*.parq*")
    }


def test_pulled_days_wait_until_they_are_worked_out(tmp_path, exports):
    mill = describe(tmp_path)
    stages.pull(mill, exports[:1])
    assert store_of(mill).pending_days() == tuple(DAYS[:3])
    assert stages.derive(mill) == 3
    assert store_of(mill).pending_days() == ()
    assert stages.derive(mill) == 0


@pytest.mark.slow
def test_days_do_not_depend_on_the_order_of_arrival(tmp_path, exports, worked_out):
    mill = describe(tmp_path)
    for file in (exports[1], exports[2], exports[0]):
        stages.pull(mill, [file])
        stages.derive(mill)
    for kind in (GRID, STATION, ZONES, HEALTH):
        assert digests(mill, kind) == digests(worked_out, kind)


def test_every_minute_is_there_once(worked_out):
    minutes = lake_of(worked_out).read_features(STATION, DAYS[0], DAYS[4])
    assert minutes.height == 5 * 1440
    assert minutes["ts_utc"].diff().drop_nulls().unique().to_list() == [timedelta(minutes=1)]


def test_a_pull_cut_short_is_made_good_by_the_next(tmp_path, exports, monkeypatch):
    mill = describe(tmp_path)
    with monkeypatch.context() as patch:
        patch.setattr(Store, "record_pull", lambda *_, **__: (_ for _ in ()).throw(OSError("full")))
        with pytest.raises(OSError, match="full"):
            stages.pull(mill, exports[:1])
    result = stages.pull(mill, exports[:1])
    assert result.days_changed == tuple(DAYS[:3])
    assert result.sources[0].kept == result.sources[0].rows_read
    assert store_of(mill).sources()["rows_kept"].to_list() == [result.sources[0].kept]
    assert store_of(mill).pending_days() == tuple(DAYS[:3])


def test_a_pull_cut_short_is_completed_before_days_are_worked_out(tmp_path, exports, monkeypatch):
    mill = describe(tmp_path)
    with monkeypatch.context() as patch:
        patch.setattr(Store, "record_pull", lambda *_, **__: (_ for _ in ()).throw(OSError("full")))
        with pytest.raises(OSError, match="full"):
            stages.pull(mill, exports[:1])
    assert stages.derive(mill) == 3
    assert store_of(mill).sources().height == 1


def test_corrections_queue_only_their_days(ready, tmp_path):
    day = lake_of(ready).read_readings(DAYS[2], DAYS[2], ["LT.AI212"])
    path = tmp_path / "late.parquet"
    day.head(1).select(
        "tag", time="ts_utc", value=pl.lit(7.77), quality=pl.lit("good")
    ).write_parquet(path)
    result = stages.pull(ready, [path])
    assert result.days_changed == (DAYS[2],)
    assert store_of(ready).pending_days() == (DAYS[2],)
    assert stages.pull(ready, [path]).days_changed == ()


def test_impossible_lab_results_are_marked_before_the_search(ready, monkeypatch):
    series, seen, real = ready.station.lab[0], [], stages.lab_results
    monkeypatch.setattr(stages, "lab_results", lambda r, s: real(seen.append(r) or r, s))
    result = lake_of(ready).read_readings(DAYS[1], DAYS[1], [series.tag]).head(1)
    absurd = result.with_columns(value=pl.lit(series.high + 50.0))
    merge_day(lake_of(ready), DAYS[1], absurd)
    stages.detect(ready, "backfill")
    assert "out_of_range" in seen[0]["reason"].to_list()


def test_the_same_search_twice_gives_the_same_findings(ready):
    first = stages.detect(ready, "backfill")
    table = store_of(ready).findings(withdrawn=True)
    assert stages.detect(ready, "nightly") == first
    assert store_of(ready).findings(withdrawn=True).equals(table)
    runs = store_of(ready).runs()
    assert runs["state"].to_list() == ["finished"]
    assert runs["as_of"].to_list() == [first.window.end]


def test_the_search_asks_for_the_smallest_finding_of_the_description(ready, monkeypatch):
    asked = []
    monkeypatch.setattr(stages, "find_losses", lambda *parts, **_: asked.append(parts[4]))
    # 104 at 520 a tonne is 0.2 t.
    detection = ready.detection.model_copy(update={"smallest_finding_worth": 104.0})
    mill = replace(ready, detection=detection, price_per_t=520.0)
    lake = lake_of(ready)
    stages.search(mill, lake, plan(ready, lake)[0].sees)
    assert asked[0].smallest_finding_t == 0.2


def test_first_and_last_sight_are_times_of_the_data(ready):
    judged = stages.detect(ready, "backfill")
    found = store_of(ready).findings()
    assert found.height == judged.findings > 0
    assert set(found["first_seen"]) == set(found["last_seen"]) == {judged.window.end}


def test_a_search_that_fails_says_so_and_publishes_nothing(ready, monkeypatch):
    monkeypatch.setattr(
        stages, "find_losses", lambda *_, **__: (_ for _ in ()).throw(ValueError("holes"))
    )
    with pytest.raises(ValueError, match="holes"):
        stages.detect(ready, "backfill")
    assert store_of(ready).runs()["state"].to_list() == ["failed"]
    assert store_of(ready).findings().is_empty()


@pytest.mark.slow
def test_a_changed_description_works_everything_out_again(ready, tmp_path):
    stages.detect(ready, "backfill")
    assert stages.derive(ready) == 0
    changed = describe(tmp_path, **{"volume_m3 = 340.0": "volume_m3 = 300.0"})
    assert stages.derive(changed) == 5


def test_without_readings_or_vessels_it_says_what_to_do(tmp_path, exports):
    mill = describe(tmp_path)
    with pytest.raises(DataError, match="no readings yet"):
        order.backfill(mill)
    with pytest.raises(DataError, match="Nothing was worked out"):
        stages.detect(mill, "backfill")
    text = (tmp_path / "mill.toml").read_text(encoding="utf-8")
    a, b, c = (text.index(mark) for mark in ("[targets]", "# The train", "# Historian"))
    (tmp_path / "mill.toml").write_text(text[:a] + text[b : b + 1] + "\n" + text[c:], "utf-8")
    with pytest.raises(ConfigError, match="names no vessels"):
        stages.derive(load_mill(tmp_path / "mill.toml"))


def test_days_outside_the_data_are_refused(ready):
    with pytest.raises(ConfigError, match="after the end of data"):
        stages.detect(ready, "backfill", date(2026, 1, 1))
    with pytest.raises(ConfigError, match="comes after the last day"):
        order.backfill(ready, DAYS[2], DAYS[1])


@pytest.mark.slow
def test_a_backfill_of_some_days_reports_on_them(tmp_path, exports):
    mill = describe(tmp_path)
    stages.pull(mill, exports)
    outcome = order.backfill(mill, DAYS[1], DAYS[2])
    assert mill.local_day(outcome.period.start) == DAYS[1]
    assert outcome.period.end == mill.day_start_utc(DAYS[3])
    assert outcome.report.name == "backfill.html"
    assert outcome.report.parent.name == DAYS[2].isoformat()


def small(folder):
    """A mill of four vessels and half the tags, with a look-back of a week."""
    path = nights.describe(folder).config_path
    text = path.read_text(encoding="utf-8")
    assert "look_back_days = 14" in text
    path.write_text(text.replace("look_back_days = 14", "look_back_days = 7"), encoding="utf-8")
    return load_mill(path)


@pytest.mark.slow
def test_a_season_split_into_backfills_ends_with_the_same_findings(tmp_path, monkeypatch):
    # Drawing takes longer than the search, and is not compared.
    monkeypatch.setattr(order, "write_season_report", lambda *_: Path("not drawn"))
    # Eight days against a look-back of seven: the last window alone would not see the first days.
    # Days are worked out with two days before and one after them; the windows overlap by less.
    week = [pl.read_parquet(ROOT / "sample_parquet" / f"tags_week{n}.parquet") for n in (1, 2)]
    pl.concat(week).filter(pl.col("time").dt.date() < date(2025, 10, 14)).write_parquet(
        tmp_path / "tags.parquet"
    )
    lab = pl.read_parquet(ROOT / "sample_parquet" / "lab.parquet")
    lab.filter(pl.col("sampled") < "2025-10-14").write_parquet(tmp_path / "lab.parquet")
    pulled = small(tmp_path)
    stages.pull(pulled, [tmp_path / "tags.parquet", tmp_path / "lab.parquet"])
    found = {}
    for name, parts in {"whole": [(0, 8)], "split": [(0, 4), (4, 8)]}.items():
        shutil.copytree(pulled.store_path, tmp_path / name / "store")
        mill = small(tmp_path / name)
        for first, last in parts:
            order.backfill(mill, DAYS[0] + first * ONE_DAY, DAYS[0] + last * ONE_DAY)
        found[name] = store_of(mill).findings().drop("first_seen", "run_id")
    assert found["whole"].height > 0
    assert found["split"].equals(found["whole"])


def test_a_nightly_run_pulls_once_and_reports_yesterday(tmp_path, exports):
    mill = describe(tmp_path)
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    for file in exports:
        shutil.copy(file, inbox)
    (inbox / ".tags_partial.parquet").write_bytes(b"still being written")
    first = order.nightly(mill)
    pulled = store_of(mill).sources()
    table = store_of(mill).findings()
    again = order.nightly(mill)
    assert again == first
    assert store_of(mill).sources().equals(pulled)
    assert store_of(mill).findings().equals(table)
    yesterday = mill.local_day(first.period.end) - timedelta(days=1)
    assert first.period.start == mill.day_start_utc(yesterday)
    page = first.report.read_text(encoding="utf-8")
    assert "Brindlewater" in page
    assert "nothing newer had arrived" in page
    weekly = order.weekly(mill).report
    assert weekly.name == "weekly.html"
    for report in (first.report, weekly):
        assert report.with_suffix(".pdf").read_bytes().startswith(b"%PDF-")
        assert "Brindlewater" in report.with_suffix(".txt").read_text(encoding="utf-8")


def test_one_unreadable_file_does_not_hide_the_report(tmp_path, exports):
    mill = describe(tmp_path)
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    shutil.copy(exports[0], inbox)
    (inbox / "broken.parquet").write_bytes(b"this is no parquet")
    half = exports[1].read_bytes()
    (inbox / "tags_b.parquet").write_bytes(half[: len(half) // 2])
    with pytest.raises(DataError, match="1 source could not be read") as caught:
        order.nightly(mill)
    assert "broken.parquet" in caught.value.where
    assert "tags_b.parquet" not in caught.value.where
    (report,) = mill.reports_path.rglob("nightly.html")
    assert "broken.parquet" in report.read_text(encoding="utf-8")
    assert "still arriving" in report.read_text(encoding="utf-8")
    (inbox / "broken.parquet").unlink()
    (waiting,) = order.nightly(mill).waiting
    assert waiting.path.name == "tags_b.parquet"
    (inbox / "tags_b.parquet").write_bytes(half)
    assert order.nightly(mill).waiting == ()
    assert store_of(mill).sources()["name"].to_list() == ["tags_a.parquet", "tags_b.parquet"]


def test_a_missing_inbox_is_told_and_not_passed_over(ready):
    with pytest.raises(DataError) as caught:
        order.nightly(ready)
    assert "the inbox folder does not exist" in caught.value.where
    assert len(list(ready.reports_path.rglob("nightly.html"))) == 1


@pytest.mark.slow
def test_a_killed_run_is_made_good_by_the_next(tmp_path, exports, worked_out):
    # Killed without warning, as a power cut or a full memory would do it.
    mill = describe(tmp_path)
    stages.pull(mill, exports)
    code = "import sys; from pipeline.cli.app import run; run(sys.argv[1:])"
    command = [sys.executable, "-c", code, "backfill", mill.config_path]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    started = mill.lake_path / "features" / STATION
    give_up = time.monotonic() + PATIENCE_S
    with ending(command, **quiet) as killed:
        while not list(started.glob("date=*/*.parquet")) and time.monotonic() < give_up:
            assert killed.poll() is None
            time.sleep(0.02)
    assert len(lake_of(mill).feature_days(STATION)) < 5
    assert store_of(mill).pending_days() == tuple(DAYS[:5])
    order.backfill(mill)
    assert digests(mill, ZONES) == digests(worked_out, ZONES)
    assert store_of(mill).pending_days() == ()


def test_only_one_run_works_on_a_store(ready):
    with only_run(ready), pytest.raises(StoreBusyError, match="Another run"):
        order.backfill(ready)
    assert order.backfill(ready).judged.findings > 0


def test_sums_of_the_season_are_those_of_its_minutes(ready):
    """Local days straddle UTC days and the borders of search windows; each minute counts once."""
    stages.detect(ready, "backfill")
    lake = lake_of(ready)
    losses = lake.read_features(LOSSES, DAYS[0], DAYS[4])
    fed = lake.read_features(STATION, DAYS[0], DAYS[4], ("ts_utc", "sucrose_feed_kg_h"))
    day = pl.col("ts_utc").dt.convert_time_zone(ready.zone).dt.date()
    minutes = losses.join(fed, on="ts_utc").with_columns(day_local=day)
    expected = bare_sums(minutes, ["day_local"])
    assert expected["minutes"].sum() > 4 * 1440
    assert_frame_equal(season_days(ready, lake), expected)
    for stored in lake.feature_days(SUMS):  # a store that an older lostpol searched has none
        lake.drop_features(SUMS, stored)
    assert_frame_equal(season_days(ready, lake), expected)


def test_the_report_is_filled_from_store_and_lake(ready):
    outcome = order.backfill(ready)
    view = view_of(ready, outcome.period)
    lake = lake_of(ready)
    for window in plan(ready, lake):  # kept by every search, also where all can be calibrated
        kept = lake.read_features(UNCALIBRATED, window.day, window.day)
        assert kept.columns == list(UNCALIBRATED_COLUMNS)
    assert view.lacking() == []
    assert view.missing_tags == ()
    assert view.tags.height == len(ready.unit_changes)
    assert view.multiplier.low < view.multiplier.value < view.multiplier.high
    assert view.season["sucrose_fed_t"].sum() > 0
    assert (view.season["excess_low_t"] <= view.season["excess_high_t"]).all()
    assert "ph_clear_corrected" in view.station_minutes.columns
    assert view.sources["rows_read"].sum() == sum(
        source["rows_read"] for source in store_of(ready).sources().to_dicts()
    )


def test_health_counts_every_reading(worked_out):
    health = tag_health(worked_out, DAYS[0], DAYS[4])
    readings = lake_of(worked_out).read_readings(DAYS[0], DAYS[4])
    assert health["readings"].sum() == readings.height
    assert health["bad"].sum() >= readings["bad"].sum()
    assert set(health["tag"]) == set(worked_out.unit_changes)


def test_check_names_silent_tags(ready, tmp_path):
    assert "every tag reports" in list(check_mill(ready))[-1]
    path = tmp_path / "late.csv"
    path.write_text("time,tag,value,quality\n")
    stages.pull(ready, [path])
    assert not [line for line in check_mill(ready) if "headings" in line]  # it reaches no day
    path.write_text("time,tag,value\n2025-10-10T10:00:00Z,LT.AI212 ,7.4\n2025-10-10T09:00:00Z,"
                    "LT.AI212,7.4\n2025-10-10T10:00:00Z,LT.AI212,7.4\n")  # fmt: skip
    stages.pull(ready, [path])
    assert any("late.csv: LT.AI212: the clock goes back" in line for line in check_mill(ready))
    renamed = describe(tmp_path, **{"ST.AI308": "ST.AI999", "LT.AI212": "LT.AI999"})
    with pytest.raises(DataError, match="2 tags have no readings") as caught:
        list(check_mill(renamed))
    assert "ST.AI999: no readings" in caught.value.where


@pytest.mark.slow
def test_a_late_first_day_does_not_shorten_what_is_learnt_from(ready):
    whole = stages.detect(ready, "backfill", DAYS[0])
    before = store_of(ready).findings()
    late = stages.detect(ready, "backfill", DAYS[2])
    assert late.window == whole.window
    assert store_of(ready).findings().equals(before)


@pytest.mark.slow
def test_what_an_older_search_kept_is_searched_again_and_never_shown(ready, monkeypatch):
    stages.detect(ready, "backfill")
    lake = lake_of(ready)
    day = lake.feature_days(SUMS)[0]
    sums = lake.read_features(SUMS, day, day)
    lake.write_features(SUMS, day, sums.drop("level_log_sd"))
    with pytest.raises(DataError, match="older lostpol") as caught:
        season_days(ready, lake)
    assert "backfill" in str(caught.value)
    # Another layout is another search.
    assert not plan_search(ready, lake).anew
    monkeypatch.setattr("models.account.SUM_COLUMNS", {"day": None})
    assert plan_search(ready, lake).anew


@pytest.mark.slow
def test_some_days_asked_for_do_not_leave_the_others_on_an_old_description(tmp_path, ready):
    stages.detect(ready, "backfill")
    changed = describe(tmp_path, **{"volume_m3 = 340.0": "volume_m3 = 300.0"})
    assert stages.derive(changed, [DAYS[-1]]) == 5
