"""Signals planted in a known order come back in it, on the time of the juice they saw."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.signal import lfilter
from scipy.stats import gamma, norm

from models.account.order import (
    STEP_TIME_90,
    Move,
    Signal,
    first_move,
    half_through_min,
    held_in_stops,
    on_parcel_time,
    order_of_moves,
    together,
)

N = 4 * 1440
AT = 2 * 1440
#: Correlation from minute to minute: half an hour of memory.
PHI = math.exp(-1 / 30)


def noisy(seed, step_at=None, size=0.0):
    rng = np.random.default_rng(seed)
    values = lfilter([math.sqrt(1 - PHI**2)], [1, -PHI], rng.standard_normal(N))
    if step_at is not None:
        values[step_at:] += size
    return values


def test_the_time_of_a_step_has_the_published_distribution():
    # Distribution of the maximum of W(s) - |s|/2: Y.-C. Yao, Ann. Statist. 15 (1987) 1321 (closed
    # form, memory).
    def below(x):
        tail = 1.5 * math.exp(x) * norm.cdf(-1.5 * math.sqrt(x))
        bell = math.sqrt(x / (2 * math.pi)) * math.exp(-x / 8)
        return 1 + bell - 0.5 * (x + 5) * norm.cdf(-math.sqrt(x) / 2) + tail

    assert brentq(lambda x: below(x) - 0.95, 1, 40) == pytest.approx(STEP_TIME_90, abs=0.001)
    # And by drawing the walk itself (computed).
    rng = np.random.default_rng(1)
    steps = rng.normal(0, math.sqrt(0.05), (2, 2000, 1200))
    walk = np.cumsum(steps, axis=2) - 0.05 * np.arange(1, 1201) / 2
    best = walk.max(axis=2)
    where = walk.argmax(axis=2) * 0.05
    side = best.argmax(axis=0)
    at = np.where(best.max(axis=0) > 0, where[side, np.arange(2000)], 0.0)
    assert np.mean(at <= STEP_TIME_90) == pytest.approx(0.90, abs=0.025)


def test_half_of_a_parcel_is_through_at_the_gamma_median():
    for k in (1.0, 2.0, 3.0, 8.0):
        mean = 76.0
        ours = half_through_min(np.array([mean]), np.array([mean / math.sqrt(k)]))[0]
        # Reference library: scipy's gamma distribution.
        assert ours == pytest.approx(gamma.ppf(0.5, k, scale=mean / k), rel=0.02)
    assert half_through_min(np.array([0.0]), np.array([0.0]))[0] == 0.0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_planted_steps_come_back_in_their_order(seed):
    signals = {
        "late": Signal(noisy(seed, AT + 90, 4.0)),
        "still": Signal(noisy(seed + 10)),
        "first": Signal(noisy(seed + 20, AT, -5.0)),
        "second": Signal(noisy(seed + 30, AT + 45, 6.0)),
    }
    moves, still = order_of_moves(signals, (AT - 360, AT + 480))
    assert [move.name for move in moves] == ["first", "second", "late"]
    assert still == ["still"]
    assert moves[0].after - moves[0].before == pytest.approx(-5, abs=1.0)
    for move, at in zip(moves, (AT, AT + 45, AT + 90), strict=True):
        assert abs(move.onset_min - at) <= 25


def test_the_interval_of_the_time_holds_it_nine_times_in_ten():
    inside = 0
    for seed in range(120):
        move = first_move("x", Signal(noisy(seed, AT, 4.0)), (AT - 480, AT + 480))
        inside += move is not None and abs(move.onset_min - AT) <= move.spread_min
    # Long-run variance is itself estimated, so a wide band around 108 of 120.
    assert inside >= 98


def test_noise_alone_moves_rarely():
    found = [first_move("x", Signal(noisy(s)), (AT - 480, AT + 480)) for s in range(60)]
    assert sum(move is not None for move in found) <= 3


def test_juice_that_arrives_later_is_moved_back_to_when_it_entered():
    delay = np.full(N, 76.0)
    course = np.where(np.arange(N) >= AT + 76, 1.0, 0.0)
    moved = on_parcel_time(course, delay)
    assert moved[AT - 1] == pytest.approx(0, abs=1e-6)
    assert moved[AT + 1] == pytest.approx(1, abs=1e-6)
    assert np.isnan(moved[-70:]).all()


def test_a_gap_stays_a_gap_and_a_stop_keeps_its_travel_time():
    values = np.ones(N)
    values[1000:1100] = np.nan
    moved = on_parcel_time(values, np.full(N, 30.0))
    assert np.isnan(moved[972:1068]).all()
    assert np.isfinite(moved[1072:1200]).all()
    stopped = np.zeros(N, dtype=bool)
    stopped[2000:2300] = True
    aging = np.where(stopped, 30.0 + np.cumsum(stopped), 30.0)
    assert set(held_in_stops(aging, stopped)) == {30.0}
    assert set(held_in_stops(np.full(N, np.nan), stopped)) == {0.0}


def test_a_change_within_the_everyday_swing_is_no_news():
    swing = 5.0 * np.sin(np.arange(N) * 2 * np.pi / 1440)
    small = Signal(swing + 0.1 * noisy(1, AT, 5.0))
    large = first_move("x", Signal(swing + 0.1 * noisy(1, AT, 300.0)), (AT - 300, AT + 300))
    assert first_move("x", small, (AT - 100, AT + 100)) is None
    assert large is not None
    # Half of a sine's time it is further off than its height over the root of two.
    assert large.swings == pytest.approx(30.0 / (1.4826 * 5.0 / math.sqrt(2)), rel=0.4)


def test_too_little_data_and_flat_signals_say_nothing():
    nothing = np.full(N, np.nan)
    assert first_move("x", Signal(nothing), (AT - 100, AT + 100)) is None
    assert first_move("x", Signal(np.ones(N)), (AT - 100, AT + 100)) is None
    assert first_move("x", Signal(noisy(1)), (AT, AT + 20)) is None


def test_a_step_in_a_signal_that_hardly_ever_moves_is_clear():
    values = np.where(np.arange(N) >= AT, 3.0, 2.0)
    move = first_move("x", Signal(values), (AT - 300, AT + 300))
    assert move is not None
    assert move.onset_min == pytest.approx(AT, abs=5)


def test_what_cannot_be_told_apart_shares_a_group():
    moves = [Move(n, at, spread, 0, 1, 9) for n, at, spread in (
        ("a", 0, 5), ("b", 6, 5), ("c", 30, 5), ("d", 33, 1),
    )]  # fmt: skip
    assert together(moves) == [0, 0, 1, 1]
    assert together([]) == []
