"""What is named first: what can drive the loss, first to move, furthest upstream."""

from dataclasses import replace

import numpy as np
import pytest

from models.account.first_moves import Departure
from models.account.named import Moved, family_of, name_first
from models.account.tracked import LIME_PER_JUICE, PROBE_ERROR, Tracked, tracked_signals
from models.base.minutes import to_minutes

POSITIONS = {"mill": -3.0, "mixed_juice": -1.0, "primary_heater": 1.0, "liming_tank": 2.0,
             "settler": 5.0, "clear_juice_tank": 6.0, "clear_juice_heater": 7.0,
             "first_evaporator": 8.0}  # fmt: skip


def moved(quantity, place, change, onset=100.0, *, port="out", swings=5.0, spread=5.0):
    signal = Tracked(
        f"{quantity}_{place}_{port}", (f"{quantity}@{place}",), quantity, place, port,
        POSITIONS[place], np.zeros(3), np.zeros(3), np.zeros(3), 0.0,
    )  # fmt: skip
    return Moved(signal, Departure(signal.key, 50.0, 50.0 + change, onset, spread, 9.0, swings))


def named(station, moves, cause, zone):
    found = name_first(moves, family_of(cause, "", zone), zone, station, cause)
    return None if found is None else (found.first.signal.quantity, found.first.signal.place)


def test_the_heater_is_named_before_the_tank_it_feeds_although_both_moved(station):
    moves = [
        moved("temperature", "liming_tank", -15.0, 96.0, port="inside"),
        moved("temperature", "primary_heater", -16.0, 100.0),
    ]
    assert named(station, moves, "microbial", "liming_tank") == ("temperature", "primary_heater")


def test_what_moved_long_after_is_not_the_first_however_far_upstream(station):
    moves = [
        moved("temperature", "liming_tank", -15.0, 100.0, port="inside"),
        moved("temperature", "primary_heater", -16.0, 400.0),
    ]
    assert named(station, moves, "microbial", "liming_tank") == ("temperature", "liming_tank")


def test_what_moved_the_wrong_way_drove_nothing(station):
    hot = [
        moved("temperature", "clear_juice_heater", -9.0),
        moved("temperature", "first_evaporator", 9.0, port="inside"),
    ]
    assert named(station, hot, "overheating", "first_evaporator") == (
        "temperature",
        "first_evaporator",
    )
    assert named(station, [moved("level", "clear_juice_tank", -20.0)], "tank_held",
                 "clear_juice_tank") is None  # fmt: skip


def test_a_heater_of_another_vessel_is_not_blamed(station):
    moves = [
        moved("temperature", "primary_heater", 9.0),
        moved("temperature", "clear_juice_heater", 9.0, 200.0),
    ]
    assert named(station, moves, "overheating", "first_evaporator") == (
        "temperature",
        "clear_juice_heater",
    )


def test_lime_per_juice_is_named_before_the_ph_that_follows_it(station):
    moves = [
        moved("ph", "liming_tank", -0.5, 100.0),
        moved(LIME_PER_JUICE, "liming_tank", -3.0, 105.0, port="in"),
    ]
    # What is made of the dose lies before the probe behind the tank.
    moves[1] = Moved(
        Tracked(
            "lime", ("L", "J"), LIME_PER_JUICE, "liming_tank", "in", 1.9, *[np.zeros(3)] * 3, 0.0
        ),
        moves[1].departure,
    )
    assert named(station, moves, "low_limed_ph", "liming_tank") == (LIME_PER_JUICE, "liming_tank")


def test_a_probe_that_drifts_is_named_and_not_the_lime_it_cut(station):
    error = moved(PROBE_ERROR, "liming_tank", 0.3, 300.0)
    lime = moved(LIME_PER_JUICE, "liming_tank", -3.0, 100.0, port="in")
    assert named(station, [error, lime], "", "liming_tank") is None
    found = name_first([error, lime], "acid", "liming_tank", station)
    assert found.first is error
    assert found.follows == (lime,)
    # Where the reading itself fell, the loop was not fooled: the lime ran short.
    read = moved("ph", "liming_tank", -0.5, 110.0)
    assert name_first([error, lime, read], "acid", "liming_tank", station).first is not error
    # The search weighed the laboratory's grabs, and its word counts.
    assert named(station, [error, lime, read], "ph_probe_high", "liming_tank") == (
        PROBE_ERROR,
        "liming_tank",
    )


def test_a_move_within_the_everyday_swing_is_named_as_weak_or_not_at_all(station):
    weak = moved("level", "clear_juice_tank", 20.0, swings=1.0)
    found = name_first([weak], "level", "clear_juice_tank", station)
    assert found.weak
    clear = moved("level", "clear_juice_tank", 20.0)
    assert not name_first([clear], "level", "clear_juice_tank", station).weak


def test_of_weak_moves_of_one_quantity_the_one_upstream_is_named(station):
    """Hours that come and go: the juice's own meter moved as much as the settler's, or half."""
    behind = moved("flow", "settler", -30.0, port="in", swings=1.0)
    before = moved("flow", "mixed_juice", -30.0, 400.0, port="", swings=1.0)
    assert named(station, [behind, before], "slow_throughput", "settler") == (
        "flow",
        "mixed_juice",
    )
    faint = Moved(before.signal, replace(before.departure, z=3.0))
    assert named(station, [behind, faint], "slow_throughput", "settler") == ("flow", "settler")
    assert name_first([behind, before], "feed", "settler", station).weak


@pytest.mark.parametrize(
    ("cause", "driver", "zone", "family"),
    [
        ("mud_held", "", "settler:mud", "mud"),
        ("", "volume", "settler:mud", "mud"),
        ("", "volume", "clear_juice_tank", "level"),
        ("", "throughput", "settler", "feed"),
        ("unexplained", "temperature", "settler", "heat"),
        ("", "brix", "settler", ""),
    ],
)
def test_each_cause_and_driver_has_its_kind(cause, driver, zone, family):
    assert family_of(cause, driver, zone) == family


def test_doses_are_followed_per_juice_and_on_the_time_of_the_juice(plant):
    half = plant.n // 2
    flow = plant.tag("MJ.FI101")
    flow[half:] *= 0.5
    plant.tag("ST.FI301")[half:] *= 0.5
    plant.tag("LT.FI211")[half:] *= 0.5
    found = {t.key: t for t in tracked_of(plant)}
    lime = found[LIME_PER_JUICE]
    assert lime.tags == ("LT.FI211", "MJ.FI101")
    # A dose that follows the juice has not moved: 2,600 L/h over 265 m3/h before and after.
    for part in (lime.by_clock[:half], lime.by_clock[half:]):
        assert np.nanmedian(part) == pytest.approx(2600 / 265, rel=0.02)
    assert found["flocculant_per_juice"].tags == ("ST.FI302", "ST.FI301")
    assert lime.position < found["ph_liming_tank_out"].position
    assert found["ph_settler_out"].travel_min > 45
    seen = found["ph_settler_out"].seen_at(5000.0)
    assert seen == pytest.approx(5000.0 + found["ph_settler_out"].travel_min, abs=15)


def tracked_of(plant):
    derived = plant.derived()
    minutes = to_minutes(derived.station_minutes, derived.zone_minutes)
    return tracked_signals(plant.grid, minutes, {}, plant.station)
