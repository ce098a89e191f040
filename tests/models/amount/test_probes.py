"""A drifting probe is told from a wrong laboratory."""

import numpy as np
import pytest

from models.amount.probes import probe_biases, shared_shift, smooth_differences

HOURS = np.arange(0, 24 * 14 * 60) / 60.0


def grabs_of(truth, rng, shift=0.0, sd=0.06):
    times = np.arange(1.0, HOURS[-1], 3.0)
    index = (times * 60).astype(int)
    noise = rng.normal(0, sd, len(times))
    extra = np.interp(times, HOURS, shift) if np.ndim(shift) else shift
    return times, truth[index] + noise + extra, np.full(len(times), sd)


@pytest.fixture
def truths():
    return {
        "mixed": np.full(len(HOURS), 5.2),
        "limed": np.full(len(HOURS), 7.5),
        "clear": np.full(len(HOURS), 6.95),
    }


def test_drift_of_one_probe_is_found_and_its_error_covers_it(truths):
    drift = np.interp(HOURS, [100, 112, 150, 150.1], [0, 0.35, 0.35, 0])
    readings = {n: t.copy() for n, t in truths.items()}
    readings["limed"] += drift
    held = (HOURS > 118) & (HOURS < 144)
    found, blamed, covered = [], [], []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        grabs = {n: grabs_of(t, rng) for n, t in truths.items()}
        biases, lab_shift = probe_biases(HOURS, readings, grabs, np.ones(len(HOURS), bool))
        found.append(biases["limed"].bias[held].mean())
        blamed += [biases["clear"].bias[held].mean(), lab_shift[held].mean()]
        covered.append((np.abs(biases["limed"].bias - drift) < 2 * biases["limed"].sd).mean())
    assert np.mean(found) == pytest.approx(0.35, abs=0.04)
    assert max(np.abs(np.array(found) - 0.35)) < 0.12
    assert max(np.abs(blamed)) < 0.08
    assert np.mean(covered) > 0.88


def test_a_laboratory_shift_is_not_blamed_on_the_probes(truths):
    rng = np.random.default_rng(12)
    shift = np.where((HOURS > 100) & (HOURS < 136), -0.2, 0.0)
    biases, lab_shift = probe_biases(
        HOURS,
        truths,
        {n: grabs_of(t, rng, shift) for n, t in truths.items()},
        np.ones(len(HOURS), bool),
    )
    middle = (HOURS > 110) & (HOURS < 128)
    assert lab_shift[middle].mean() == pytest.approx(-0.2, abs=0.06)
    assert abs(biases["limed"].bias[middle].mean()) < 0.06


def test_smoothing_with_nothing_to_go_on_claims_nothing():
    level, sd = smooth_differences(np.empty(0), np.empty(0), np.empty(0), HOURS[:10])
    assert (level == 0).all()
    assert (sd >= 0.1).all()


def test_two_points_share_only_what_both_show():
    a, b = np.array([0.3, 0.2, -0.1]), np.array([0.1, -0.2, -0.3])
    assert np.allclose(shared_shift([a, b]), [0.1, 0.0, -0.1])
    assert (shared_shift([a]) == 0).all()
