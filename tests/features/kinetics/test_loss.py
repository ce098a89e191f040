from __future__ import annotations

from itertools import permutations
from math import factorial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from thermo.electrochem import Laliberte_density

from features.kinetics.kinetics import inversion_1_h, ph_at_process
from features.kinetics.loss import (
    State,
    concentration_ratio,
    loss_factors,
    loss_kg_h,
    shapley_of_product,
    state_inversion_1_h,
)

factor = st.floats(0.0, 5.0)


def _drivers(data, count):
    names = [f"f{i}" for i in range(count)]
    column = st.lists(factor, min_size=3, max_size=3).map(np.array)
    return {n: data.draw(column) for n in names}, {n: data.draw(column) for n in names}


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 7), st.data())
def test_shares_add_up_to_the_whole_change(count, data):
    actual, reference = _drivers(data, count)
    shares = shapley_of_product(2.5, actual, reference)
    whole = 2.5 * (np.prod(list(actual.values()), 0) - np.prod(list(reference.values()), 0))
    scale = 2.5 * np.prod(np.maximum(list(actual.values()), list(reference.values())), axis=0)
    np.testing.assert_allclose(sum(shares.values()), whole, atol=1e-12 * scale.max() + 1e-12)


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 4), st.data())
def test_shares_are_the_average_over_all_orders(count, data):
    actual, reference = _drivers(data, count)
    shares = shapley_of_product(1.0, actual, reference)
    expected = {name: np.zeros(3) for name in actual}
    for order in permutations(actual):
        now = dict(reference)
        for name in order:
            before = np.prod(list(now.values()), axis=0)
            now[name] = actual[name]
            expected[name] += np.prod(list(now.values()), axis=0) - before
    for name, total in expected.items():
        np.testing.assert_allclose(shares[name], total / factorial(count), atol=1e-9)


def test_a_driver_at_target_gets_nothing_and_twins_share_alike():
    shares = shapley_of_product(
        np.array([4.0]),
        {"ph": np.array([2.0]), "temp": np.array([1.0]), "volume": np.array([2.0])},
        {"ph": np.array([1.0]), "temp": np.array([1.0]), "volume": np.array([1.0])},
    )
    assert shares["temp"][0] == 0.0
    assert shares["ph"][0] == pytest.approx(shares["volume"][0])
    assert shares["ph"][0] == pytest.approx(6.0)


def test_drivers_must_match():
    with pytest.raises(ValueError, match="same names"):
        shapley_of_product(1.0, {"a": np.ones(1)}, {"b": np.ones(1)})
    many = {f"f{i}": np.ones(1) for i in range(8)}
    with pytest.raises(ValueError, match="1 to 7"):
        shapley_of_product(1.0, many, many)


states = st.builds(
    State,
    temp_degc=st.floats(70.0, 120.0),
    acidity=st.floats(5.5, 8.0).map(lambda p: 10.0**-p),
    brix_pct=st.floats(8.0, 30.0),
    volume_m3=st.floats(1.0, 500.0),
    concentration=st.floats(0.8, 2.0),
)


@given(states, states, st.floats(-0.012, 0.0))
def test_factors_multiply_out_to_the_ratio_of_losses(actual, reference, slope):
    f = loss_factors(actual, reference, slope)
    ratio = (state_inversion_1_h(actual, slope, 25.0) * actual.volume_m3 * actual.concentration) / (
        state_inversion_1_h(reference, slope, 25.0) * reference.volume_m3 * reference.concentration
    )
    assert f.ph * f.temp * f.brix * f.volume == pytest.approx(ratio, rel=1e-9)


@given(states)
def test_factors_are_one_at_target(state):
    f = loss_factors(state, state, -0.006)
    assert [f.ph, f.temp, f.brix, f.volume] == pytest.approx([1.0] * 4)


def test_rate_of_a_uniform_zone_is_the_plain_rate():
    state = State(98.0, 10.0**-6.9, 14.0, 1.0)
    hot = ph_at_process(6.9, 98.0, -0.006, 25.0)
    assert state_inversion_1_h(state, -0.006, 25.0) == pytest.approx(inversion_1_h(hot, 98.0, 14.0))


def test_concentration_ratio_against_laliberte_density():
    inside, fed = (b / 100 * Laliberte_density(323.15, [b / 100], ["57-50-1"]) for b in (20, 14.5))
    assert concentration_ratio(20.0, 14.5, 50.0) == pytest.approx(inside / fed, rel=5e-4)


@given(st.floats(1e-6, 1e-2), st.floats(1.0, 1e5))
def test_loss_scales_with_what_is_held(rate, held):
    assert loss_kg_h(rate, 2.0 * held) == pytest.approx(2.0 * loss_kg_h(rate, held))
