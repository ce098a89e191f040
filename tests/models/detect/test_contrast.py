"""Rise of a series with an expected course, against noise that remembers."""

import math

import numpy as np
import pytest

from models.detect.contrast import Memory, Points, memory_of, rise, rises

HOURS = np.arange(96.0)
COURSE = np.where((HOURS >= 40) & (HOURS < 56), 1.0 - np.exp(-(HOURS - 40) / 4.0), 0.0)


def wander(rng, n, sd, tau_h):
    keep = math.exp(-1.0 / tau_h)
    values = [rng.normal(0.0, sd)]
    for _ in range(n - 1):
        values.append(keep * values[-1] + rng.normal(0.0, sd * math.sqrt(1.0 - keep**2)))
    return np.array(values)


def test_with_white_noise_it_is_ordinary_least_squares():
    values = 5.0 + 2.0 * COURSE + np.random.default_rng(1).normal(0.0, 0.3, len(HOURS))
    memory = Memory(white=0.3, wander=0.0, tau_h=3.0, level=1e3)
    found, sd = rise(HOURS, values, np.zeros(len(HOURS)), COURSE, memory)
    design = np.column_stack([COURSE, np.ones(len(HOURS))])
    best = np.linalg.lstsq(design, values, rcond=None)[0][0]
    error = 0.3 * math.sqrt(np.linalg.inv(design.T @ design)[0, 0])
    assert (found, sd) == pytest.approx((best, error), rel=1e-4)


def test_its_error_is_what_wandering_noise_does():
    memory = Memory(white=0.1, wander=1.0, tau_h=10.0, level=30.0)
    rng, found = np.random.default_rng(2), []
    for _ in range(400):
        noise = wander(rng, len(HOURS), 1.0, 10.0) + rng.normal(0.0, 0.1, len(HOURS))
        estimate, sd = rise(HOURS, noise, np.zeros(len(HOURS)), COURSE, memory)
        found.append(estimate / sd)
    assert np.mean(found) == pytest.approx(0.0, abs=0.15)
    assert np.std(found) == pytest.approx(1.0, abs=0.12)


@pytest.mark.parametrize(("sd", "tau_h", "white"), [(1.0, 10.0, 0.05), (0.3, 30.0, 0.6)])
def test_the_memory_of_a_series_is_found(sd, tau_h, white):
    rng = np.random.default_rng(3)
    hours = np.arange(800.0)
    values = wander(rng, 800, sd, tau_h) + rng.normal(0.0, white, 800)
    memory = memory_of(hours, values, np.zeros(800))
    assert memory.wander == pytest.approx(sd, rel=0.5)
    assert tau_h / 3.5 < memory.tau_h < 3.5 * tau_h
    assert memory.white == pytest.approx(white, abs=0.35 * max(sd, white))


def test_without_a_point_in_the_course_nothing_is_said():
    memory = Memory(0.1, 0.0, 3.0, 1.0)
    nothing = np.zeros(len(HOURS))
    assert rise(HOURS, HOURS, nothing, nothing, memory) == (0.0, math.inf)


def test_many_questions_at_once_say_what_each_says_alone():
    rng = np.random.default_rng(4)
    memory = Memory(white=0.1, wander=1.0, tau_h=10.0, level=30.0)
    values, sd = wander(rng, len(HOURS), 1.0, 10.0), np.full(len(HOURS), 0.1)
    courses = np.stack([COURSE, np.zeros(len(HOURS)), COURSE**2])
    taken = rng.uniform(size=(7, len(HOURS))) < 0.6
    taken[5], taken[6] = taken[4], HOURS < 2.0
    for other in (np.zeros(len(HOURS)), 0.01 * HOURS):
        points = Points(HOURS, values, sd, other)
        found = rises(points, taken, np.tile(courses, (7, 1, 1)), memory)
        for own, told in zip(taken, found, strict=True):
            for course, one in zip(courses, told, strict=True):
                alone = rise(HOURS[own], values[own], sd[own], course[own], memory, other[own])
                assert one == pytest.approx(alone, rel=1e-10)
    assert np.isinf(found[6, :, 1]).all()  # two points tell nothing
