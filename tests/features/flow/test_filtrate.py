"""Filtrate that is returned: the flow behind it is larger, the stay shorter, the feed the same."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from features.base.station import Filtrate, Signal
from features.flow.expansion import as_fed
from features.flow.filtrate import share_by_balance
from features.flow.minutes import derive

METER = Signal("RF.FI601", "flow", "filtrate", "", "m3/h", 0, 150)
#: No meter between mixed juice and evaporator, so that the train follows the balance alone.
LATER = ("ST.FI301", "CT.FI403")
LATER_COLUMNS = ("flow_settler_in_m3_h", "flow_clear_juice_tank_out_m3_h")


def station_of(whole, filtrate=None, *also):
    kept = tuple(s for s in whole.signals if s.tag not in LATER)
    return replace(whole, signals=(*kept, *also), filtrate=filtrate or Filtrate())


def last(derived, zone, column):
    return derived.zone_minutes.filter(zone=zone)[column][-1]


def shrunk(station, grid, derived, zone):
    """Volume of a zone's juice at the feed meter over that in the zone [-]."""
    fed = grid["temp_mixed_juice_degc"][-1]
    return as_fed(station, last(derived, zone, "temp_degc")) / as_fed(station, fed)


@pytest.fixture
def grid(nominal_grid):
    return nominal_grid(1000, drop=LATER_COLUMNS)


def with_meter(grid, m3_h):
    return grid.with_columns(pl.Series(METER.name, np.full(grid.height, float(m3_h))))


@pytest.mark.parametrize(("to", "primary"), [("mixed", 295.0), ("limed", 265.0)])
def test_juice_behind_the_return_is_faster_by_the_filtrate(brindlewater, grid, to, primary):
    station = station_of(brindlewater, Filtrate(to=to), METER)
    derived = derive(with_meter(grid, 30.0), station)
    assert last(derived, "primary_heater", "flow_in_m3_h") == pytest.approx(primary)
    # 63 m3 of hot juice in the liming tank, 265 + 30 m3/h metered cold, by hand.
    stay = last(derived, "liming_tank", "residence_min")
    held = 63.0 * shrunk(brindlewater, grid, derived, "liming_tank")
    assert stay == pytest.approx(60.0 * held / 295.0, rel=1e-3)
    # It was fed once, with the cane's own juice.
    assert derived.station_minutes["flow_feed_m3_h"][-1] == pytest.approx(265.0)


def test_a_described_share_stands_in_for_a_meter(brindlewater, grid):
    station = station_of(brindlewater, Filtrate(share_pct=10.0))
    derived = derive(grid, station)
    flow = 1.1 * 265.0 / shrunk(brindlewater, grid, derived, "flash_tank")
    assert last(derived, "settler", "flow_in_m3_h") == pytest.approx(flow)
    bare = derive(grid, station_of(brindlewater))
    stays = [last(d, "liming_tank", "residence_min") for d in (derived, bare)]
    assert stays[1] / stays[0] == pytest.approx(1.1, rel=1e-3)


def test_a_feed_meter_behind_the_return_sees_both(brindlewater, grid):
    behind = station_of(brindlewater, Filtrate(feed_meter="behind"), METER)
    derived = derive(with_meter(grid, 30.0), behind)
    assert derived.station_minutes["flow_feed_m3_h"][-1] == pytest.approx(235.0)
    heated = 265.0 / shrunk(brindlewater, grid, derived, "primary_heater")
    assert last(derived, "liming_tank", "flow_in_m3_h") == pytest.approx(heated)
    share = station_of(brindlewater, Filtrate(share_pct=6.0, feed_meter="behind"))
    assert derive(grid, share).station_minutes["flow_feed_m3_h"][-1] == pytest.approx(250.0)


def test_the_only_meter_of_a_vessel_behind_the_return_sees_both_by_its_place(
    brindlewater, nominal_grid
):
    kept = tuple(s for s in brindlewater.signals if s.tag not in ("MJ.FI101", "CT.FI403"))
    station = replace(brindlewater, signals=(*kept, METER), filtrate=Filtrate(to="limed"))
    grid = nominal_grid(600, drop=("flow_mixed_juice_m3_h", LATER_COLUMNS[1]))
    derived = derive(with_meter(grid, 30.0), station)
    assert derived.station_minutes["flow_feed_m3_h"][-1] == pytest.approx(268.0 - 30.0)
    assert last(derived, "settler", "flow_in_m3_h") == pytest.approx(268.0)


def test_thinner_filtrate_thins_the_juice(brindlewater, grid):
    station = station_of(brindlewater, Filtrate(brix_pct=8.0), METER)
    brix = last(derive(with_meter(grid, 30.0), station), "liming_tank", "brix_pct")
    assert brix == pytest.approx((265.0 * 14.5 + 30.0 * 8.0) / 295.0, rel=1e-3)


def test_no_filtrate_flows_to_a_standing_mill(brindlewater, nominal_grid):
    flow = np.where(np.arange(1000) < 500, 265.0, 0.0)
    grid = nominal_grid(1000, drop=LATER_COLUMNS, flow_mixed_juice_m3_h=flow)
    derived = derive(with_meter(grid, 30.0), station_of(brindlewater, None, METER))
    assert last(derived, "primary_heater", "flow_in_m3_h") == 0.0


def test_two_meters_tell_the_share_with_its_error():
    rng = np.random.default_rng(3)
    n = 5 * 1440
    mixed = 260.0 + np.repeat(rng.normal(0.0, 15.0, n // 60), 60)
    limed = 1.12 * mixed + 2.6 + rng.normal(0.0, 6.0, n)
    mixed[3000:3600] = limed[3000:3600] = 0.0
    limed[100:160] = np.nan
    found = share_by_balance(mixed, limed, 2.6)
    assert found.share == pytest.approx(0.12, abs=0.005)
    # Scale errors of 2 % each do not average away.
    assert 0.025 < found.sd < 0.035
    assert share_by_balance(mixed[:600], limed[:600]) is None
    assert share_by_balance(np.full(n, np.nan), limed) is None
