"""Filtrate that nobody told of is told from two meters, with its interval."""

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.lake import GRID, lake_of
from pipeline.mill import load_mill
from pipeline.present.filtrate import filtrate_line, metered_share

CONFIGS = Path(__file__).resolve().parents[3] / "configs"
START = datetime(2025, 10, 6, tzinfo=UTC)
DAY = date(2025, 10, 6)
#: Volume of water at 100 degC over that at 32 degC: 995.0 / 958.4 kg/m3 (IAPWS-95, from memory).
HOT = 995.0 / 958.4


@pytest.fixture
def mill(tmp_path):
    """The demonstration mill, were nothing said of its filtrate."""
    mill = load_mill(CONFIGS / "demo_mill.toml").with_store(tmp_path)
    untold = replace(mill.station.filtrate, share_pct=None)
    return replace(mill, station=replace(mill.station, filtrate=untold))


def metered(mill, more, grown=HOT**0.5):
    """A day on which so much more juice is metered behind the liming tank than is fed."""
    fed = 250.0 + 10.0 * np.sin(np.arange(1440) / 90.0)
    times = pl.datetime_range(
        datetime(2025, 10, 6, tzinfo=UTC),
        datetime(2025, 10, 6, 23, 59, tzinfo=UTC),
        "1m",
        eager=True,
    )
    frame = pl.DataFrame(
        {
            "ts_utc": times,
            "flow_mixed_juice_m3_h": fed,
            "flow_settler_in_m3_h": grown * ((1.0 + more) * fed + 2.0),
            "lime_flow_liming_tank_in_l_h": np.full(1440, 2000.0),
        }
    )
    lake_of(mill).write_features(GRID, DAY, frame)


def test_a_tenth_more_juice_than_was_fed_is_told_with_its_interval(mill):
    metered(mill, 0.10)
    told = filtrate_line(mill, DAY, DAY)
    # 1.645 x 2.8 % either way (computed): scale errors of two meters, and hot or cold volumes.
    assert told.startswith("Over 24 h 10 % (5 to 15 %, 90 %) more juice was metered")
    assert "share_pct = 10 under [filtrate]" in told


def test_what_two_meters_may_differ_by_is_not_told(mill):
    metered(mill, 0.04)
    assert filtrate_line(mill, DAY, DAY) == ""


@pytest.mark.parametrize("grown", [1.0, HOT])
def test_juice_that_only_grew_by_heat_is_no_filtrate(mill, grown):
    """Whether meters tell hot juice as it is or as cold, the truth lies in the interval."""
    metered(mill, 0.02, grown)
    assert filtrate_line(mill, DAY, DAY) == ""
    found = metered_share(mill, DAY, DAY)
    assert found.share == pytest.approx(0.02, abs=0.025)
