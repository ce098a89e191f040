"""Errors carried to a loss, against draws from the equation itself."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from slow_case import slow

from features.kinetics.kinetics import inversion_1_min
from features.kinetics.uncertainty import Z90, InputErrors, LossState, loss_error, rate_per_kelvin

LEVEL = 97.5
USUAL = InputErrors(ph_systematic=0.03, multiplier_log_sd=0.15, form_log_sd=0.2)
LARGE = InputErrors(ph_systematic=0.1, multiplier_log_sd=0.3, volume=0.1, temp_systematic_k=1.0)
MIXED = InputErrors(
    ph_random=0.05, ph_systematic=0.05, temp_random_k=0.5, multiplier_log_sd=0.3, scatter=0.1
)


def rate(ph_cold, temp, slope):
    """Published rate, its level fitted at LEVEL with the same pH slope."""
    at = inversion_1_min(ph_cold + slope * (temp - 25.0), temp, 14.5)
    fitted = inversion_1_min(7.0 + slope * (LEVEL - 25.0), LEVEL, 14.5)
    return at / fitted


def draws_of_excess(rng, errors, temp, leverage, n):
    """Estimates of an excess whose truth is 1, and the leverage each estimate would report."""

    def normal(sd):
        return rng.normal(0.0, sd, n)

    temp_read = temp + normal(math.hypot(errors.temp_random_k, errors.temp_systematic_k))
    slope = -0.006 + normal(errors.ph_slope_sd)
    shared = rate(7.0, temp_read, slope) / rate(7.0, temp, -0.006)
    shared *= np.exp(normal(errors.multiplier_log_sd) + normal(errors.form_log_sd))
    shared *= (1.0 + normal(errors.volume)) * (1.0 + normal(errors.sucrose))
    ph_error = normal(math.hypot(errors.ph_random, errors.ph_systematic))
    loss = leverage * 10.0**-ph_error
    excess = shared * (loss - (leverage - 1.0)) + normal(errors.scatter)
    return excess, shared * loss / excess


def coverage(errors, temp, leverage, n=6000):
    """Share of draws whose 90 % interval holds the truth, and of those that were findings."""
    excess, seen_leverage = draws_of_excess(np.random.default_rng(20), errors, temp, leverage, n)
    kept = excess > 0.05
    named = {name: getattr(errors, name) for name in InputErrors.__slots__}
    inside = 0
    for value, lever in zip(excess[kept], seen_leverage[kept], strict=True):
        state = LossState(temp, LEVEL, ph_leverage=lever if leverage > 1.0 else 1.0)
        found = loss_error(state, InputErrors(**named | {"scatter": errors.scatter / value}))
        low, high = found.interval(value)
        inside += low <= 1.0 <= high
    return inside / kept.sum(), kept.mean()


@pytest.mark.parametrize("temp", [72.0, 97.5, 113.0])
@pytest.mark.parametrize("errors", [USUAL, LARGE, MIXED])
@pytest.mark.parametrize("leverage", [slow(1.0), 1.4])
def test_interval_covers_nine_draws_in_ten(temp, errors, leverage):
    covered, kept = coverage(errors, temp, leverage)
    assert kept > 0.995
    assert 0.88 <= covered <= 0.92


@pytest.mark.parametrize(("leverage", "scatter"), [(1.0, 0.3), (2.0, 0.0), (2.0, 0.3)])
def test_where_adding_errors_are_large_the_interval_errs_wide(leverage, scatter):
    errors = InputErrors(ph_systematic=0.1, multiplier_log_sd=0.3, scatter=scatter)
    covered, kept = coverage(errors, 97.5, leverage)
    assert kept > 0.95
    assert 0.88 <= covered <= 0.96


def test_each_contribution_alone_is_the_spread_of_its_draws():
    for name, field, size in (
        ("ph", "ph_systematic", 0.1),
        ("temperature", "temp_systematic_k", 1.0),
        ("volume", "volume", 0.1),
        ("multiplier", "multiplier_log_sd", 0.3),
        ("ph_slope", "ph_slope_sd", 0.003),
    ):
        nothing = dict.fromkeys(InputErrors.__slots__, 0.0)
        errors = InputErrors(**nothing | {field: size})
        excess, _ = draws_of_excess(np.random.default_rng(5), errors, 110.0, 1.0, 40_000)
        found = loss_error(LossState(110.0, LEVEL), errors)
        by_name = {c.name: c.systematic for c in found.contributions}
        assert by_name[name] == pytest.approx(np.log(excess).std(), rel=0.03), name
        assert found.log_sd == pytest.approx(by_name[name])


def test_a_tenth_of_ph_is_a_quarter_of_the_loss():
    # First order in hydrogen ions: 0.3 pH doubles or halves the loss (computed, 10**0.3 = 1.995).
    nothing = dict.fromkeys(InputErrors.__slots__, 0.0)
    found = loss_error(LossState(100.0, 100.0), InputErrors(**nothing | {"ph_systematic": 0.3}))
    assert math.exp(found.log_sd) == pytest.approx(2.0, rel=0.01)


def test_seven_kelvin_double_the_rate():
    # 7.4 K at 100 degC doubles the rate; 9.4 %/K (computed from the published constants).
    assert rate_per_kelvin(100.0, 0.0) == pytest.approx(0.094, abs=5e-4)
    nothing = dict.fromkeys(InputErrors.__slots__, 0.0)
    errors = InputErrors(**nothing | {"temp_systematic_k": 7.4})
    found = loss_error(LossState(100.0, 100.0, ph_slope=0.0), errors)
    assert math.exp(found.log_sd) == pytest.approx(2.0, rel=0.01)


@given(
    st.floats(0.0, 0.3), st.floats(0.0, 3.0), st.floats(0.0, 0.3), st.floats(1.0, 5.0),
    st.floats(0.0, 0.5),
)  # fmt: skip
def test_more_error_never_narrows(ph, kelvin, volume, leverage, scatter):
    state = LossState(105.0, LEVEL, ph_leverage=leverage)
    base = InputErrors()
    more = InputErrors(
        ph_systematic=0.05 + ph,
        temp_systematic_k=0.5 + kelvin,
        volume=0.1 + volume,
        scatter=scatter,
    )
    assert loss_error(state, more).log_sd >= loss_error(state, base).log_sd - 1e-12
    assert loss_error(state, more).systematic_log_sd <= loss_error(state, more).log_sd + 1e-12


def test_random_and_systematic_stay_apart():
    found = loss_error(LossState(97.5, LEVEL), InputErrors(ph_random=0.02, scatter=0.2))
    assert 0.0 < found.random_log_sd < found.systematic_log_sd < found.log_sd
    low, high = found.interval(2.0)
    assert low * high == pytest.approx(4.0)
    assert math.log(high / low) == pytest.approx(2.0 * Z90 * found.log_sd)


@pytest.mark.parametrize("field", ["ph_systematic", "volume", "scatter"])
@pytest.mark.parametrize("value", [-0.1, float("nan")])
def test_a_negative_or_missing_error_is_refused(field, value):
    with pytest.raises(ValueError, match=field):
        loss_error(LossState(97.5, LEVEL), InputErrors(**{field: value}))
