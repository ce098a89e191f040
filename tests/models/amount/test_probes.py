"""A drifting probe is told from a wrong laboratory."""

import numpy as np
import pytest

from models.amount.probes import (
    ProbeBias,
    ph_standing_error,
    probe_biases,
    shared_shift,
    smooth_differences,
)

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


def test_calm_differences_are_followed_as_the_exact_posterior_says():
    """A random walk seen with noise, against the closed form of a Gaussian posterior.

    Mean K (K + N)^-1 y and variance K - K (K + N)^-1 K (Rasmussen & Williams 2006, equations
    2.23 and 2.24; memory), solved as a dense system.
    """
    times = np.cumsum(np.random.default_rng(4).uniform(1.0, 6.0, 40))
    seen, noise = 0.02 * np.sin(times / 20.0), 0.08**2
    level, sd = smooth_differences(times, seen, np.full(40, 0.08), times)
    cov = 0.2**2 + 0.02**2 * (np.minimum.outer(times, times) - times[0])
    gain = np.linalg.solve(cov + noise * np.eye(40), cov).T
    np.testing.assert_allclose(level, gain @ seen, atol=1e-12)
    np.testing.assert_allclose(sd, np.sqrt(np.diag(cov - gain @ cov)), rtol=1e-9)


def test_one_wild_grab_moves_the_offset_hardly():
    times = np.arange(0.0, 240.0, 3.0)
    calm = np.random.default_rng(6).normal(0.1, 0.03, len(times))
    wild = calm.copy()
    wild[40] += 2.0  # a sample of the wrong place, or a slip of the pen
    sd = np.full(len(times), 0.05)
    level = smooth_differences(times, calm, sd, times)[0]
    moved = smooth_differences(times, wild, sd, times)[0]
    assert np.abs(moved - level).max() < 0.02


def test_hours_far_from_any_grab_are_less_sure():
    """Half-way through three days without a grab a calm probe wanders 0.02 sqrt(36 h)."""
    times = np.concatenate((np.arange(0.0, 60.0, 2.0), np.arange(132.0, 192.0, 2.0)))
    zeros, at = np.zeros(len(times)), np.array([58.0, 96.0, 132.0])
    near, far, after = smooth_differences(times, zeros, np.full(len(times), 0.05), at)[1]
    assert far == pytest.approx(np.hypot(max(near, after), 0.02 * np.sqrt(36.0)), rel=0.02)


def test_grabs_that_scatter_more_than_they_claim_are_believed_less(truths):
    scattered = grabs_of(truths["limed"], np.random.default_rng(9), sd=0.3)
    claimed = (scattered[0], scattered[1], np.full(len(scattered[0]), 0.02))
    errors = []
    for grabs in (scattered, claimed):
        found = probe_biases(HOURS, truths, {"limed": grabs}, np.ones(len(HOURS), bool))[0]
        errors.append(found["limed"].sd.mean())
        assert np.abs(found["limed"].bias).max() < 3.0 * errors[-1]
    assert errors[1] == pytest.approx(errors[0], rel=0.15)


def test_what_a_probe_reads_while_the_station_stands_is_no_bias(truths):
    """Juice in a standing vessel turns acid; the laboratory then gets none of it."""
    stands = (HOURS > 120.0) & (HOURS < 168.0)
    readings = {"limed": np.where(stands, truths["limed"] - 0.8, truths["limed"])}
    grabs = {"limed": grabs_of(truths["limed"], np.random.default_rng(5))}
    biases, _ = probe_biases(HOURS, readings, grabs, ~stands)
    # Readings within ten minutes of a stop's edges enter one mean each.
    assert np.abs(biases["limed"].bias).max() < 0.1
    assert biases["limed"].grabs < len(grabs["limed"][0]) - 14


@pytest.mark.parametrize(("count", "known"), [(5, False), (6, True)])
def test_six_grabs_are_the_least_that_say_something(truths, count, known):
    times, values, sd = (a[:count] for a in grabs_of(truths["clear"], np.random.default_rng(1)))
    grabs = {"clear": (times, values, sd)}
    biases, shift = probe_biases(HOURS, truths, grabs, np.ones(len(HOURS), bool))
    assert ("clear" in biases) == known
    assert (shift == 0).all()


def test_grabs_of_hours_without_readings_are_left_out(truths):
    """The laboratory's book may reach days beyond the plant's export, at both ends."""
    times, values, sd = grabs_of(truths["clear"], np.random.default_rng(2))
    late = HOURS[-1] + np.arange(2.0, 40.0, 3.0)
    early = np.arange(-30.0, -1.0, 3.0)
    more = np.concatenate((early, times, late))
    grabs = {
        "clear": (
            more,
            np.concatenate((np.full(10, 4.0), values, np.full(13, 4.0))),
            np.full(len(more), 0.06),
        )
    }
    usable = np.ones(len(HOURS), bool)
    with_more = probe_biases(HOURS, truths, grabs, usable)[0]["clear"]
    without = probe_biases(HOURS, truths, {"clear": (times, values, sd)}, usable)[0]["clear"]
    assert with_more.grabs == without.grabs == len(times)
    np.testing.assert_array_equal(with_more.bias, without.bias)


def test_the_standing_error_is_that_of_its_own_window():
    sd = np.concatenate((np.full(100, 0.02), np.full(100, 0.08)))
    biases = {name: ProbeBias(np.zeros(200), sd * k, 40) for name, k in (("a", 1.0), ("b", 2.0))}
    assert ph_standing_error(biases, slice(0, 100)) == pytest.approx(0.03)
    assert ph_standing_error(biases, slice(100, 200)) == pytest.approx(0.12)
    assert ph_standing_error(biases) == pytest.approx(0.075)
    assert ph_standing_error({}) == 0.1


@pytest.mark.parametrize("hours", [0.5, 6.0, 24.0, 72.0])
def test_the_mean_of_a_wandering_error_errs_less_than_the_error(hours):
    # Drawn Ornstein-Uhlenbeck courses, exact in discrete time (textbook, memory).
    rng, memory_h, sd = np.random.default_rng(4), 6.0, 0.05
    steps = round(hours * 6)
    keep = np.exp(-1.0 / 6.0 / memory_h)
    courses = np.empty((20_000, steps))
    courses[:, 0] = sd * rng.standard_normal(20_000)
    for i in range(1, steps):
        fresh = sd * np.sqrt(1.0 - keep**2) * rng.standard_normal(20_000)
        courses[:, i] = keep * courses[:, i - 1] + fresh
    minutes = round(hours * 60)
    probe = ProbeBias(np.zeros(minutes), np.full(minutes, sd), 20, memory_h)
    assert probe.mean_sd(slice(None)) == pytest.approx(courses.mean(axis=1).std(), rel=0.03)


def test_a_calibration_that_was_noted_makes_a_step(truths):
    """A probe that read 0.3 too high until somebody put it right at hour 100."""
    readings = {n: t.copy() for n, t in truths.items()}
    readings["limed"] += np.where(HOURS < 100.0, 0.3, 0.0)
    near = (HOURS > 97.0) & (HOURS < 103.0)
    usable = np.ones(len(HOURS), bool)
    off = {"told": [], "untold": []}
    for seed in range(6):
        grabs = {n: grabs_of(t, np.random.default_rng(seed + 50)) for n, t in truths.items()}
        for name, steps in (("told", {"limed": (100.0,)}), ("untold", {})):
            bias = probe_biases(HOURS, readings, grabs, usable, steps)[0]["limed"].bias
            off[name].append(np.abs(bias - np.where(HOURS < 100.0, 0.3, 0.0))[near].mean())
    assert np.mean(off["told"]) < 0.05
    assert np.mean(off["untold"]) > 1.7 * np.mean(off["told"])


def test_a_calibration_that_changed_nothing_changes_nothing(truths):
    grabs = {n: grabs_of(t, np.random.default_rng(3)) for n, t in truths.items()}
    usable = np.ones(len(HOURS), bool)
    found = probe_biases(HOURS, truths, grabs, usable, {"limed": (100.0, 101.0, 5_000.0)})[0]
    assert np.abs(found["limed"].bias).max() < 0.1
    # Nor does one of another probe.
    plain = probe_biases(HOURS, truths, grabs, usable)[0]
    other = probe_biases(HOURS, truths, grabs, usable, {"mixed": ()})[0]
    assert np.array_equal(plain["limed"].bias, other["limed"].bias)
