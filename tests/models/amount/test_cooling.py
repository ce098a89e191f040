"""Slow juice cools: its extra time is claimed net of what the cooling saves."""

from dataclasses import replace

import numpy as np
import pytest

from models.amount.cooling import cooled_by_age
from models.amount.drivers import DRIVERS, split_excess
from models.base.minutes import Minutes
from tests.models.conftest import START

N, FIRST, LAST = 12 * 1440, 8000, 8720
EVENT = slice(FIRST, LAST)
#: Slow hours of the weeks before, from which a mill's own cooling is learnt.
BEFORE = tuple(slice(start, start + 720) for start in (1000, 3000, 5000, 11000, 14000))


def minutes_of(fall_k_h, slow=0.65, seed=5, hot_k=0.0):
    """A settler; for twelve hours now and then the feed is slow and loses heat on its way."""
    rng = np.random.default_rng(seed)
    flow = 1.0 + np.repeat(rng.normal(0.0, 0.04, N // 60), 60)
    for hours in (EVENT, *BEFORE):
        flow[hours] = slow
    stay_min = 75.0 / flow
    degc = 97.5 - fall_k_h * (stay_min - 75.0) / 60.0 + np.repeat(rng.normal(0, 0.4, N // 240), 240)
    degc[EVENT] += hot_k
    one = np.ones(N)
    columns = {
        "residence_min": stay_min,
        "temp_degc": degc,
        "volume_m3": 300.0 * one,
        "ph_cold": 6.95 * one,
        # Vukov 1965 with -0.006 pH/K: 9.4 % and 1.4 % a kelvin near 97.5 degC (memory).
        "f_temp": np.exp(0.108 * (degc - 97.5)),
        "f_flow": flow,
        "ref_kg_h": 10.0 * one,
        "w_ph_limed": 0.2 * one,
        "w_ph_clear": 0.8 * one,
        **dict.fromkeys(("f_ph", "f_brix", "f_volume"), one),
    }
    columns["loss_kg_h"] = 10.0 * columns["f_temp"]
    columns["loss_ref_kg_h"] = 10.0 * flow
    station = {
        "sucrose_feed_kg_h": 30000.0 * flow,
        "stopped": 0.0 * one,
        "ph_limed": 7.5 * one,
        "ph_limed_at_clear": 7.5 * one,
        "ph_clear": 6.95 * one,
    }
    return Minutes(START, station, {"settler": columns})


@pytest.fixture
def settler_alone(station):
    settler = next(v for v in station.vessels if v.kind == "settler")
    # No souring with age, so that nothing but time and heat is in the sums.
    return replace(
        station,
        vessels=(settler,),
        kinetics=replace(station.kinetics, acid_per_hexose=0.0),
    )


@pytest.mark.parametrize(("fall_k_h", "within"), [(0.0, 0.08), (1.5, 0.08), (3.0, 0.1)])
def test_slow_juice_is_charged_net_of_the_heat_it_loses(settler_alone, fall_k_h, within):
    minutes = minutes_of(fall_k_h)
    zero = np.zeros(N)
    excess = split_excess(minutes, settler_alone, zero, zero)
    spells = np.r_[(EVENT, *BEFORE)]
    slow = excess.by_driver["settler", "throughput"][spells].mean()
    # By hand: 10 kg/h at the usual flow; the same vessel, cooler by its extra stay, over 0.65 of
    # the feed's usual loss.
    stay_h = 75.0 / 60.0 * (1.0 / 0.65 - 1.0)
    true = 10.0 * np.exp(-0.108 * fall_k_h * stay_h) - 10.0 * 0.65
    gross = 10.0 - 10.0 * 0.65
    assert slow == pytest.approx(true, abs=within * gross)
    whole = sum(excess.by_driver["settler", d] for d in DRIVERS)[EVENT].mean()
    # Shares still add up: what the slow feed is not charged with, the heat is not credited with.
    assert whole == pytest.approx(excess.loss_kg_h["settler"][EVENT].mean() - 6.5, abs=0.4)


def test_heat_that_was_added_to_slow_juice_stays_the_heats(settler_alone):
    zero = np.zeros(N)
    cold = split_excess(minutes_of(2.0), settler_alone, zero, zero)
    hot = split_excess(minutes_of(2.0, hot_k=3.0), settler_alone, zero, zero)
    added = (hot.total - cold.total)[EVENT].mean()
    by_heat = [e.by_driver["settler", "temperature"][EVENT].mean() for e in (cold, hot)]
    assert by_heat[1] - by_heat[0] == pytest.approx(added, rel=0.25)


def test_a_vessel_without_a_thermometer_cools_nobodys_claim(settler_alone):
    blind = replace(settler_alone, signals=())
    assert cooled_by_age(minutes_of(3.0), blind) == {}
