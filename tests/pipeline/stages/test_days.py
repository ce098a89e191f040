"""Days are worked out by blocks of the calendar: the same bytes however their readings came."""

import hashlib
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest
from four_days import ROOT, describe

from pipeline.base.window import ONE_DAY
from pipeline.lake.coverage import lake_of
from pipeline.lake.kinds import GRID, HEALTH, SENSORS, STATION, ZONES
from pipeline.stages import stages
from pipeline.stages.days import (
    BLOCK_DAYS,
    DAYS_AFTER,
    UNSETTLED_DAYS,
    WARM_UP_DAYS,
    block_start,
    blocks_reached,
)

KINDS = (GRID, STATION, ZONES, HEALTH, SENSORS)
#: A Monday; the sample begins on it.
MONDAY = date(2025, 10, 6)


def days(first, count):
    return [first + n * ONE_DAY for n in range(count)]


@pytest.fixture(scope="module")
def arrivals(tmp_path_factory):
    """Exports of single UTC days of two weeks, of some tags, and the laboratory's."""
    folder = tmp_path_factory.mktemp("days")
    tags = pl.concat(
        [pl.read_parquet(ROOT / "sample_parquet" / f"tags_week{n}.parquet") for n in (1, 2)]
    )
    paths = {}
    for day in days(MONDAY, 11):
        of_day = tags.filter(pl.col("time").dt.date() == day)
        if of_day.height:
            paths[day] = folder / f"tags_{day}.parquet"
            of_day.write_parquet(paths[day])
    lab = folder / "lab.parquet"
    pl.read_parquet(ROOT / "sample_parquet" / "lab.parquet").filter(
        pl.col("sampled") < "2025-10-16"
    ).write_parquet(lab)
    return paths, lab


def digests(mill):
    root = mill.lake_path / "features"
    return {
        f"{kind}/{path.parent.name}": hashlib.sha256(path.read_bytes()).hexdigest()
        for kind in KINDS
        for path in (root / kind).rglob("*.parquet")
    }


def come(folder, *nights):
    """Store into which exports came night after night, each night's days worked out."""
    folder.mkdir()
    mill = describe(folder)
    for files in nights:
        stages.pull(mill, files)
        stages.derive(mill)
    return mill


def test_blocks_are_weeks_of_the_calendar():
    for day in days(MONDAY, 30):
        assert block_start(day).weekday() == 0
        assert timedelta(0) <= day - block_start(day) < BLOCK_DAYS * ONE_DAY


def test_a_block_is_reached_from_its_own_days_and_its_halo_and_from_nowhere_else():
    span = days(MONDAY + 2 * ONE_DAY, 40)
    every = blocks_reached(span, span)
    assert [day for block in every for day in block.days] == span
    for day in [*days(span[0] - 9 * ONE_DAY, 60)]:
        start = {block_start(block.first): block for block in every}
        hit = [
            block
            for first, block in start.items()
            if -WARM_UP_DAYS <= (day - first).days < BLOCK_DAYS + DAYS_AFTER
        ]
        assert blocks_reached([day], span) == hit


def test_what_later_readings_may_change_lies_within_the_unsettled_days():
    for count in range(1, 30):
        span = days(MONDAY, count)
        later = [*span[-1:], *days(span[-1] + ONE_DAY, 3)]
        changed = [block.first for block in blocks_reached(later, [*span, *later[1:]])]
        assert min(changed) > span[-1] - UNSETTLED_DAYS * ONE_DAY
    assert any(
        min(b.first for b in blocks_reached(span[-1:], span)) == span[-1] - BLOCK_DAYS * ONE_DAY
        for span in (days(MONDAY, n) for n in range(8, 30))
    )


@pytest.fixture(scope="module")
def at_once(tmp_path_factory, arrivals):
    paths, lab = arrivals
    return come(tmp_path_factory.mktemp("once") / "mill", [*paths.values(), lab])


def test_nights_late_days_and_one_backfill_give_the_same_bytes(tmp_path, arrivals, at_once):
    paths, lab = arrivals
    given = list(paths.values())
    # The sixth day comes last of all, long after the block behind it was begun.
    late = given.pop(5)
    mill = come(tmp_path / "mill", [*given[:6], lab], given[6:8], given[8:], [late])
    assert digests(mill) == digests(at_once)


@pytest.mark.slow
def test_an_earlier_beginning_reaches_the_days_between(tmp_path, arrivals):
    first, *_, before_last, last = arrivals[0].values()
    mill = come(tmp_path / "late", [before_last, last], [first])
    whole = come(tmp_path / "whole", [first, before_last, last])
    assert len(lake_of(mill).feature_days(STATION)) > len(lake_of(mill).days())
    assert digests(mill) == digests(whole)


def test_a_reading_of_a_neighbouring_block_beyond_the_halo_changes_nothing(
    tmp_path, arrivals, at_once
):
    paths, lab = arrivals
    changed = tmp_path / "changed.parquet"
    tuesday = MONDAY + (BLOCK_DAYS + DAYS_AFTER) * ONE_DAY
    pl.read_parquet(paths[tuesday]).with_columns(pl.col("value") * 1.01).write_parquet(changed)
    other = [changed if day == tuesday else path for day, path in paths.items()]
    mill = come(tmp_path / "mill", [*other, lab])
    here, there = digests(mill), digests(at_once)
    differ = {name.split("date=")[1] for name in here if here[name] != there[name]}
    assert differ
    assert min(differ) >= str(MONDAY + BLOCK_DAYS * ONE_DAY)


def test_a_block_holds_every_minute_once(at_once):
    span = lake_of(at_once).days()
    minutes = lake_of(at_once).read_features(STATION, span[0], span[-1])
    assert minutes["ts_utc"].diff().drop_nulls().unique().to_list() == [timedelta(minutes=1)]
    assert minutes["ts_utc"][0] == datetime.combine(span[0], datetime.min.time(), UTC)
    assert minutes.height == 1440 * len(span)


def test_exports_of_other_tags_give_the_same_bytes_together_and_one_by_one(tmp_path, arrivals):
    paths, lab = arrivals
    tags = list(paths.values())[:2]
    kept, stored = [], []
    for name, pulls in (("together", [[*tags, lab]]), ("apart", [[tags[0]], [tags[1]], [lab]])):
        (tmp_path / name).mkdir()
        mill = describe(tmp_path / name)
        results = [stages.pull(mill, files) for files in pulls]
        kept.append([source.kept for result in results for source in result.sources])
        readings = mill.lake_path / "readings"
        stored.append({p.parent.name: p.read_bytes() for p in readings.rglob("*.parquet")})
    assert kept[0] == kept[1]
    assert stored[0] == stored[1]
    both = lake_of(mill).read_readings(MONDAY + ONE_DAY, MONDAY + ONE_DAY)["tag"].unique()
    assert {s.tag for s in mill.station.lab} & set(both)
    assert {s.tag for s in mill.station.signals} & set(both)
