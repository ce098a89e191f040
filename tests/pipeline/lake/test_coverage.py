"""Which days of a lake can be searched, and from which minute to which."""

from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace

import polars as pl
import pytest
from keeping import merge_day

from pipeline.base.errors import DataError
from pipeline.lake import SEARCHED, STATION, Lake
from pipeline.lake.coverage import data_bounds, worked_out
from pipeline.lake.merge import READINGS_SCHEMA

DAY = date(2025, 10, 6)
START = datetime(2025, 10, 6, tzinfo=UTC)


@pytest.fixture
def lake(tmp_path):
    return Lake(tmp_path / "lake")


def mill_of(lake, *tags, second=()):
    signals = [SimpleNamespace(tag=tag, beside="") for tag in tags]
    signals += [SimpleNamespace(tag=tag, beside=tags[0]) for tag in second]
    return SimpleNamespace(lake_path=lake.root, station=SimpleNamespace(signals=signals))


def after(days):
    return DAY + timedelta(days=days)


def test_only_the_last_days_in_a_row_are_searched(lake):
    with pytest.raises(DataError, match="nothing to search"):
        worked_out(mill_of(lake), lake)
    for number in (0, 1, 3, 4, 5):
        lake.write_features(STATION, after(number), pl.DataFrame({"a": [1.0]}))
    assert worked_out(mill_of(lake), lake) == [after(3), after(4), after(5)]


def test_a_season_that_no_search_has_seen_is_searched_with_the_next(lake):
    for number in (0, 1, 2, 40, 41):
        lake.write_features(STATION, after(number), pl.DataFrame({"a": [1.0]}))
    seasons = [after(0), after(1), after(2)], [after(40), after(41)]
    assert worked_out(mill_of(lake), lake) == [*seasons[0], *seasons[1]]
    # Once it was searched it stands, and no night plans it again.
    lake.write_features(SEARCHED, after(0), pl.DataFrame({"a": [1.0]}))
    assert worked_out(mill_of(lake), lake) == seasons[1]


def test_the_bounds_are_whole_minutes_that_hold_every_reading(lake):
    """Readings of the laboratory do not count: it may be days ahead of the plant's exports.

    Nor do those of a second instrument, which nothing follows.
    """
    for number, rows in (
        (0, [(36_030.0, "PH.1"), (40_000.0, "PH.1")]),
        (1, [(300.0, "PH.1"), (7_259.9, "PH.1"), (80_000.0, "LAB"), (9_000.0, "PH.2")]),
        (2, [(60.0, "LAB")]),
    ):
        frame = pl.DataFrame(
            [(START + timedelta(days=number, seconds=s), tag, 7.0, False, None) for s, tag in rows],
            schema=READINGS_SCHEMA,
            orient="row",
        )
        merge_day(lake, after(number), frame)
    bounds = data_bounds(
        mill_of(lake, "PH.1", second=["PH.2"]), lake, [after(0), after(1), after(2)]
    )
    assert bounds == (START + timedelta(hours=10), START + timedelta(days=1, hours=2, minutes=1))
