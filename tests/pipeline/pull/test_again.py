"""Pulling what corrects readings that are known: the last import wins."""

from __future__ import annotations

import random
from datetime import date

import polars as pl
import pytest
from pulling import FakeMill, assert_balanced, content, lake_bytes, long_frame

from pipeline.lake.lake import Lake
from pipeline.mill.units import UnitChange
from pipeline.pull.pull import pull_files

FIRST = date(2025, 10, 6)


def export(tmp_path, name, *values, tag="PH.1", minute=0):
    """An export of readings a minute apart; text for a value, and its quality after a bar."""
    path = tmp_path / name
    cells = [f"{value}|good".split("|")[:2] for value in values]
    path.write_text(
        "time,tag,value,quality\n"
        + "".join(
            f"2025-10-06 15:{minute + k:02d},{tag},{value},{quality}\n"
            for k, (value, quality) in enumerate(cells)
        )
    )
    return path


def told(mill, *files, **options):
    result = pull_files(mill, list(files), **options)
    assert_balanced(result)
    return result


def values(mill):
    return content(mill)["value"].to_list()


def test_a_later_export_corrects_and_only_its_day_changes(tmp_path, reference):
    path = tmp_path / "corrected.parquet"
    long_frame().head(1).with_columns(value=pl.lit(6.5)).write_parquet(path)
    mill = FakeMill(tmp_path / "reference")
    result = told(mill, path)
    assert result.days_changed == (FIRST,)
    assert result.sources[0].conflicts == 1
    assert content(mill)["value"][0] == 6.5
    assert told(mill, path).days_changed == ()


def test_an_old_file_pulled_again_undoes_no_correction(tmp_path):
    mill = FakeMill(tmp_path / "x")
    old, new = export(tmp_path, "old.csv", 7.1, 7.2), export(tmp_path, "new.csv", 7.15)
    told(mill, old)
    assert told(mill, new).sources[0].conflicts == 1
    before = lake_bytes(mill)
    copy = tmp_path / "copy.csv"
    copy.write_bytes(old.read_bytes())
    for path in (old, copy):
        result = told(mill, path)
        assert result.days_changed == ()
        assert result.sources[0].again
        assert (result.sources[0].merged, result.sources[0].conflicts) == (2, 0)
        assert result.sources[0].name == path.name
        assert result.missing_tags == ("LAB CJ rs", "TI.2")
    assert lake_bytes(mill) == before
    assert told(mill, old, again=True).days_changed == (FIRST,)
    assert values(mill) == [7.1, 7.2]


@pytest.mark.slow
def test_files_of_one_pull_count_in_the_order_named(tmp_path):
    hints_of = [(7.1, 7.2, "7.3|bad"), (7.15, "9.9|bad"), ("7.7|bad", 7.25, 7.35), (7.1, 7.2)]
    files = [export(tmp_path, f"{k}.csv", *some) for k, some in enumerate(hints_of)]
    files.append(tmp_path / "again.csv")
    files[-1].write_bytes(files[0].read_bytes())
    rng = random.Random(2)
    for attempt in range(4):
        together, single = FakeMill(tmp_path / f"t{attempt}"), FakeMill(tmp_path / f"s{attempt}")
        at_once = told(together, *files).sources
        one_by_one = [told(single, path).sources[0] for path in files]
        assert lake_bytes(together) == lake_bytes(single)
        for a, b in zip(at_once, one_by_one, strict=True):
            assert (a.kept, a.merged, a.conflicts, a.good_stays) == (
                b.kept, b.merged, b.conflicts, b.good_stays)  # fmt: skip
        rng.shuffle(files)


def test_a_bad_reading_never_replaces_a_good_one_unless_asked(tmp_path):
    mill = FakeMill(tmp_path / "x")
    told(mill, export(tmp_path, "a.csv", 7.1, 7.2, "7.3|bad", "7.4|bad"))
    doubts = export(tmp_path, "b.csv", "7.1|uncertain", "7.9|bad", 7.5, "|bad")
    source = told(mill, doubts).sources[0]
    assert (source.kept, source.merged, source.good_stays, source.conflicts) == (0, 4, 2, 0)
    assert values(mill) == [7.1, 7.2, 7.5, 7.4]
    assert told(mill, doubts, in_full=True).days_changed == (FIRST,)
    assert values(mill) == [7.1, 7.9, 7.5, None]
    assert content(mill)["bad"].to_list() == [True, True, False, True]


def test_a_new_tag_or_unit_is_news_of_an_old_file_and_the_rest_is_not(tmp_path):
    both = export(tmp_path, "a.csv", 7.1)
    both.write_text(both.read_text() + "2025-10-06 15:00,TI.2,100,good\n")
    mill = FakeMill(tmp_path / "x", unit_changes={"PH.1": UnitChange()})
    told(mill, both)
    told(mill, export(tmp_path, "b.csv", 7.15))
    for change, value in ((UnitChange(), 100.0), (UnitChange(2.0, 0.0), 200.0)):
        mill = FakeMill(tmp_path / "x", unit_changes={"PH.1": UnitChange(), "TI.2": change})
        result = told(mill, both)
        assert result.days_changed == (FIRST,)
        assert values(mill) == [7.15, value]
        assert told(mill, both).days_changed == ()


def test_a_day_that_was_moved_away_comes_back_with_its_exports(tmp_path):
    mill = FakeMill(tmp_path / "x")
    path = export(tmp_path, "a.csv", 7.1, 7.2)
    told(mill, path)
    before = lake_bytes(mill)
    lake = Lake(mill.lake_path)
    lake.storage.delete(lake.readings_name(FIRST))
    assert told(mill, path).days_changed == (FIRST,)
    assert lake_bytes(mill) == before
