"""The noises have the memory and the spread that they claim, against closed forms and tables."""

import math

import numpy as np
import pytest
from scipy import signal, special, stats

from models.base import MINUTES_PER_BLOCK
from models.judge import NOISES, draw_noise
from models.judge.noises import (
    DAY_QUARTERS,
    QUARTER_MIN,
    ar1,
    ar2,
    arfima,
    arfima_acf,
    cycle_coefficients,
    day_cycle,
    day_spreads,
    deadband,
    held_levels,
    ou,
    ou_long_run_variance,
    shift_levels,
    walk,
)

DAY = 1_440


def draws(one, count=200):
    return np.stack([one(np.random.default_rng([7, seed])) for seed in range(count)])


def is_about(per_draw, expected):
    """Whether the mean over independent draws lies within four standard errors of its value."""
    error = np.std(per_draw, ddof=1) / math.sqrt(len(per_draw))
    return abs(np.mean(per_draw) - expected) < 4.0 * error


def products(rows, lag):
    """Mean product at a lag, one a draw: the autocovariance where the mean is 0."""
    return (rows[:, : rows.shape[1] - lag] * rows[:, lag:]).mean(axis=1)


@pytest.mark.parametrize("memory_min", [45.0, 360.0, 720.0, 1440.0])
def test_memory_of_ou_noise_falls_off_exponentially(memory_min):
    # Closed form exp(-t / memory) (G. E. Uhlenbeck & L. S. Ornstein, Phys. Rev. 36 (1930); memory).
    rows = draws(lambda rng: ou(rng, 7 * DAY, memory_min))
    for share in (0.0, 0.5, 1.0, 2.0):
        lag = round(share * memory_min)
        assert is_about(products(rows, lag), math.exp(-lag / memory_min))


def test_a_long_sum_of_ou_noise_has_the_variance_stated():
    # Exact variance of the sum of 48 h; the long-run variance per minute leaves its ends out.
    n, memory = 2_880, 45.0
    lag = np.arange(1, n)
    exact = n + 2.0 * float(((n - lag) * np.exp(-lag / memory)).sum())
    assert ou_long_run_variance(memory) * n == pytest.approx(exact, rel=0.02)
    rows = draws(lambda rng: ou(rng, n, memory), 1000)
    assert is_about(rows.sum(axis=1) ** 2, exact)


@pytest.mark.parametrize("phi", [0.95, 0.99])
def test_memory_of_ar1_noise_is_a_power(phi):
    # rho(k) = phi ** k (G. E. P. Box & G. M. Jenkins, Time Series Analysis (1970); memory).
    rows = draws(lambda rng: ar1(rng, 5_000, phi))
    for lag in (0, 1, 20, 96):
        assert is_about(products(rows, lag), phi**lag)


def test_the_daily_cycle_is_daily():
    a, b = cycle_coefficients(DAY_QUARTERS, 0.99)
    per_reading, gain = signal.freqz([1.0], [1.0, -a, -b], worN=1 << 16, fs=1.0)
    assert 1.0 / per_reading[np.argmax(np.abs(gain))] == pytest.approx(DAY_QUARTERS, rel=0.01)
    # Yule and Walker: rho(1) = a / (1 - b), rho(2) = a rho(1) + b (Box & Jenkins as above; memory).
    rows = draws(lambda rng: ar2(rng, 2_688, (a, b)))
    first = a / (1.0 - b)
    for lag, expected in ((0, 1.0), (1, first), (2, a * first + b)):
        assert is_about(products(rows, lag), expected)
    shown = np.stack([draw_noise("ar2_day", seed, 28 * DAY)[::QUARTER_MIN] for seed in range(100)])
    per_reading, power = signal.welch(shown, nperseg=8 * DAY_QUARTERS)
    assert 1.0 / per_reading[np.argmax(power.mean(axis=0))] == pytest.approx(DAY_QUARTERS, rel=0.01)


@pytest.mark.parametrize("d", [0.2, 0.3, 0.4])
def test_long_memory_is_that_of_hosking(d):
    # rho(k) = G(1 - d) G(k + d) / (G(d) G(k + 1 - d)) (J. R. M. Hosking, Biometrika 68 (1981)
    # 165-176; memory).
    k = np.arange(500)
    log_rho = special.gammaln(1 - d) + special.gammaln(k + d)
    expected = np.exp(log_rho - special.gammaln(d) - special.gammaln(k + 1 - d))
    np.testing.assert_allclose(arfima_acf(500, d), expected, rtol=1e-9)
    rows = draws(lambda rng: arfima(rng, 1_000, d), 400)
    for lag in (0, 1, 10, 100, 400):
        assert is_about(products(rows, lag), expected[lag])


def test_levels_moved_by_hand_are_held_for_a_time_without_memory():
    rows = draws(lambda rng: held_levels(rng, 14 * DAY, 0.5, 12.0))
    assert is_about((np.diff(rows) != 0.0).sum(axis=1), 14 * DAY * -math.expm1(-1 / 720))
    for hours in (0, 6, 12, 24):
        assert is_about(products(rows, 60 * hours), 0.25 * math.exp(-hours / 12.0))
    # Times held against the exponential law of scipy.
    held = np.diff(np.flatnonzero(np.diff(rows.ravel()[: 14 * DAY * 100]) != 0.0))
    assert stats.kstest(held, "expon", args=(0.0, 720.0)).pvalue > 0.001


def test_levels_of_a_shift_stand_for_eight_hours():
    rows = draws(lambda rng: shift_levels(rng, 7 * DAY, 1.0))
    assert set(np.flatnonzero(np.diff(rows[0])) + 1) == set(range(480, 7 * DAY, 480))
    # A pair t hours apart lies in one shift with chance 1 - t / 8.
    whole = rows[:, : 6 * DAY]
    for hours in (0, 2, 4, 8):
        later = rows[:, 60 * hours :][:, : 6 * DAY]
        assert is_about((whole * later).mean(axis=1), 1.0 - hours / 8.0)


def test_levels_of_a_walk_never_come_back():
    # Var(x(s + t) - x(s)) = t for every s (A. Einstein, Ann. Phys. 17 (1905) 549-560; memory).
    rows = draws(lambda rng: walk(rng, 14 * DAY, 1.0))
    for days in (0.25, 1, 4, 12):
        lag = round(days * DAY)
        for start in (0, DAY):
            assert is_about((rows[:, start + lag] - rows[:, start]) ** 2, days)


def test_half_of_the_days_are_three_times_as_wild():
    rows = draws(lambda rng: day_spreads(rng, 14 * DAY, 3.0))
    assert set(np.flatnonzero(np.diff(rows.ravel()[: 14 * DAY])) + 1) <= set(
        range(0, 14 * DAY, DAY)
    )
    assert set(np.unique(rows)) == {1.0, 3.0}
    # By hand: a variance of 1 or 9 with equal chance.
    shown = np.stack([draw_noise("days_x3", seed, 28 * DAY) for seed in range(60)])
    assert is_about((shown**2).mean(axis=1), 5.0)


def test_a_mill_has_hands_and_a_day_of_its_own():
    rows = draws(lambda rng: day_cycle(rng, 3 * DAY, 0.5), 5)
    # A wave of amplitude a has the variance a^2 / 2, and comes back after a day (closed form).
    np.testing.assert_allclose(rows.var(axis=1), 0.125, rtol=1e-9)
    np.testing.assert_allclose(rows[:, DAY:], rows[:, :-DAY], atol=1e-9)
    assert np.ptp(rows[:, 0]) > 0.1
    # Fast noise 1, hands 0.25 and the wave 0.125, none of which knows of the others.
    shown = np.stack([draw_noise("mill", seed, 28 * DAY) for seed in range(100)])
    assert is_about((shown**2).mean(axis=1), 1.375)


@pytest.mark.parametrize(("name", "log_sd"), [("variance_0.5", 0.5), ("variance_1", 1.0)])
def test_the_variance_wanders_as_stated(name, log_sd):
    # ln|x| of a normal x has variance trigamma(1/2) / 4 (log chi-square; memory); the wander adds
    # its own.
    shown = np.stack([draw_noise(name, seed, 28 * DAY) for seed in range(60)])
    logs = np.log(np.abs(shown))
    mean = 0.5 * (special.digamma(0.5) + math.log(2.0))
    spread = ((logs - mean) ** 2).mean(axis=1)
    assert is_about(spread, special.polygamma(1, 0.5) / 4.0 + log_sd**2)


@pytest.mark.parametrize(("name", "ph_sd"), [("acid_0.1", 0.1), ("acid_0.2", 0.2)])
def test_loss_by_acid_is_log_normal(name, ph_sd):
    shown = np.stack([draw_noise(name, seed, 14 * DAY) for seed in range(200)]) + 1.0
    s2 = (math.log(10.0) * ph_sd) ** 2
    assert is_about(shown.mean(axis=1), math.exp(s2 / 2.0))
    # Covariance of two log-normals: exp(s2) (exp(s2 rho) - 1) (closed form; memory).
    for hours in (0, 6):
        rho = math.exp(-hours / 6.0)
        expected = math.exp(s2) * (math.exp(s2 * rho) - 1.0)
        centred = shown - math.exp(s2 / 2.0)
        assert is_about(products(centred, 60 * hours), expected)
    law = stats.lognorm(math.sqrt(s2))
    assert stats.kstest(shown[:, :: 3 * DAY].ravel(), law.cdf).pvalue > 0.001


def test_heavy_tails_are_those_of_students_table():
    # Printed tables of t with 3 degrees of freedom: 0.765, 3.182 and 5.841 leave a quarter, 1/40
    # and 1/200 above (memory).
    shown = np.stack([draw_noise("student_t3", seed, 7 * DAY) for seed in range(60)])
    for value, above in ((0.765, 0.25), (3.182, 0.025), (5.841, 0.005)):
        assert is_about((shown * math.sqrt(3.0) > value).mean(axis=1), above)


def test_a_deadband_keeps_what_it_showed():
    values = np.array([0.0, 0.3, 0.5, 0.7, 1.2, 0.8])
    assert deadband(values, 0.5, 0.25).tolist() == [0.0, 0.0, 0.5, 0.5, 1.25, 1.25]
    shown = draw_noise("deadband", 7, DAY)
    assert np.array_equal(shown, np.round(shown * 4) / 4)
    assert (np.diff(shown) == 0.0).mean() > 0.5


@pytest.mark.parametrize("name", NOISES)
def test_a_seed_draws_the_same_again(name):
    first = draw_noise(name, 7, DAY)
    assert first.shape == (DAY,)
    assert np.isfinite(first).all()
    assert np.array_equal(first, draw_noise(name, 7, DAY))
    assert not np.array_equal(first, draw_noise(name, 8, DAY))


def test_quarter_hours_are_those_of_the_search():
    assert QUARTER_MIN == MINUTES_PER_BLOCK
    assert (np.diff(draw_noise("arfima_0.4", 7, DAY).reshape(-1, 15)) == 0.0).all()


def test_noises_of_one_seed_share_no_numbers():
    # Both are pure functions of normal draws; with the same draws they would go up and down alike.
    slow, slower = (draw_noise(name, 7, 28 * DAY) for name in ("ou_45min", "student_t3"))
    assert abs(np.corrcoef(slow, slower)[0, 1]) < 0.1
