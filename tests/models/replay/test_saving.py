"""Savings against the simulator run again with the change truly made, and their arithmetic."""

import numpy as np
import polars as pl
import pytest

from features.advice import Prices
from features.replay import parse_change, recorded, rerun
from models.account import Surroundings
from models.replay import saving_of, saving_with_interval
from models.replay.costs import LIME, SETTLING, SUGARS

PRICES = Prices(500.0, 300.0, 150.0)


@pytest.fixture
def answer(truly, station, inside, as_driven):
    record = recorded(truly[0], station, inside)
    driven = as_driven(record.derived)

    def ask(*said, **options):
        changes = [parse_change(text, station) for text in said]
        return saving_of(rerun(record, changes), driven, changes, PRICES, **options)

    return ask


def test_with_nothing_changed_nothing_is_saved(answer):
    for said in ((), ("ph_limed=+0",), ("settler.temp_degc=+0",)):
        found = answer(*said, others_t=0.4)
        assert abs(found.replayed_t - found.recorded_t) <= 1e-9
        assert (found.saved.mid, found.saved.low, found.saved.high) == (0.0, 0.0, 0.0)
        assert all(abs(cost.amount) <= 1e-9 for cost in found.costs)
        assert abs(found.later_t) <= 1e-9
        assert found.recorded_t == pytest.approx(
            0.4 + sum(z.recorded_t for z in found.by_vessel), abs=1e-12
        )


@pytest.mark.parametrize(
    ("said", "within"),
    [
        ("ph_limed=+0.2", 0.1),
        # Below pH 7 the simulator's phosphate holds some of its acid back.
        ("ph_limed=-0.2", 0.25),
        ("first_evaporator.temp_degc=-3", 0.1),
        ("secondary_heater.temp_degc=-5", 0.15),
        ("clear_juice_tank.level_pct=-15", 0.15),
    ],
)
def test_a_share_is_saved_as_when_the_simulator_is_truly_changed(answer, truly, said, within):
    # The simulator integrates its own balances and shares no code with the estimators. Its
    # settler is changed over an hour or so, the replay's at once: hence some per cent.
    was, now = (truly[1][key].sum() for key in ("", said))
    found = answer(said)
    share = found.saved.mid / found.recorded_t
    assert share == pytest.approx((was - now) / was, rel=within)


def test_more_mud_loses_more(answer, truly):
    was, now = (truly[1][key].sum() for key in ("", "settler.mud_level_pct=+20"))
    found = answer("settler.mud_level_pct=+20")
    assert was < now
    assert found.saved.mid < 0.0
    assert found.saved.low < found.saved.mid < found.saved.high


def test_saved_is_recorded_less_replayed_and_the_multiplier_scales_it(
    answer, truly, station, inside, as_driven
):
    one = answer("ph_limed=+0.2", others_t=1.0)
    assert one.saved.mid == pytest.approx(one.recorded_t - one.replayed_t, abs=1e-12)
    record = recorded(truly[0], station, inside)
    changes = [parse_change("ph_limed=+0.2", station)]
    run = rerun(record, changes)
    twice = saving_of(run, as_driven(record.derived, multiplier=3.0), changes, PRICES)
    assert twice.saved.mid == pytest.approx(2.0 * one.saved.mid, rel=1e-6)


def test_throughput_is_told_for_the_same_sucrose(answer):
    found = answer("flow=+10%")
    assert found.fed_share == pytest.approx(1.1, rel=1e-3)
    # Vessels hold what they hold: a tenth more juice takes a tenth less time, 9 % less loss.
    assert found.saved.mid / found.recorded_t == pytest.approx(1.0 - 1.0 / 1.1, abs=0.035)
    lime, sugars = (next(c for c in found.costs if c.what == what) for what in (LIME, SUGARS))
    assert abs(lime.amount) < 0.01
    assert sugars.amount < 0.0


def test_costs_of_a_higher_ph_are_lime_and_sugars(answer):
    found = answer("ph_limed=+0.2")
    lime, sugars, settling = (
        next(c for c in found.costs if c.what == what) for what in (LIME, SUGARS, SETTLING)
    )
    # 265 m3/h of 1.05 t/m3 for a day, 8 meq/kg/pH, 28 g CaO an equivalent (Eggleston 2003 for the
    # buffer, by way of features.kinetics.acid; computed).
    assert lime.amount == pytest.approx(265 * 1.055 * 24 * 8 * 0.2 * 28.04e-6, rel=0.03)
    assert lime.value == pytest.approx(150.0 * lime.amount)
    assert sugars.amount > 0.0
    assert settling.amount == pytest.approx(0.0, abs=1e-9)
    assert settling.value is None


def test_colder_juice_settles_slower_by_its_viscosity(answer):
    # Water's viscosity: 0.2848 mPa s at 97 degC, 0.2913 at 95 (IAPWS 2008; computed): 2.3 % more;
    # juice of 14.5 Brix a little more than water.
    settling = next(c for c in answer("settler.temp_degc=-2").costs if c.what == SETTLING)
    assert -3.2 < settling.amount < -2.0


def test_minutes_at_a_bad_ph_are_counted(answer):
    assert answer("ph_limed=+0.2").settles_badly_pct == (0.0, 0.0)
    assert answer("ph_limed=8.2").settles_badly_pct == (0.0, 100.0)


def test_what_was_not_searched_is_in_neither(truly, station, inside, as_driven):
    record = recorded(truly[0], station, inside)
    changes = [parse_change("ph_limed=+0.2", station)]
    run, driven = rerun(record, changes), as_driven(record.derived)
    half = driven.filter(pl.col("ts_utc") < record.readings.times[42 * 60])
    whole, part = (saving_of(run, frame, changes, PRICES) for frame in (driven, half))
    assert part.followed_h == pytest.approx(12.0)
    assert part.recorded_t == pytest.approx(whole.recorded_t / 2, rel=0.05)
    assert part.saved.mid < whole.saved.mid


@pytest.mark.parametrize("said", ["ph_limed=+0.2", "ph_limed=7.7"])
def test_errors_shared_by_both_do_not_count_twice(station, said):
    change = parse_change(said, station)
    around = Surroundings({"settler": 1000.0}, {}, 0.1, 0.3)
    found = saving_with_interval({"settler": 100.0}, around, station, [change])
    if change.how == "by":
        # A tenth is saved: the level's 0.3, ln(10) 0.1 by the probe and 0.12 by form, together
        # 0.397, and their 90 % (computed).
        spread = np.exp(1.6449 * np.sqrt(0.3**2 + (np.log(10) * 0.1) ** 2 + 0.12**2))
        assert found.high == pytest.approx(0.1 * spread, rel=1e-3)
        assert found.low == pytest.approx(0.1 / spread, rel=1e-3)
    else:
        # Held at a value of its own, the replay does not move with the probe.
        assert found.low < 0.0 < found.high


def test_what_cancels_between_vessels_is_not_certain(station):
    around = Surroundings({"settler": 1000.0, "settler:mud": 500.0}, {}, 0.05, 0.2)
    change = [parse_change("settler.mud_level_pct=-10", station)]
    alone = saving_with_interval({"settler:mud": 50.0}, around, station, change)
    against = saving_with_interval(
        {"settler:mud": 200.0, "settler": -150.0}, around, station, change
    )
    assert against.mid == pytest.approx(alone.mid)
    assert against.low < alone.low
    assert against.high > alone.high
