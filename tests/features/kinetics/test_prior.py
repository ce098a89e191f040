"""Draws around a belief: central values first, the spread asked for, always the same."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from features.base.station import Kinetics
from features.kinetics.prior import (
    DRAWS,
    PUBLISHED_LOG_SD,
    Prior,
    draw,
    estimate,
    log_sd_of_interval,
    published,
)


def test_central_values_come_first_and_draws_repeat():
    kinetics = Kinetics(multiplier=1.7, ph_slope=-0.005)
    first, again = draw(Prior(kinetics)), draw(Prior(kinetics))
    assert first.multiplier.shape == (DRAWS + 1,)
    assert first.multiplier[0] == pytest.approx(1.7)
    assert first.ph_slope[0] == -0.005
    assert first.buffer_meq_kg_ph[0] == pytest.approx(kinetics.buffer_meq_kg_ph)
    for name in ("multiplier", "ph_slope", "rs_rate_ph7_1_h", "acid_per_hexose"):
        np.testing.assert_array_equal(getattr(first, name), getattr(again, name))
        assert first.central().multiplier.shape == (1,)


def test_draws_spread_as_a_normal_and_do_not_hang_together():
    found = draw(published())
    level = np.log(found.multiplier[1:]) / PUBLISHED_LOG_SD
    slope = (found.ph_slope[1:] + 0.006) / 0.003
    for values in (level, slope):
        assert stats.kstest(values, "norm").statistic < 0.015
    assert abs(stats.pearsonr(level, slope).statistic) < 0.02


def test_interval_of_a_log_normal_is_the_textbook_one():
    found = estimate(draw(published()).multiplier)
    low, high = stats.lognorm.interval(0.9, PUBLISHED_LOG_SD)
    assert found.value == 1.0
    assert (found.low, found.high) == pytest.approx((low, high), rel=0.03)
    assert log_sd_of_interval(low, high) == pytest.approx(PUBLISHED_LOG_SD, rel=1e-3)


def test_a_fitted_multiplier_takes_back_the_error_of_the_slope():
    prior = Prior(replace(Kinetics(), multiplier_log_sd=0.0), fitted_at_degc=97.0)
    found = draw(prior)
    at_fit = found.multiplier * 10.0 ** (-found.ph_slope * (97.0 - 25.0))
    np.testing.assert_allclose(at_fit, at_fit[0], rtol=1e-12)
