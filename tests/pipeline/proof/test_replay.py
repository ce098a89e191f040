"""The replayed mornings are what nightly runs keep, and the past does not see the future."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl
import pytest

from pipeline.lake.coverage import lake_of
from pipeline.lake.kinds import GRID, STATION
from pipeline.mill.description import load_mill
from pipeline.proof.replay import LakeAsOf, nightly_moments, replay
from pipeline.stages import stages
from pipeline.store.folders import store_of

ROOT = Path(__file__).resolve().parents[3]
START, END = datetime(2025, 10, 9, 11, tzinfo=UTC), datetime(2025, 10, 12, 20, tzinfo=UTC)
#: Five in the morning at the mill; an overheating ends on the 10th, low pH begins on the 11th.
MORNINGS = [datetime(2025, 10, day, 10, tzinfo=UTC) for day in (10, 11, 12, 13)]


@pytest.fixture(scope="module")
def readings():
    """Tags and results of four days, with their times in UTC and as exported."""
    tags = pl.read_parquet(ROOT / "sample_parquet" / "tags_week1.parquet")
    lab = pl.read_parquet(ROOT / "sample_parquet" / "lab.parquet")
    local = (
        pl.col("sampled")
        .str.to_datetime("%Y-%m-%d %H:%M")
        .dt.replace_time_zone("America/Chicago", ambiguous="earliest")
    )
    return tags, lab.with_columns(time=local.dt.convert_time_zone("UTC"))


def exported(readings, folder, first, last):
    """Files of what was read in a stretch of time."""
    folder.mkdir(parents=True)
    inside = pl.col("time").is_between(first, last, closed="left")
    tags, lab = (frame.filter(inside) for frame in readings)
    tags.write_parquet(folder / "tags.parquet")
    lab.drop("time").write_parquet(folder / "lab.parquet")
    return [folder / "tags.parquet", folder / "lab.parquet"]


def described(folder):
    mill = load_mill(ROOT / "configs" / "demo_mill.toml").with_store(folder)
    # A short look-back, so that the window moves.
    detection = mill.detection.model_copy(update={"look_back_days": 2})
    return replace(mill, detection=detection)


@pytest.fixture(scope="module")
def whole(tmp_path_factory, readings):
    folder = tmp_path_factory.mktemp("whole")
    mill = described(folder / "store")
    stages.pull(mill, exported(readings, folder / "exports", START, END))
    stages.derive(mill)
    return mill


def test_mornings_reach_past_the_end_of_data(whole):
    assert nightly_moments(whole) == MORNINGS


@pytest.mark.slow
def test_replay_is_what_nightly_runs_keep(whole, readings, tmp_path):
    mill = described(tmp_path / "store")
    columns = ["started", "ended", "section", "cause", "lost_t", "lost_t_low", "confidence"]
    seen, most = START, 0
    for nightly in replay(whole):
        files = exported(readings, tmp_path / f"{nightly.at_utc:%d}", seen, nightly.at_utc)
        seen = nightly.at_utc
        stages.pull(mill, [file for file in files if not pl.read_parquet(file).is_empty()])
        stages.derive(mill)
        stages.detect(mill, "nightly")
        kept = store_of(mill).findings().select(columns).sort("started", "section")
        told = nightly.findings.select(columns).sort("started", "section")
        assert told.rows() == kept.rows()
        most = max(most, kept.height)
        if seen >= MORNINGS[2]:
            break
    # An empty list every morning would prove nothing.
    assert most >= 2


def test_a_lake_as_of_a_morning_knows_nothing_later(whole):
    until = MORNINGS[0]
    then = LakeAsOf(whole.lake_path, until)
    assert then.days()[-1] == until.date()
    assert then.feature_days(STATION)[-1] == until.date()
    assert then.read_readings(START.date(), END.date())["ts_utc"].max() < until
    at_midnight = datetime(2025, 10, 11, tzinfo=UTC)
    assert LakeAsOf(whole.lake_path, at_midnight).days()[-1] == date(2025, 10, 10)


def test_writing_to_a_lake_of_the_past_leaves_the_real_one(whole):
    then = LakeAsOf(whole.lake_path, MORNINGS[0])
    day = START.date()
    true = lake_of(whole).read_features(GRID, day, day)
    then.write_features(GRID, day, true.head(3))
    assert then.read_features(GRID, day, day).height == 3
    assert lake_of(whole).read_features(GRID, day, day).equals(true)
