"""The level's mean and error against the posterior integrated over a grid, by scipy."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from models.level import Samples, expected_log_sd, fit_level, zone_shares
from models.level.equations import Equations
from models.level.newton import solved
from models.level.priors import FORM_LOG_SD, POL_OFF, believed_of
from models.worth.nominal import nominal_of
from pipeline.mill import load_mill

CONFIGS = Path(__file__).resolve().parents[3] / "configs"
ZONE, COUNT, SD_PCT, HOURS = "settler", 40, 0.3, 240.0


@pytest.fixture(scope="module")
def station():
    return load_mill(CONFIGS / "demo_mill.toml").station


@pytest.fixture(scope="module")
def minutes(station):
    found = nominal_of(station).minutes(datetime(2025, 10, 6, tzinfo=UTC), int(60 * HOURS))
    return replace(found, zones={ZONE: found.zones[ZONE]})


def inverted() -> np.ndarray:
    """Inverted behind the settler at multiplier 1 [% of sucrose]: it swings by a half."""
    return 0.1 * (1.0 + 0.5 * np.sin(np.arange(COUNT)))


def drawn(slope: float) -> tuple[list[Samples], np.ndarray]:
    """Pol of mixed juice and behind the settler, as the multiplier `slope` makes it."""
    times = HOURS * (np.arange(COUNT) + 0.5) / COUNT
    moved = np.random.default_rng(4).normal(0.0, SD_PCT, (2, COUNT))
    moved[1] += slope * inverted()
    column, none = np.ones((COUNT, 1)), np.zeros((COUNT, 1))
    made = [
        Samples(
            "pol", place, step, times, seen, np.full(COUNT, SD_PCT), column, times[:, None], none,
            {} if step < 0 else {ZONE: inverted()[:, None]},
        )
        for place, step, seen in (("mixed_juice", -1, moved[0]), (ZONE, 5, moved[1]))
    ]  # fmt: skip
    return made, moved[1] - moved[0]


def integrated(station, apart: np.ndarray) -> tuple[float, float]:
    """Mean and standard error of the logarithm of the level, from differences of both points.

    At a known level they are jointly normal: an error of each sample and one of both methods.
    """
    zone = believed_of(station, ZONE)
    prior_sd = math.hypot(
        math.hypot(station.kinetics.multiplier_log_sd, zone.log_sd), zone.per_slope
    )
    off = 2.0 * (100.0 * POL_OFF) ** 2
    both = multivariate_normal(
        np.zeros(COUNT), 2.0 * SD_PCT**2 * np.eye(COUNT) + off * np.ones((COUNT, COUNT))
    )
    middle = math.log(station.kinetics.multiplier)
    logs = middle + np.linspace(-4.0, 4.0, 1601)
    density = np.array(
        [
            both.logpdf(apart - math.exp(log) * inverted()) - 0.5 * ((log - middle) / prior_sd) ** 2
            for log in logs
        ]
    )
    share = np.exp(density - density.max())
    share /= share.sum()
    mean = float(share @ logs)
    return mean, math.sqrt(float(share @ (logs - mean) ** 2))


@pytest.mark.parametrize("slope", [0.2, 1.5, 5.0])
def test_mean_and_error_are_those_of_the_whole_posterior(station, minutes, slope):
    samples, apart = drawn(slope)
    mean, sd = integrated(station, apart)
    level = fit_level(minutes, samples, station).multiplier
    assert math.log(level.value) == pytest.approx(mean, abs=0.12)
    # What the fit's model leaves out counts as far as the samples tell.
    form = FORM_LOG_SD * (1.0 - (sd / station.kinetics.multiplier_log_sd) ** 2)
    assert level.log_sd == pytest.approx(math.hypot(sd, form), rel=0.15)


def test_the_likeliest_level_alone_would_be_too_sure(station, minutes):
    samples, apart = drawn(5.0)
    _, sd = integrated(station, apart)
    likeliest = solved(Equations(samples, station, [ZONE], HOURS), 0.2)
    weeks = slice(0, 2)
    assert math.sqrt(likeliest.covariance[weeks, weeks].mean()) < 0.9 * sd


def test_what_is_expected_is_what_the_fit_leaves(station, minutes):
    # Results that stand where the prior does, over many draws of their errors.
    shares = zone_shares(minutes)
    told = expected_log_sd(drawn(1.5)[0], station, shares, HOURS)
    left = fit_level(minutes, drawn(1.5)[0], station).multiplier.log_sd
    assert told == pytest.approx(left, rel=0.2)
    assert told < expected_log_sd([], station, shares, HOURS)
