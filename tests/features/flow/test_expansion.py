"""Heat expansion from meter to vessel, against another correlation of density."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from thermo.electrochem import Laliberte_density

from features.base.station import Signal
from features.flow.expansion import as_fed, feed_meter_degc
from features.flow.minutes import derive
from features.juice.juice import density_kg_m3


def laliberte(degc: float) -> float:
    """Density by Laliberte 2009 [kg/m3], sucrose at 14.5 %."""
    return float(Laliberte_density(degc + 273.15, [0.145], ["57-50-1"]))


@pytest.mark.parametrize("degc", [35.0, 72.0, 98.0, 103.0, 113.0])
def test_expansion_is_a_ratio_of_densities(brindlewater, degc):
    assert as_fed(brindlewater, degc) == pytest.approx(laliberte(degc) / laliberte(30.0), rel=7e-4)


def test_the_first_meter_down_the_train_counts_at_its_own_temperature(brindlewater):
    assert feed_meter_degc(brindlewater) == 30.0
    others = tuple(s for s in brindlewater.signals if s.name != "flow_mixed_juice_m3_h")
    # The settler's inlet: juice as the flash tank leaves it.
    assert feed_meter_degc(replace(brindlewater, signals=others)) == 100.3
    out = Signal("x", "flow", "liming_tank", "out", "m3/h", 0, 500)
    assert feed_meter_degc(replace(brindlewater, signals=(*others, out))) == 72.0
    assert feed_meter_degc(replace(brindlewater, signals=())) == 30.0


def _only(station, *names):
    return replace(station, signals=tuple(s for s in station.signals if s.name in names))


def test_a_cold_meter_and_a_hot_vessel(brindlewater, nominal_grid):
    kept = ("flow_mixed_juice_m3_h", "temp_mixed_juice_degc")
    grid = nominal_grid(600, temp_mixed_juice_degc=30.0)
    zones = derive(grid, _only(brindlewater, *kept)).zone_minutes
    tank = zones.filter(zone="liming_tank")
    expected = 60.0 * 63.0 / 265.0 * laliberte(72.0) / laliberte(30.0)
    assert tank["residence_min"][-1] == pytest.approx(expected, rel=1e-3)
    settler = zones.filter(zone="settler")
    # What a meter there would show, and the outlet with 25 m3/h of mud less.
    assert settler["flow_in_m3_h"][-1] == pytest.approx(
        265.0 * laliberte(30.0) / laliberte(100.3), rel=1e-3
    )
    assert settler["flow_out_m3_h"][-1] == pytest.approx(
        265.0 * laliberte(30.0) / laliberte(97.5) - 25.0, rel=1e-3
    )


def test_sucrose_fed_is_of_the_juice_that_was_metered(brindlewater, nominal_grid):
    """A feed metered at 100.3 degC holds less sucrose a cubic metre than cold juice."""
    kept = ("flow_settler_in_m3_h", "temp_mixed_juice_degc")
    station = _only(brindlewater, *kept)
    grid = nominal_grid(60).select("ts_utc", *kept)
    fed = derive(grid, station).station_minutes["sucrose_feed_kg_h"]
    assert fed[-1] == pytest.approx(268.0 * laliberte(100.3) * 0.145 * 0.84, rel=1e-3)
    assert fed[-1] < 0.98 * 268.0 * density_kg_m3(14.5, 35.0) * 0.145 * 0.84


def test_a_vessel_that_warms_pushes_juice_out(brindlewater, nominal_grid):
    """20 K in 10 h: the mass held falls by the ratio of densities."""
    kept = ("flow_mixed_juice_m3_h", "temp_mixed_juice_degc", "temp_liming_tank_inside_degc")
    warming = 60.0 + np.arange(600) / 30.0
    grid = nominal_grid(600, temp_liming_tank_inside_degc=warming, temp_mixed_juice_degc=30.0)
    zones = derive(grid, _only(brindlewater, *kept)).zone_minutes
    tank = zones.filter(zone="liming_tank")[100:500]
    # A balance of mass by the density that was used: 0.03 % of what passes would hide the change.
    out = (tank["flow_out_m3_h"].to_numpy() * density_kg_m3(14.5, warming[100:500])).sum()
    fed = 400 * 265.0 * density_kg_m3(14.5, 30.0)
    lighter = laliberte(warming[100]) - laliberte(warming[500])
    assert (out - fed) / 60.0 == pytest.approx(63.0 * lighter, rel=0.05)
