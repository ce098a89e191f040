"""All evidence of a tank together, against the same question in calm hours."""

from types import SimpleNamespace

import numpy as np
import pytest

from models.detect.contrast import Memory
from models.detect.microbial_line import Line
from models.detect.microbial_weigh import Scales

N = 14 * 1440
START, END = 7 * 1440, 7 * 1440 + 12 * 60
HOURS = np.arange(N / 60) + 0.5


def scales(pct, by_temp=None):
    """A tank with one hourly line that knows its noise."""
    minutes = np.arange(N)
    grown = np.clip((minutes - START - 180) / 120.0, 0.0, 1.0) * (minutes < END)
    masked = (minutes >= START) & (minutes < END + 240)
    none = np.zeros(len(HOURS))
    line = Line("pol", HOURS, pct, none, False, 0.1, none if by_temp is None else by_temp)
    station = {"sucrose_feed_kg_h": np.full(N, 33_000.0)}
    tank = SimpleNamespace(minutes=SimpleNamespace(station=station))
    return Scales(tank, masked, [line], [Memory(0.1, 0.0, 3.0, 30.0)], [0.2 * grown])


def noise(seed=1):
    return np.random.default_rng(seed).normal(0.0, 0.1, len(HOURS))


def grown(size):
    inside = (HOURS * 60 >= START) & (HOURS * 60 < END)
    return size * np.clip((HOURS - START / 60 - 3.0) / 2.0, 0.0, 1.0) * inside


def test_growth_is_weighed_in_kilograms():
    found = scales(noise() + grown(0.6)).weigh(START, END)
    # 0.6 % of 33 t/h over some eight hours (computed).
    assert found.kg == pytest.approx(0.006 * 33_000 * 8.0, rel=0.15)
    assert found.p_value < 1e-4 and found.probability > 0.99


def test_noise_passes_for_growth_as_rarely_as_said():
    chances = [scales(noise(seed)).weigh(START, END).p_value for seed in range(60)]
    assert np.mean(np.array(chances) < 0.1) == pytest.approx(0.1, abs=0.09)
    assert np.median(chances) == pytest.approx(0.5, abs=0.2)


def test_a_line_that_rises_all_season_is_no_sign():
    drift = 0.02 * HOURS
    assert scales(noise() + drift).weigh(START, END).p_value > 0.1


def test_what_may_come_of_the_temperature_alone_weighs_less():
    inside = (HOURS * 60 >= START) & (HOURS * 60 < END)
    series = noise() + grown(0.3)
    sure = scales(series).weigh(START, END)
    unsure = scales(series, by_temp=0.3 * inside).weigh(START, END)
    assert unsure.p_value > 10.0 * sure.p_value


def test_without_a_line_nothing_is_said():
    bare = scales(noise())
    assert Scales(bare.tank, bare.masked, [], [], bare.courses).weigh(START, END) is None
