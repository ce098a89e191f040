"""A pull that is stopped goes on where it was, by what is true then; a power cut takes nothing."""

from __future__ import annotations

import errno
import os
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from power_cut import watched_disk
from pulling import FakeMill, assert_balanced, content, lake_bytes, long_frame

from pipeline.lake.lake import Lake
from pipeline.lake.refused import read_refused, refused_name
from pipeline.mill.units import UnitChange
from pipeline.pull import commit, stage
from pipeline.pull.pull import pull_files, unfinished

FIRST = date(2025, 10, 6)


class Stopped(BaseException):
    """As by a kill: nothing catches it."""


def stop(*_):
    raise Stopped


@pytest.fixture
def export(tmp_path):
    """Two days of readings; every row in local time, and a tag that no mill here has."""
    path = tmp_path / "tags.csv"
    rows = long_frame(600).with_columns(
        pl.col("time").dt.convert_time_zone("America/Chicago").dt.strftime("%Y-%m-%d %H:%M:%S")
    )
    foreign = rows.head(3).with_columns(tag=pl.lit("NOT.OURS"))
    pl.concat([rows, foreign]).write_csv(path)
    return path


@pytest.fixture
def undisturbed(tmp_path, export):
    mill = FakeMill(tmp_path / "undisturbed")
    pull_files(mill, [export])
    return lake_bytes(mill)


def stopped_before_its_plan(mill, path, monkeypatch):
    """Everything is read and worked out, and no plan is written yet."""
    with monkeypatch.context() as patch, pytest.raises(Stopped):
        patch.setattr(commit, "write_record", stop)
        pull_files(mill, [path])
    assert not unfinished(mill.incoming_path)
    assert content(mill).is_empty()
    assert (mill.incoming_path / "plan").is_dir()


def pulled(mill, path, **options):
    result = pull_files(mill, [path], **options)
    assert_balanced(result)
    assert not mill.incoming_path.exists()
    return result


def test_what_was_read_before_a_stop_is_not_read_again(tmp_path, export, undisturbed, monkeypatch):
    mill = FakeMill(tmp_path / "x")
    stopped_before_its_plan(mill, export, monkeypatch)
    monkeypatch.setattr(stage, "_read_into", lambda *_: pytest.fail("read again"))
    assert pulled(mill, export).sources[0].kept == 1200
    assert lake_bytes(mill) == undisturbed


def test_an_export_rewritten_after_a_stop_is_read_anew(tmp_path, export, monkeypatch):
    """As long as before, in the same place: only its time tells."""
    mill = FakeMill(tmp_path / "x")
    stopped_before_its_plan(mill, export, monkeypatch)
    before = export.stat()
    first = export.read_text().splitlines()[1]
    export.write_text(export.read_text().replace(first, first[:-5] + "9.999"))
    os.utime(export, ns=(before.st_atime_ns, before.st_mtime_ns + 1_000_000_000))
    assert (export.stat().st_size, export.stat().st_ino) == (before.st_size, before.st_ino)
    pulled(mill, export)
    assert content(mill)["value"][0] == 9.999


def test_units_mended_after_a_stop_count(tmp_path, export, monkeypatch):
    units = {"PH.1": UnitChange(), "TI.2": UnitChange()}
    stopped_before_its_plan(FakeMill(tmp_path / "x", unit_changes=units), export, monkeypatch)
    mill = FakeMill(tmp_path / "x", unit_changes=units | {"TI.2": UnitChange(5 / 9, -160 / 9)})
    pulled(mill, export)
    assert content(mill)["value"][-1] == pytest.approx(100.0)  # 212 degF


def test_a_part_lost_after_a_stop_is_read_again(tmp_path, export, undisturbed, monkeypatch):
    mill = FakeMill(tmp_path / "x")
    stopped_before_its_plan(mill, export, monkeypatch)
    parts = mill.incoming_path.glob("*/2025-*.parquet")
    part = next(path for path in parts if path.parent.name != "plan")
    part.unlink()
    pulled(mill, export)
    assert lake_bytes(mill) == undisturbed


def test_a_plan_is_there_whole_or_not_at_all(tmp_path, export, undisturbed, monkeypatch):
    """A stop while the plan is written leaves none, and so the lake as it was."""
    mill = FakeMill(tmp_path / "x")
    real = Path.replace

    def until_the_plan(self, target):
        return stop() if target.name == "plan.json" else real(self, target)

    with monkeypatch.context() as patch, pytest.raises(Stopped):
        patch.setattr(Path, "replace", until_the_plan)
        pull_files(mill, [export])
    assert not unfinished(mill.incoming_path)
    assert content(mill).is_empty()
    pulled(mill, export)
    assert lake_bytes(mill) == undisturbed


def test_a_pull_stopped_when_all_is_in_place_is_recorded_by_the_next(tmp_path, export, undisturbed):
    mill, told = FakeMill(tmp_path / "x"), []
    with pytest.raises(Stopped):
        pull_files(mill, [export], record=stop)
    assert unfinished(mill.incoming_path)
    result = pull_files(mill, [], record=told.append)
    assert [len(one.days_changed) for one in (*told, result)] == [2, 2]
    assert told[0].sources[0].refused == {"tag_not_in_mill": 3}
    assert not mill.incoming_path.exists()
    assert lake_bytes(mill) == undisturbed


def test_a_stopped_pull_that_changed_no_day_is_recorded_too(tmp_path, export):
    mill, told = FakeMill(tmp_path / "x"), []
    pulled(mill, export)
    assert pulled(mill, export, again=True).days_changed == ()
    with pytest.raises(Stopped):
        pull_files(mill, [export], again=True, record=stop)
    pull_files(mill, [], record=told.append)
    assert [one.sources[0].name for one in told] == [export.name]
    assert not unfinished(mill.incoming_path)


def test_a_file_that_is_no_news_is_recorded(tmp_path, export):
    mill, told = FakeMill(tmp_path / "x"), []
    pulled(mill, export)
    pulled(mill, export, record=told.append)
    assert [(len(one.days_changed), one.sources[0].kept) for one in told] == [(0, 1200)]


def test_refused_rows_are_kept_and_come_back_when_lost(tmp_path, export):
    mill = FakeMill(tmp_path / "x")
    sha256 = pulled(mill, export).sources[0].sha256
    place = Lake(mill.lake_path).storage
    rows = read_refused(place)
    assert rows["reason"].to_list() == ["tag_not_in_mill"] * 3
    place.delete(refused_name(sha256))
    pulled(mill, export)
    assert read_refused(place).equals(rows)


def test_nothing_of_a_refused_kind_is_kept_of_a_clean_export(tmp_path):
    path = tmp_path / "clean.parquet"
    long_frame(5).write_parquet(path)
    mill = FakeMill(tmp_path / "x")
    pulled(mill, path)
    assert not (mill.lake_path / "refused").exists()


@pytest.mark.parametrize("links", [True, False])
def test_a_power_cut_takes_nothing_of_a_pull(tmp_path, export, undisturbed, links, monkeypatch):
    """Files are flushed before they get their names, and names before the plan relies on them.

    POSIX: a file may be empty and a name gone until fsync of the file and of its folder.
    """
    if not links:  # as a file system without second names says
        refused = OSError(errno.EPERM, "Operation not permitted")
        monkeypatch.setattr(Path, "hardlink_to", lambda *_: (_ for _ in ()).throw(refused))
    mill = FakeMill(tmp_path / "x")
    with watched_disk() as disk:
        pulled(mill, export)
    assert disk.early == []
    assert disk.unsure_at["plan.json"] == []
    assert disk.kept()
    assert lake_bytes(mill) == undisturbed
