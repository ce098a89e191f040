"""A stop loses what stood hot in it, vessel by vessel; what was pumped on in time is no loss."""

import json
from dataclasses import replace

import numpy as np
import pytest
from slow_case import slow

from models.amount.drivers import Excess
from models.base.minutes import Minutes
from models.base.settings import Settings
from models.detect.stops import with_stops
from tests.models.conftest import START

N, FIRST, LAST = 3000, 1500, 2100
SMALL = Settings(smallest_finding_t=0.08)
LEVELS = {
    "settler": ("ST.LI303", "ST.LI305"),
    "clear_juice_tank": ("CT.LI401",),
    "first_evaporator": ("EV.LI502",),
    "liming_tank": ("LT.LI213",),
}


class Stop:
    """Ten hours without feed; a settler and an evaporator with a rate of 0.1 kg/h/m3 each."""

    def __init__(self, station):
        self.station = station
        stopped = np.zeros(N)
        stopped[FIRST:LAST] = 1.0
        stay = np.full(N, 80.0)
        stay[FIRST:LAST] = np.nan
        self.volume, self.temp = np.full(N, 280.0), np.full(N, 97.0)
        self.volume[N - 1], self.temp[::7] = 279.0, 97.1
        self.zones = {
            "settler": {"volume_m3": self.volume, "temp_degc": self.temp, "residence_min": stay},
            "first_evaporator": {
                "volume_m3": np.full(N, 17.0),
                "temp_degc": np.full(N, 113.0),
                "residence_min": np.full(N, 5.0),
            },
        }
        fed = 200.0 * (1.0 - stopped)
        self.feed = {"flow_feed_m3_h": fed, "brix_feed_pct": 14.5 + 0.001 * fed}
        station_columns = {"stopped": stopped, "sucrose_feed_kg_h": stay, **self.feed}
        self.minutes = Minutes(START, station_columns, self.zones)

    def add(self, zone, volume_m3):
        """Another zone at the settler's heat; its volume may be changed afterwards."""
        self.zones[zone] = {**self.zones["settler"], "volume_m3": np.full(N, volume_m3)}
        return self.zones[zone]["volume_m3"]

    def excess(self):
        loss = {name: 0.1 * zone["volume_m3"] for name, zone in self.zones.items()}
        reference = {name: np.where(self.minutes.stopped, 0.0, 0.1) for name in self.zones}
        known = np.ones(N, dtype=bool)
        return with_stops(Excess({}, loss, reference, known), self.minutes, self.station)

    def lost_kg(self, zone="settler"):
        found = self.excess()
        return float((found.loss_kg_h[zone] - found.reference_kg_h[zone])[FIRST:LAST].sum()) / 60.0


@pytest.fixture
def stop(station):
    return Stop(station)


def test_a_vessel_that_stays_full_counts_all_of_its_hours(stop):
    assert stop.lost_kg() == pytest.approx(0.1 * 280.0 * 10.0)


def test_a_vessel_drained_within_its_usual_stay_loses_nothing_more(stop):
    stop.volume[FIRST:LAST] = np.interp(np.arange(LAST - FIRST), [0, 60], [280.0, 0.0])
    assert stop.lost_kg() == pytest.approx(0.0, abs=1e-6)


def test_a_vessel_drained_by_half_is_told_with_the_rest(stop):
    stop.volume[FIRST:LAST] = np.interp(np.arange(LAST - FIRST), [0, 60], [280.0, 140.0])
    # The half that stays, for ten hours.
    assert stop.lost_kg() == pytest.approx(0.1 * 140.0 * 10.0, rel=1e-3)


def test_a_vessel_drained_late_loses_until_then(stop):
    stop.volume[FIRST + 240 : LAST] = 0.0
    assert stop.lost_kg() == pytest.approx(0.1 * 280.0 * 4.0, rel=1e-3)


def test_a_steamed_vessel_without_a_thermometer_is_not_counted(stop):
    assert stop.lost_kg("first_evaporator") == 0.0
    found = stop.excess()
    loss = found.loss_kg_h["first_evaporator"]
    assert loss[FIRST - 1] == pytest.approx(1.7) and loss[LAST] == pytest.approx(1.7)
    assert not found.measured[FIRST:LAST].any() and found.measured[:FIRST].all()
    stop.zones["first_evaporator"]["temp_degc"][::7] += 0.1
    assert stop.lost_kg("first_evaporator") == pytest.approx(17.0)


def test_a_steamed_vessel_counts_until_its_vapour_pressure_is_the_open_airs(stop):
    temp = stop.zones["first_evaporator"]["temp_degc"]
    temp[::7] += 0.1
    temp[FIRST + 120 : LAST] = np.nan
    # Two hours at 0.1 kg/h/m3 in 17 m3; no season's median stands in for the rest.
    assert stop.lost_kg("first_evaporator") == pytest.approx(0.1 * 17.0 * 2.0)


def test_mud_that_stands_proves_the_juice_above_it(stop):
    stop.volume[:] = 280.0
    mud = stop.add("settler:mud", 60.0)
    mud[::7] += 1.0
    assert stop.lost_kg() == pytest.approx(0.1 * 280.0 * 10.0)
    mud[FIRST + 120 : LAST] = 5.0
    assert stop.lost_kg() == pytest.approx(0.1 * 280.0 * 2.0)


def test_a_settler_prepared_to_stand_is_counted_where_brix_tells_juice_from_water(stop):
    stop.add("settler:mud", 60.0)[FIRST:LAST] = 5.0
    assert stop.lost_kg() == pytest.approx(0.1 * 280.0 * 10.0)
    stop.feed["brix_feed_pct"][:] = 14.5
    assert stop.lost_kg() == 0.0


@pytest.mark.parametrize(("runs_over_after_min", "lost_kg"), [(10, 280.0), (80, 0.0), (900, 0.0)])
def test_the_refill_tells_whether_a_settler_without_a_level_stood_full(
    stop, runs_over_after_min, lost_kg
):
    # 280 m3 at 200 m3/h: an emptied settler takes 84 min before it runs over.
    stop.volume[:] = 280.0
    tank = stop.add("clear_juice_tank", 50.0)
    tank[FIRST : LAST + runs_over_after_min] = 10.0
    assert stop.lost_kg() == pytest.approx(lost_kg)


def test_without_any_tag_that_tells_nothing_is_claimed(stop):
    stop.volume[:] = 280.0
    stop.add("settler:mud", 60.0)
    stop.add("clear_juice_tank", 50.0)
    assert [stop.lost_kg(z) for z in stop.zones] == [0.0] * 4


def test_what_may_be_wash_water_is_not_counted(stop):
    stop.feed["brix_feed_pct"][FIRST - 50 : LAST] = np.nan
    assert stop.lost_kg() == pytest.approx(280.0)
    stop.feed["brix_feed_pct"][FIRST - 90 : LAST] = np.nan
    assert stop.lost_kg() == 0.0
    # A mill that does not measure it is not asked for it.
    stop.feed["brix_feed_pct"][:] = np.nan
    assert stop.lost_kg() == pytest.approx(280.0)


DAY_FIRST, DAY_LAST = 5 * 1440 + 120, 5 * 1440 + 120 + 12 * 60


def stopped(plant):
    for tag in ("MJ.FI101", "ST.FI301", "CT.FI403", "ST.FI306"):
        plant.tag(tag)[DAY_FIRST:DAY_LAST] = 0.0
    return plant


def drain(plant, vessel, after_min, over_min=30):
    for tag in LEVELS[vessel]:
        course = np.interp(np.arange(plant.n), [0, over_min], [1.0, 0.0])[: DAY_LAST - DAY_FIRST]
        at = DAY_FIRST + after_min
        plant.tag(tag)[at:DAY_LAST] *= course[: DAY_LAST - at]


@pytest.mark.parametrize("last", [v if v == "settler" else slow(v) for v in LEVELS])
def test_an_emptied_station_is_no_loss_whichever_vessel_was_last(plant, last):
    stopped(plant)
    for vessel in LEVELS:
        drain(plant, vessel, 60 if vessel == last else 5)
    plant.tag("CH.TI411")[DAY_FIRST + 40 : DAY_LAST] = 70.0
    losses = plant.search(SMALL)
    assert losses.findings.is_empty()
    notice = losses.notices.filter(losses.notices["kind"] == "handled_stop")["text"][0]
    assert "t more than running" in notice
    # What drains in time is part of the unavoidable.
    assert losses.minutes["unavoidable_kg_h"][DAY_FIRST + 10] > 0.0
    assert losses.minutes["unavoidable_kg_h"][DAY_LAST - 60] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.slow
def test_a_station_of_which_half_was_drained_is_told_with_the_rest(plant):
    full = stopped(plant).search(SMALL).findings.row(0, named=True)
    for vessel in ("clear_juice_tank", "first_evaporator", "liming_tank"):
        drain(plant, vessel, 5)
    plant.tag("CH.TI411")[DAY_FIRST + 40 : DAY_LAST] = 70.0
    row = plant.search(SMALL).findings.row(0, named=True)
    assert (row["cause"], row["section"].split(":")[0]) == ("standing_juice", "settler")
    assert 0.2 * full["lost_t"] < row["lost_t"] < 0.9 * full["lost_t"]
    texts = [f["text"] for f in json.loads(row["evidence"])["facts"]]
    assert any(t.startswith("the settler held ") and "°C and pH" in t for t in texts)


def test_what_stayed_hot_names_its_vessel(plant):
    stopped(plant)
    for vessel in ("settler", "clear_juice_tank", "liming_tank"):
        drain(plant, vessel, 5)
    row = plant.search(SMALL).findings.row(0, named=True)
    assert (row["cause"], row["section"]) == ("standing_juice", "first_evaporator")


def without(plant, *tags):
    for tag in tags:
        del plant.grid[plant.name[tag]]
    signals = tuple(s for s in plant.station.signals if s.tag not in tags)
    plant.station = replace(plant.station, signals=signals)


def test_a_settler_that_only_its_mud_speaks_for_is_said_to_be_counted_as_full(plant):
    without(stopped(plant), "ST.LI303")
    row = plant.search(SMALL).findings.row(0, named=True)
    texts = [f["text"] for f in json.loads(row["evidence"])["facts"]]
    assert any(
        t.startswith("the settler, counted as full for want of a level, held") for t in texts
    )


@pytest.mark.slow
def test_a_settler_that_nothing_speaks_for_is_not_claimed_but_said(plant):
    # The clear-juice tank stays as it was: nobody sees when juice ran over again.
    without(stopped(plant), *LEVELS["settler"])
    losses = plant.search(SMALL)
    facts = [f["text"] for e in losses.findings["evidence"] for f in json.loads(e)["facts"]]
    assert not any(t.startswith("the settler") for t in facts)
    assert any(t.startswith("not counted: the settler, of which no tag tells") for t in facts)
    for vessel in ("clear_juice_tank", "first_evaporator", "liming_tank"):
        drain(plant, vessel, 5)
    plant.tag("CT.LI401")[DAY_LAST : DAY_LAST + 80] = 1.0  # 80 min of feed fill the settler first
    losses = plant.search(SMALL)
    assert losses.findings.is_empty()
    notice = losses.notices.row(0, named=True)
    assert notice["kind"] == "untold_stop"
    assert "Not counted: settler, mud of the settler, of which no tag tells" in notice["text"]


def test_juice_cooled_below_75_degc_loses_little(plant):
    stopped(plant)
    for tag in ("ST.TI304", "ST.TI307", "CT.TI402", "CH.TI411", "EV.TI501", "FT.TI231"):
        course = np.interp(np.arange(DAY_LAST - DAY_FIRST), [0, 60], [0.0, 1.0])
        plant.tag(tag)[DAY_FIRST:DAY_LAST] -= course * (plant.tag(tag)[DAY_FIRST] - 70.0)
    assert plant.search(SMALL).findings.is_empty()


@pytest.mark.slow
def test_an_evaporator_nobody_measures_does_not_make_a_stop(plant):
    stopped(plant)
    warm = plant.search(SMALL).findings.row(0, named=True)
    without(plant, "EV.TI501")
    row = plant.search(SMALL).findings.row(0, named=True)
    assert row["cause"] == "standing_juice"
    assert row["lost_t"] < warm["lost_t"]
    texts = [f["text"] for f in json.loads(row["evidence"])["facts"]]
    assert any(t.startswith("not counted: the first evaporator, which has no ther") for t in texts)
