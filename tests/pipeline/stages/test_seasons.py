"""Two seasons in one lake: each is searched, and begins with what the one before told."""

import math
from datetime import timedelta

import polars as pl
import pytest
from four_days import describe

from pipeline.lake.coverage import lake_of
from pipeline.lake.kinds import SEARCHED
from pipeline.stages import stages


@pytest.mark.slow
@pytest.mark.parametrize("at_once", [False, True])
def test_a_season_begins_with_the_level_that_the_one_before_told(
    tmp_path, exports, monkeypatch, at_once
):
    later = timedelta(weeks=8)
    written = pl.col("sampled").str.to_datetime("%Y-%m-%d %H:%M") + later
    next_tags, next_lab = tmp_path / "next_tags.parquet", tmp_path / "next_lab.parquet"
    pl.read_parquet(exports[0]).with_columns(pl.col("time") + later).write_parquet(next_tags)
    pl.read_parquet(exports[2]).with_columns(
        sampled=written.dt.strftime("%Y-%m-%d %H:%M")
    ).write_parquet(next_lab)
    files = [*exports[::2], next_tags, next_lab]
    mill = describe(tmp_path)
    begun = []
    real = stages.find_losses

    def watched(*parts, **named):
        found = real(*parts, **named)
        begun.append((parts[3].kinetics, found.multiplier))
        return found

    monkeypatch.setattr(stages, "find_losses", watched)
    # The first season is searched before the second comes in, as it would be; or both are new.
    for season in [files] if at_once else (files[:2], files[2:]):
        stages.pull(mill, season)
        stages.derive(mill)
        stages.detect(mill, "backfill")
    # What comes later closes the last week of the first season, which is then searched once more.
    assert len(begun) == (2 if at_once else 3)
    (described, first), (carried, _) = begun[-2:]
    assert begun[0][0] == described
    assert begun[0][1].value == pytest.approx(first.value, rel=1e-6)
    assert described == mill.station.kinetics
    assert first.pairs > 0
    assert carried.multiplier == pytest.approx(first.value)
    assert carried.multiplier_log_sd == pytest.approx(math.hypot(first.log_sd, 0.25))
    searched = len(begun)
    stages.detect(mill, "backfill")
    assert len(begun) == searched  # nothing changed: nothing is searched again
    # Another level of the first season: the second one is searched again, too.
    lake = lake_of(mill)
    day = lake.feature_days(SEARCHED)[0]
    row = lake.read_features(SEARCHED, day, day)
    lake.write_features(SEARCHED, day, row.with_columns(multiplier=pl.lit(2.5)))
    stages.detect(mill, "backfill")
    assert [kinetics.multiplier for kinetics, _ in begun[searched:]] == [2.5]
