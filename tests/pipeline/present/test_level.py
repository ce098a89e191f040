"""Whether tonnes rest on the description is told from the fit, the series and the results."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from keeping import merge_day

from pipeline.lake.coverage import lake_of
from pipeline.mill.description import load_mill
from pipeline.present.level import lab_state, level_beware

ROOT = Path(__file__).resolve().parents[3]
LAST = date(2025, 10, 20)
SERIES = tuple(f"LAB {point} {a}" for point in ("LJ", "CJ") for a in ("rs", "brix", "pol"))
VALUES = {"rs": 0.487, "brix": 14.5, "pol": 12.18}


@pytest.fixture
def mill(tmp_path):
    return load_mill(ROOT / "configs" / "demo_mill.toml").with_store(tmp_path)


def described(mill, *, without):
    kept = {*SERIES, "LAB LJ pH", "LAB CJ pH"} - set(without)
    lab = tuple(s for s in mill.station.lab if s.tag in kept)
    return replace(mill, station=replace(mill.station, lab=lab))


def fill(mill, tags, every_h):
    """A fortnight of results."""
    first = datetime(2025, 10, 6, tzinfo=UTC)
    for n in range(15):
        times = [first + timedelta(days=n, hours=h) for h in range(0, 24, every_h)]
        rows = [
            (t + timedelta(hours=tag.startswith("LAB CJ")), tag, VALUES[tag.split()[-1]])
            for t in times
            for tag in tags
            if t.date() == (t + timedelta(hours=1)).date()
        ]
        frame = pl.DataFrame(rows, schema=["ts_utc", "tag", "value"], orient="row").with_columns(
            pl.col("ts_utc").cast(pl.Datetime("us", "UTC")),
            bad=pl.lit(value=False),
            reason=pl.lit(None, dtype=pl.String),
        )
        merge_day(lake_of(mill), (first + timedelta(days=n)).date(), frame)


def test_a_fitted_level_needs_no_word(mill):
    assert level_beware(mill, 0.15, 40, LAST) == ""


def test_a_level_by_the_description_alone_says_how_far_off_and_the_cure(mill):
    one = level_beware(described(mill, without=["LAB CJ rs"]), 0.6, 0, LAST)
    none = level_beware(described(mill, without=SERIES), 0.6, 0, LAST)
    # exp(1.645 x 0.6) = 2.68 (computed).
    for told in (one, none):
        assert "rests on the description, not on this mill's laboratory" in told
        assert "off by a factor of 2.7 either way" in told
    assert "Cheapest cure: analyse reducing sugars on clear juice too, about" in one
    # Nothing can be compared any more: the two points furthest apart tell most.
    assert (
        "Cheapest cure: analyse reducing sugars and Brix on mixed juice and juice out of the first "
        "evaporator too, about"
    ) in none
    assert one != none
    close = described(mill, without=["LAB CJ rs"])
    kinetics = replace(close.station.kinetics, multiplier_log_sd=0.3)
    close = replace(close, station=replace(close.station, kinetics=kinetics))
    # exp(1.645 x 0.3) = 1.64 (computed).
    assert "off by a factor of 1.6 either way" in level_beware(close, 0.3, 0, LAST)


def test_a_level_of_the_season_before_is_told_as_such(mill):
    told = level_beware(mill, 0.35, 0, LAST)
    assert told.startswith("The level of the loss rests on what the laboratory told last season")
    assert "not on this season's laboratory" in told
    assert "rests on the description" in level_beware(mill, 0.6, 0, LAST)


def test_pairs_that_tell_too_little_are_named(mill):
    assert "40 samples were too rough" in level_beware(mill, 0.58, 40, LAST)


def test_results_that_never_come_are_asked_for_by_what_they_are(mill):
    mill = described(mill, without=[])
    fill(mill, [s for s in SERIES if s != "LAB CJ rs"], 4)
    told = level_beware(mill, 0.6, 0, LAST)
    # Nothing new is to be analysed, so no analyses are counted.
    assert "bring in reducing sugars on clear juice, of which no result is there, about" in told
    assert "samples of each until the factor is" in told and "analyses" not in told


def test_samples_that_came_are_counted(mill):
    mill = described(mill, without=[])
    before = lab_state(mill)
    fill(mill, SERIES, 4)
    after = lab_state(mill)
    assert (before.seen.samples, before.any_result) == (0, False)
    assert 80 <= after.seen.samples <= 90 and after.any_result
    assert f"{after.seen.samples} samples are there" in after.cure
    # Only what was known by then counts: a report made again says the same.
    assert lab_state(mill, date(2025, 10, 8)).seen.samples < after.seen.samples / 2


def test_samples_once_a_day_count(mill):
    mill = described(mill, without=[])
    fill(mill, SERIES, 24)
    assert lab_state(mill).seen.samples == 15
