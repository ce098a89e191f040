"""One minute worked by hand: every number follows from the ones before it."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from features.kinetics.kinetics import inversion_1_h
from features.kinetics.loss import State, loss_factors, state_inversion_1_h
from models.account.worked_steps import work_through
from models.base.minutes import Minutes

START = datetime(2025, 10, 6, tzinfo=UTC)
N = 600
MULTIPLIER = 1.6
BIAS = 0.2


@pytest.fixture
def minutes(station):
    """A liming tank 0.3 pH below its target and 3 K too warm for ten hours."""
    slope = station.kinetics.ph_slope
    target = State(72.0, 10.0**-7.5, 14.5, 63.0)
    actual = State(75.0, 10.0**-7.2, 14.5, 63.0)
    rate = state_inversion_1_h(actual, slope, 25.0)
    factors = loss_factors(actual, target, slope)
    held = 63.0 * 130.0
    reference = state_inversion_1_h(target, slope, 25.0) * held
    values = {
        "temp_degc": 75.0, "brix_pct": 14.5,
        "ph_cold": 7.2, "volume_m3": 63.0, "sucrose_held_kg": held,
        "inversion_1_h": rate, "loss_kg_h": rate * held, "loss_ref_kg_h": reference,
        "ref_kg_h": reference, "f_ph": factors.ph, "f_temp": factors.temp, "f_brix": factors.brix,
        "f_volume": factors.volume, "w_ph_limed": 1.0, "w_ph_clear": 0.0,
    }  # fmt: skip
    zone = {name: np.full(N, float(value)) for name, value in values.items()}
    return Minutes(START, {"sucrose_feed_kg_h": np.full(N, 3e4)}, {"liming_tank": zone})


def worked(minutes, station, **other):
    biases = (np.full(N, BIAS), np.zeros(N))
    bounds = (START + timedelta(hours=1), START + timedelta(hours=9))
    return work_through(minutes, biases, station, MULTIPLIER, bounds, **other)


def test_the_minute_multiplies_through(minutes, station):
    hand = worked(minutes, station, prefer=["gone", "liming_tank"]).by_hand
    assert hand.volume_m3 * hand.sucrose_kg_m3 == pytest.approx(hand.held_kg)
    through = hand.held_kg * hand.inversion_1_h * hand.correction * hand.multiplier
    assert through == pytest.approx(hand.loss_kg_h)
    by_factors = hand.target_kg_h * np.prod(list(hand.factors.values()))
    assert by_factors == pytest.approx(hand.loss_kg_h)
    # In a single cell the rate is the published equation at the corrected hot pH.
    published = inversion_1_h(hand.ph_hot, hand.temp_degc, 14.5)
    assert hand.inversion_1_h == pytest.approx(published)
    assert hand.at_mean_1_h == pytest.approx(published)
    by_hand = 60 * 10 ** (16.91 + math.log10(hand.water_g_ml) - 5670 / 348.15 - hand.ph_hot)
    assert by_hand == pytest.approx(published)


def test_vessels_carry_multiplier_and_corrected_ph(minutes, station):
    (row,) = worked(minutes, station).vessels
    col = minutes.zones["liming_tank"]
    assert row.loss_kg_h == pytest.approx(MULTIPLIER * 10**BIAS * col["loss_kg_h"][0])
    assert row.target_kg_h == pytest.approx(MULTIPLIER * col["loss_ref_kg_h"][0])


def test_without_one_whole_minute_nothing_is_worked(minutes, station):
    minutes.zones["liming_tank"]["inversion_1_h"][:] = np.nan
    minutes.zones["liming_tank"]["loss_kg_h"][:] = np.nan
    found = worked(minutes, station)
    assert found.by_hand is None
    assert np.isnan(found.vessels[0].loss_kg_h)
