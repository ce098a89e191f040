"""Departures planted in known noise come back at their moment, with the error that is stated."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from models.account.first_moves import Departure, first_departure, together

N = 6 * 1440
AT = 4 * 1440
#: Correlation from minute to minute: half an hour of memory.
PHI = math.exp(-1 / 30)


def noisy(seed, step_at=None, size=0.0, until=N):
    rng = np.random.default_rng(seed)
    values = lfilter([math.sqrt(1 - PHI**2)], [1, -PHI], rng.standard_normal(N))
    if step_at is not None:
        values[step_at:until] += size
    return values


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_planted_steps_come_back_in_their_order(seed):
    planted = {"first": (AT, -5.0), "second": (AT + 45, 6.0), "late": (AT + 90, 4.0)}
    period = (AT, AT + 600)
    found = [
        first_departure(name, noisy(seed + 10 * n, at, size, AT + 600), period)
        for n, (name, (at, size)) in enumerate(planted.items())
    ]
    assert all(move is not None and move.clear for move in found)
    assert sorted(found, key=lambda m: m.onset_min) == found
    for move, (at, size) in zip(found, planted.values(), strict=True):
        assert abs(move.onset_min - at) <= 25
        assert move.change == pytest.approx(size, abs=1.0)


def test_the_interval_of_the_time_holds_it_nine_times_in_ten():
    inside = 0
    for seed in range(80):
        move = first_departure("x", noisy(seed, AT, 4.0, AT + 600), (AT, AT + 600))
        inside += move is not None and abs(move.onset_min - AT) <= move.spread_min
    # Change points and long-run variance are both estimated: a wide band around 72 of 80.
    assert 64 <= inside <= 80


def test_noise_alone_is_rarely_clear():
    found = [first_departure("x", noisy(s), (AT, AT + 600)) for s in range(60)]
    assert sum(move is not None and move.clear for move in found) <= 3


def test_a_ramp_is_dated_by_its_foot_and_not_by_its_middle():
    values = noisy(5)
    rise = np.clip((np.arange(N) - AT) / 1440, 0, 1) * 12.0
    move = first_departure("x", values + rise, (AT, AT + 1440))
    assert move is not None and move.clear
    # A single step over the whole day would be put at its middle.
    assert AT - 60 <= move.onset_min <= AT + 600


def test_what_comes_and_goes_is_dated_by_its_first_coming():
    values = noisy(6)
    for coming in range(5):
        values[AT + 240 * coming : AT + 240 * coming + 60] += 9.0
    move = first_departure("x", values, (AT, AT + 1200))
    assert move is not None and move.clear
    assert abs(move.onset_min - AT) <= 15
    assert move.during > 5.0


def test_unrest_before_it_does_not_date_a_much_larger_departure():
    values = noisy(7, AT, 20.0, AT + 600)
    values[AT - 300 : AT] += 3.0
    move = first_departure("x", values, (AT, AT + 600))
    assert move is not None
    assert abs(move.onset_min - AT) <= 15


def test_what_was_over_before_the_period_is_no_part_of_it():
    move = first_departure("x", noisy(8, AT - 400, 8.0, AT - 200), (AT, AT + 600))
    assert move is None or not move.clear


def test_a_change_within_the_everyday_swing_is_not_clear():
    swing = 5.0 * np.sin(np.arange(N) * 2 * np.pi / 1440)
    small = first_departure("x", swing + 0.1 * noisy(1, AT, 20.0), (AT, AT + 600))
    large = first_departure("x", swing + 0.1 * noisy(1, AT, 300.0), (AT, AT + 600))
    assert small is None or not small.clear
    assert large is not None and large.clear


def test_a_change_too_small_for_the_instrument_is_not_clear():
    flat = np.where(np.arange(N) >= AT, 7.02, 7.0)
    assert first_departure("x", flat, (AT, AT + 600)).clear
    assert not first_departure("x", flat, (AT, AT + 600), least=0.05).clear


def test_too_little_data_says_nothing():
    assert first_departure("x", np.full(N, np.nan), (AT, AT + 100)) is None
    assert first_departure("x", noisy(1), (0, N)) is None


def test_an_error_of_the_travel_time_widens_the_moment():
    near = first_departure("x", noisy(1, AT, 9.0), (AT, AT + 600))
    far = first_departure("x", noisy(1, AT, 9.0), (AT, AT + 600), travel_min=100.0)
    # A tenth of the travel time, one standard error; 1.645 of them make 90 %.
    assert far.spread_min == pytest.approx(math.hypot(near.spread_min, 16.449), rel=1e-3)


def test_what_cannot_be_told_apart_shares_a_group():
    moves = [Departure(n, 0, 1, at, spread, 9, 9) for n, at, spread in (
        ("a", 0, 5), ("b", 6, 5), ("c", 30, 5), ("d", 33, 1),
    )]  # fmt: skip
    assert together(moves) == [0, 0, 1, 1]
    assert together([]) == []
