"""Travel times: cells in a row, in and out of the station, kept through a stop."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from scipy.stats import gamma

from features.base.station import Signal, Station, Targets, Vessel
from models.account.travel import delay_min, ways
from models.base.minutes import Minutes

N = 3000
STATION = Station(
    vessels=(
        Vessel("liming_tank", "liming_tank", 1, 90, 72),
        Vessel("settler", "settler", 2, 340, 97.5, tanks=3, mud_volume_m3=140),
    ),
    signals=(),
    lab=(),
    targets=Targets(265, 7.5, 6.95),
)


def zone(residence, sd):
    return {"residence_min": np.full(N, residence), "residence_sd_min": np.full(N, sd)}


@pytest.fixture
def minutes():
    zones = {
        "liming_tank": zone(14.0, 14.0),
        "settler": zone(76.0, 76.0 / np.sqrt(3)),
        "settler:mud": zone(150.0, 150.0),
    }
    flow = {"sucrose_feed_kg_h": np.full(N, 3e4), "stopped": np.zeros(N)}
    return Minutes(datetime(2025, 10, 6, tzinfo=UTC), flow, zones)


def at(known, place, port):
    return known[place, port].half_min[-1]


def test_ways_add_up_along_the_train(minutes):
    known = ways(minutes, STATION)
    assert at(known, "liming_tank", "in") == 0
    # One mixed tank: half is through after ln 2 of the mean (textbook; scipy's gamma).
    assert at(known, "liming_tank", "out") == pytest.approx(gamma.ppf(0.5, 1, scale=14), rel=0.02)
    assert at(known, "liming_tank", "inside") == at(known, "liming_tank", "out")
    mean, var = 14 + 76, 14**2 + 76**2 / 3
    k = mean**2 / var
    assert at(known, "settler", "out") == pytest.approx(gamma.ppf(0.5, k, scale=mean / k), rel=0.02)
    assert at(known, "liming_tank", "out") < at(known, "settler", "inside")
    assert at(known, "settler", "inside") < at(known, "settler", "out")
    assert at(known, "settler", "mud") > at(known, "settler", "out")


def test_a_stop_does_not_age_the_way(minutes):
    minutes.station["stopped"][1000:1400] = 1.0
    minutes.zones["settler"]["residence_min"][1000:1400] += np.arange(400)
    assert np.ptp(ways(minutes, STATION)["settler", "out"].mean_min[300:]) < 1e-6


def test_a_vessel_without_residence_adds_nothing(minutes):
    minutes.zones.pop("liming_tank")
    minutes.zones["settler"]["residence_min"][:] = np.nan
    known = ways(minutes, STATION)
    assert at(known, "settler", "out") == 0


def test_what_juice_carries_is_moved_and_what_pumps_move_is_not(minutes):
    known = ways(minutes, STATION)
    ph = Signal("ST.AI308", "ph", "settler", "out", "pH", 3, 11)
    assert delay_min(ph, known, N)[-1] == at(known, "settler", "out")
    for quantity in ("flow", "level", "mud_level"):
        assert delay_min(replace(ph, quantity=quantity), known, N).max() == 0
    assert delay_min(replace(ph, place="mixed_juice"), known, N).max() == 0
