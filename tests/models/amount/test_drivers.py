"""The excess of a zone, split between its drivers with the pH put right."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from features.base.station import Kinetics, Station, Targets, Vessel
from features.flow.nominal import souring_1_min
from features.kinetics.acid import ph_after_acid
from models.amount.drivers import DRIVERS, split_excess
from models.amount.souring import ph_parts
from models.base.minutes import Minutes

#: Two days as usual, then four hours of what a test is about.
USUAL, EVENT = 2880, 240
NOW = -1
STATION = Station(
    (Vessel("settler", "settler", 1, 300.0, temp_degc=97.5),),
    (),
    (),
    Targets(260.0, 7.5, 6.95),
    Kinetics(),
)


def then(value, usual=1.0):
    return np.concatenate([np.full(USUAL, usual), np.full(EVENT, value)])


def minutes_of(w_limed=0.2, w_clear=0.8, limed=7.5, residence=80.0, zone="settler", **factors):
    n = USUAL + EVENT
    columns = {"w_ph_limed": np.full(n, w_limed), "w_ph_clear": np.full(n, w_clear)}
    names = ("f_ph", "f_temp", "f_brix", "f_volume", "f_flow")
    columns |= {name: then(factors.get(name, 1.0)) for name in names}
    columns |= {"ref_kg_h": np.full(n, 10.0), "residence_min": then(residence, 80.0)}
    columns["temp_degc"] = np.full(n, 97.5)
    columns["volume_m3"] = np.full(n, 300.0)
    columns["ph_cold"] = then(factors.get("ph_cold", 6.8), 6.8)
    columns["loss_kg_h"] = 10.0 * np.prod([columns[name] for name in names[:4]], axis=0)
    columns["loss_ref_kg_h"] = 10.0 * columns["f_flow"]
    station = {
        "sucrose_feed_kg_h": np.full(n, 1000.0),
        "stopped": np.zeros(n),
        "ph_limed": then(limed, 7.5),
        "ph_limed_at_clear": then(limed, 7.5),
        "ph_clear": np.full(n, 6.95),
    }
    return Minutes(datetime(2025, 10, 6, tzinfo=UTC), station, {zone: columns})


def split(minutes, limed=0.0, clear=0.0):
    return split_excess(minutes, STATION, then(limed, 0.0), then(clear, 0.0))


@pytest.mark.parametrize(("limed", "clear"), [(0.3, 0.0), (0.0, 0.3), (0.3, -0.1)])
def test_a_probe_that_reads_high_hides_a_loss_ten_to_its_bias(limed, clear):
    # First order in H+: reading high by b means a rate 10**b times the one computed.
    excess = split(minutes_of(), limed, clear)
    expected = 10.0 * 10.0 ** (0.2 * limed + 0.8 * clear)
    assert excess.loss_kg_h["settler"][NOW] == pytest.approx(expected)
    by_ph = excess.by_driver["settler", "ph"] + excess.by_driver["settler", "drop"]
    assert by_ph[NOW] == pytest.approx(expected - 10.0)


def test_shares_add_up_to_what_lies_above_the_usual():
    minutes = minutes_of(
        limed=7.2, residence=150.0, f_ph=1.7, f_temp=0.9, f_brix=1.1, f_volume=1.4, f_flow=0.6
    )
    excess = split(minutes, 0.1, 0.2)
    total = sum(excess.by_driver["settler", driver] for driver in DRIVERS)
    # Every usual factor is 1 here, so that the usual loss of this feed is its loss at targets.
    assert total == pytest.approx(excess.total)
    assert excess.driver("throughput")[NOW] > 0


def test_what_is_sour_every_day_multiplies_the_ten_kelvin_of_one_day():
    usual, sour = minutes_of(f_temp=2.0), minutes_of(f_temp=2.0)
    sour.zones["settler"]["f_ph"][:] = 1.5
    hot = split(usual).by_driver["settler", "temperature"][NOW]
    assert split(sour).by_driver["settler", "temperature"][NOW] == pytest.approx(1.5 * hot)
    assert split(sour).by_driver["settler", "drop"][NOW] == pytest.approx(0.0)


def test_juice_limed_low_is_told_from_juice_whose_ph_fell_on_the_way():
    as_limed = split(minutes_of(limed=7.1, f_ph=10.0**0.4))
    on_the_way = split(minutes_of(f_ph=10.0**0.4))
    assert as_limed.by_driver["settler", "ph"][NOW] > 10.0
    # Juice limed lower sours more slowly, so that a little less than all of it was to be expected.
    assert 0.0 < as_limed.by_driver["settler", "drop"][NOW] < 5.0
    assert on_the_way.by_driver["settler", "ph"][NOW] == pytest.approx(0.0)
    assert on_the_way.by_driver["settler", "drop"][NOW] == pytest.approx(10.0 * (10.0**0.4 - 1))


def test_older_juice_is_the_fault_of_the_slow_feed():
    hours, usual_h = 3.0, 80.0 / 60.0
    at_ph7 = 60.0 * souring_1_min(STATION, 97.5)
    fall = ph_after_acid(7.225, at_ph7 * usual_h) - ph_after_acid(7.225, at_ph7 * hours)
    excess = split(minutes_of(w_clear=1.0, w_limed=0.0, residence=60.0 * hours, f_flow=0.5))
    slow = excess.by_driver["settler", "throughput"][NOW] - 5.0
    assert slow == pytest.approx(10.0 * (10.0**fall - 1.0), rel=0.3)


def test_hotter_juice_behind_the_last_probe_sours_too():
    tau_h, degc = 0.1, 122.0
    evaporator = Vessel("settler", "evaporator_vessel", 1, 30.0, temp_degc=113.0)
    station = replace(STATION, vessels=(evaporator,))
    minutes = minutes_of(w_clear=1.0, w_limed=0.0, residence=60.0 * tau_h)
    columns = minutes.zones["settler"]
    columns["residence_min"][:] = 60.0 * tau_h
    columns["temp_degc"] = then(degc, 113.0)
    fall = [
        6.95 - ph_after_acid(6.95, 60.0 * tau_h * souring_1_min(STATION, t)) for t in (113.0, degc)
    ]
    columns["f_ph"] = then(10.0 ** (fall[1] - fall[0]))
    zero = np.zeros(USUAL + EVENT)
    shares = split_excess(minutes, station, zero, zero).by_driver
    heat, rest = (shares["settler", name][NOW] for name in ("temperature", "drop"))
    # The law of souring slows down as pH falls; the share is worked out at the start of the fall.
    assert heat > 0.0
    assert abs(rest) < 0.1 * heat


def test_held_mud_that_sours_speaks_for_the_mud_held():
    minutes = minutes_of(zone="settler:mud", ph_cold=6.5, f_ph=2.0, f_volume=1.5)
    mud = split(minutes).by_driver
    assert mud["settler:mud", "drop"][NOW] == pytest.approx(0.0, abs=0.2)
    assert mud["settler:mud", "volume"][NOW] == pytest.approx(20.0, rel=0.02)


def test_mud_that_is_sour_every_day_accuses_nobody_of_holding_it():
    minutes = minutes_of(zone="settler:mud", f_ph=2.0)
    minutes.zones["settler:mud"]["ph_cold"][:] = 6.4  # half a pH below clear juice, as always
    parts = ph_parts(minutes, STATION, np.zeros(minutes.n))
    assert np.abs(parts.older_mud["settler:mud"]).max() == pytest.approx(0.0, abs=1e-9)
    mud = split(minutes).by_driver
    assert mud["settler:mud", "volume"][NOW] == pytest.approx(0.0, abs=1e-6)
    assert mud["settler:mud", "drop"][NOW] == pytest.approx(10.0, rel=1e-6)


def test_juice_behind_a_fuller_tank_is_as_much_older_as_the_tank_is_fuller():
    usual_h, fuller, degc = 0.5, 2.0, 97.5
    tank = Vessel("clear_juice_tank", "clear_juice_tank", 1, 70.0, temp_degc=degc)
    heater = Vessel("heater", "clear_juice_heater", 2, 5.0, temp_degc=degc)
    station = replace(STATION, vessels=(STATION.vessels[0], tank, heater))
    one = minutes_of(w_clear=1.0, w_limed=0.0)
    zones = {"settler": one.zones["settler"]}
    for name in ("clear_juice_tank", "heater"):
        zones[name] = {key: column.copy() for key, column in zones["settler"].items()}
        zones[name]["residence_min"][:] = 60.0 * usual_h
    zones["clear_juice_tank"]["volume_m3"] = then(40.0 * fuller, 40.0)
    minutes = Minutes(one.start_utc, one.station, zones)
    parts = ph_parts(minutes, station, np.zeros(minutes.n))
    assert set(parts.older_tank) == {"heater"}
    hourly = 60.0 * souring_1_min(STATION, degc) * 3.0 ** (6.95 - 7.0)
    assert parts.older_tank["heater"][NOW] == pytest.approx(hourly * usual_h * (fuller - 1.0))
    assert parts.older_tank["heater"][0] == pytest.approx(0.0)


def test_a_stop_charges_the_whole_loss_and_stays_finite():
    excess = split(minutes_of(f_flow=0.0))
    assert excess.total[NOW] == pytest.approx(10.0)
    assert excess.by_driver["settler", "throughput"][NOW] == pytest.approx(10.0)


def test_an_unmeasured_driver_is_unknown_and_the_others_are_not():
    minutes = minutes_of(f_volume=2.0)
    minutes.zones["settler"]["f_ph"][NOW] = np.nan
    minutes.zones["settler"]["loss_kg_h"][NOW] = np.nan
    excess = split(minutes)
    assert np.isnan(excess.by_driver["settler", "drop"][NOW])
    assert np.isfinite(excess.by_driver["settler", "volume"]).all()
    assert not excess.measured[NOW] and excess.measured[:NOW].all()


def test_without_a_limed_probe_low_ph_is_nobodys_doing():
    minutes = minutes_of(f_ph=2.0)
    minutes.station["ph_limed"][:] = np.nan
    minutes.station["ph_limed_at_clear"][:] = np.nan
    excess = split(minutes)
    assert np.isnan(excess.by_driver["settler", "ph"]).all()
    assert excess.by_driver["settler", "drop"][NOW] == pytest.approx(10.0)
