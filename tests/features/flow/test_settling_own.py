"""A mill's turbidity made by a known rule gives the rule back, within its own errors."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from features.flow import own_settling


def _hours(n=700, seed=2, power=1.3, by_water=0.6, noise=0.15):
    """Load, factors and turbidity of some weeks; what turbidity does besides lasts six hours."""
    rng = np.random.default_rng(seed)

    def wander(sd, hours):
        keep = np.exp(-1.0 / hours)
        return sd * lfilter([np.sqrt(1.0 - keep**2)], [1.0, -keep], rng.standard_normal(n))

    load = 2.6 * np.exp(wander(0.12, 20.0))
    by_viscosity = np.exp(wander(0.02, 30.0))
    by_crowd = np.exp(wander(0.25, 40.0))
    turbidity = 25.0 * (load / by_viscosity) ** power * by_crowd ** (-power * by_water)
    return load, by_viscosity, by_crowd, turbidity * np.exp(wander(noise, 6.0))


def test_the_rule_lies_in_its_interval_in_most_of_many_mills():
    inside = {"power": 0, "by_water": 0}
    for seed in range(100, 140):
        found = own_settling(*_hours(seed=seed))
        inside["power"] += abs(found.power - 1.3) < 1.645 * found.power_sd
        inside["by_water"] += abs(found.by_water - 0.6) < 1.645 * found.by_water_sd
    # 90 % intervals; 40 mills leave 2 standard errors of 5 points each way.
    assert all(31 <= count <= 40 for count in inside.values()), inside


def test_wild_hours_stops_and_mud_do_not_move_it():
    load, thin, crowd, turbidity = _hours(noise=0.05)
    mud = 45.0 + 10.0 * np.sin(np.arange(len(load)) / 17.0)
    turbidity = turbidity * np.exp(0.02 * mud)
    turbidity[50:60] *= 20.0
    load = load.copy()
    load[200:230], turbidity[200:230] = 0.1, 90.0
    found = own_settling(load, thin, crowd, turbidity, mud)
    assert found.power == pytest.approx(1.3, abs=0.25)
    assert found.by_water == pytest.approx(0.6, abs=0.15)
    assert found.hours == len(load) - 30


def test_turbidity_that_follows_nothing_says_so():
    load, thin, crowd, _ = _hours()
    loose = 25.0 * np.exp(0.2 * np.random.default_rng(9).standard_normal(len(load)))
    found = own_settling(load, thin, crowd, loose)
    assert found.power is None and "does not follow" in found.reason
    assert "only 100 h" in own_settling(*(a[:100] for a in _hours())).reason


def test_steady_brix_tells_nothing_of_thinner_juice():
    load, thin, _, _ = _hours()
    turbidity = (
        25.0 * load**1.3 * np.exp(0.05 * np.random.default_rng(1).standard_normal(len(load)))
    )
    found = own_settling(load, thin, np.ones_like(load), turbidity)
    assert found.power == pytest.approx(1.3, abs=0.1) and found.by_water is None
    # Twice the turbidity at 2 ** (1 / power) of the load.
    assert found.doubling_pct == pytest.approx(100.0 * (2.0 ** (1.0 / found.power) - 1.0))


def test_arrays_of_one_length_are_asked_for():
    load, thin, crowd, turbidity = _hours()
    with pytest.raises(ValueError, match="differ in length"):
        own_settling(load[1:], thin, crowd, turbidity)
