"""The null card counts what the search accepts, and states rates and strengths as it says."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

import models.find.find as pipeline
from models.judge import (
    SHAPES,
    Rate,
    draw_noise,
    ideal_scores,
    null_card,
    p_values,
    plant,
    seen_of,
    stretches,
)
from models.judge.noises import ou_long_run_variance

WEEKS = 6
MINUTES = WEEKS * 10_080
QUIET_SEED = 7


def noise():
    return draw_noise("ou_45min", QUIET_SEED, MINUTES)


def test_the_search_asked_is_the_one_that_judges_a_mill():
    assert null_card.find_candidates is pipeline.find_candidates


def test_three_planted_shifts_are_three_stretches():
    at = (8 * 1_440, 20 * 1_440, 33 * 1_440)
    values = noise()
    assert stretches(values, 0.05) == []
    for start in at:
        values[start : start + 720] += 5.0
    values[27 * 1_440 :][:720] -= 5.0  # a gain is no loss
    found = stretches(values, 0.05)
    assert len(found) == len(at)
    for item, start in zip(found, at, strict=True):
        assert item.span.start == pytest.approx(start, abs=30)
        assert item.span.end == pytest.approx(start + 720, abs=30)
    # Chance is learnt from all hours, those of the losses too.
    assert [c.residual.look.chance.weeks for c in found] == pytest.approx([WEEKS] * 3, abs=0.01)
    assert p_values(found).tolist() == pipeline._chances(found, [])
    # Nothing asks whether it is worth a line: grams are counted as tonnes are.
    small = stretches(1e-3 * values, 0.05)
    assert [(c.span.start, c.span.end) for c in small] == [
        (c.span.start, c.span.end) for c in found
    ]
    assert max(c.span.kg for c in small) < 0.15 * 1_000


@pytest.mark.parametrize(
    ("count", "low", "high"), [(0, 0.0, 2.996), (3, 0.818, 7.754), (10, 5.425, 16.962)]
)
def test_interval_of_a_count_is_garwoods(count, low, high):
    # Printed tables of exact 90 % Poisson limits (memory).
    rate = Rate(count, weeks=10.0, asked=0.1)
    assert rate.interval() == pytest.approx((low, high), abs=0.001)
    # By its meaning: as few, or as many, come once in twenty times at the limits.
    assert stats.poisson.cdf(count, rate.interval()[1]) == pytest.approx(0.05)


def test_a_rate_is_kept_between_a_third_and_one_and_a_half():
    kept = [Rate(count, weeks=60.0, asked=0.1).kept for count in (1, 2, 6, 9, 10)]
    assert kept == [False, True, True, True, False]
    assert Rate(9, weeks=60.0, asked=0.1).got == pytest.approx(0.15)


@pytest.mark.parametrize("shape", SHAPES)
def test_a_shape_is_as_strong_as_stated(shape):
    planted = plant(shape, 7.0, 90.0, MINUTES)
    lost = np.flatnonzero(planted)
    length = SHAPES[shape][0] * 60
    assert planted.sum() / math.sqrt(90.0 * length) == pytest.approx(7.0)
    assert lost[0] == (MINUTES - length) // 2
    assert lost[-1] < lost[0] + length


def test_shapes_rise_and_pause_as_their_names_say():
    step, ramp, drift, pauses = (plant(s, 5.0, 90.0, MINUTES) for s in SHAPES)
    # By hand: 5 sqrt(90 x 480) kg-minutes over 480 minutes.
    assert step.max() == pytest.approx(5.0 * math.sqrt(90.0 / 480.0))
    assert np.ptp(step[step > 0.0]) == 0.0
    for rising, hours in ((ramp, 48), (drift, 240)):
        part = rising[rising > 0.0]
        assert len(part) == hours * 60
        assert np.ptp(np.diff(part)) < 1e-9
        assert part[-1] == part.max()
    assert (pauses > 0.0).sum() == 12 * 60
    with pytest.raises(ValueError, match="takes 14400 minutes"):
        plant("drift over 10 days, put right", 5.0, 90.0, 1_440)


def test_a_strength_is_what_the_noise_would_show_of_it():
    # Totals of noise over 48 h, in the standard errors that z is stated in, spread by one.
    sums = [draw_noise("ou_45min", s, 2_880).sum() for s in range(400)]
    spread = np.std(sums) / math.sqrt(ou_long_run_variance(45.0) * 2_880)
    assert spread == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("shape", SHAPES)
def test_the_ideal_detector_is_one_standard_error_of_noise_and_peaks_at_the_loss(shape):
    phi = math.exp(-1.0 / 45.0)
    scores = [ideal_scores(shape, draw_noise("ou_45min", s, MINUTES), phi) for s in range(12)]
    assert len(scores[0]) == MINUTES
    # Its mean is known to be nothing, so that spread is counted from there.
    inside = np.stack(scores)[:, : MINUTES - round(SHAPES[shape][0] * 60)]
    assert np.sqrt((inside**2).mean()) == pytest.approx(1.0, abs=0.2)
    # Without noise it peaks where the loss begins, at the norm of the whitened shape.
    planted = plant(shape, 5.0, 90.0, MINUTES)
    clean = ideal_scores(shape, planted, phi)
    assert int(clean.argmax()) == pytest.approx(int(np.flatnonzero(planted)[0]), abs=1)
    whitened = np.diff(planted, prepend=0.0) + (1 - phi) * np.append(0.0, planted[:-1])
    assert clean.max() == pytest.approx(math.sqrt((whitened**2).sum() / (1 - phi**2)), rel=1e-6)
    assert clean.max() > 5.0  # never weaker than the plain sum


def test_what_was_seen_of_a_loss_by_hand():
    planted = np.zeros(1_000)
    planted[400:600] = np.repeat([1.0, 3.0], 100)

    def found(*spans):
        return [SimpleNamespace(span=SimpleNamespace(start=a, end=b)) for a, b in spans]

    none = seen_of(planted, found((0, 400), (600, 700)))
    assert (none.touched, none.shared, none.covered) == (False, 0.0, 0.0)
    part = seen_of(planted, found((0, 50), (390, 410), (550, 700)))
    # 60 of 310 minutes that either covers; 10 x 1 + 50 x 3 of 400 kg.
    assert (part.touched, part.shared, part.covered) == (True, pytest.approx(60 / 310), 0.4)
