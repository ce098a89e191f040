"""Episodes of one channel: where they begin and end, what joins them and what parts them."""

import numpy as np
import pytest

from models.base.series import long_run_variance
from models.search.episodes import _beside, find_spans, measure, residual_of
from models.search.look import Period, look_at

WEEKS = 3 * 7 * 1440
SD = 1.0
#: Chance periods allowed [1/week].
RATE = 0.05


def residual(*pieces, seed=3, sd=SD, gone=None):
    """Noise of a standard deviation `sd` by block, with pieces (first hour, hours, kg/h) on it."""
    rng = np.random.default_rng(seed)
    minute = np.repeat(rng.normal(0.0, sd, WEEKS // 15), 15)
    for first, hours, height in pieces:
        minute[int(60 * first) : int(60 * (first + hours))] += height
    if gone is not None:
        minute[gone] = np.nan
    quiet = np.ones(WEEKS, dtype=bool)
    for first, hours, _ in pieces:
        quiet[int(60 * first) : int(60 * (first + hours))] = False
    return residual_of(minute, quiet, look_at(minute, None))


def spans(*pieces, rate_min=2.0, kg_min=5.0, sd=SD, fades=False):
    return find_spans(residual(*pieces, sd=sd), RATE, rate_min, kg_min, fades=fades)


def hours(span):
    return span.start / 60.0, span.end / 60.0


@pytest.mark.parametrize("seed", range(5))
def test_nothing_is_found_where_nothing_happened(seed):
    assert find_spans(residual(seed=seed), 0.002, 0.5, 0.0) == []


def test_one_step_is_found_with_its_edges_and_its_sum():
    (span,) = spans((40.0, 10.0, 8.0))
    assert hours(span) == pytest.approx((40.0, 50.0), abs=0.25)
    assert span.kg == pytest.approx(80.0, abs=4.0 * span.kg_sd + 2.0)
    # Standard error of a mean of 40 blocks, none of which counts for more than five spreads.
    assert span.z == pytest.approx(5.0 / (SD / np.sqrt(40)), rel=0.1)


@pytest.mark.parametrize(
    ("height", "limits"), [(1.5, {}), (8.0, {"kg_min": 200.0}), (8.0, {"rate_min": 9.5})]
)
def test_what_is_small_is_let_be(height, limits):
    assert spans((40.0, 10.0, height), **limits) == []


def test_a_ramp_leans_on_the_stretch_it_leads_to():
    (span,) = spans((30.0, 4.0, 4.5), (34.0, 8.0, 8.0))
    assert hours(span) == pytest.approx((30.0, 42.0), abs=0.5)


@pytest.mark.parametrize(("seed", "least"), [(2, 0.7), (7, 0.95)])
def test_a_creeping_fault_is_told_from_where_it_began_to_cost(seed, least):
    """A rise from nothing over four days: of the step alone 61 and 86 % would be told."""
    rng = np.random.default_rng(seed)
    minute = np.repeat(rng.normal(0.0, SD, WEEKS // 15), 15)
    first, length = 150 * 60, 96 * 60
    rise = np.linspace(0.0, 2.0, length)
    minute[first : first + length] += rise
    quiet = np.ones(WEEKS, dtype=bool)
    quiet[first : first + length] = False
    told = np.zeros(WEEKS, dtype=bool)
    for span in find_spans(residual_of(minute, quiet, look_at(minute, None)), RATE, 0.1, 1.0):
        told[span.start : span.end] = True
    assert rise[told[first : first + length]].sum() / rise.sum() > least


@pytest.mark.parametrize(
    ("run", "left"),
    [
        ((100, 200), []),  # the same fault, told twice
        ((98, 203), []),  # told a little longer than its witness has it
        ((120, 180), []),
        ((190, 400), [(200, 400)]),
        ((40, 110), [(40, 100)]),
        ((90, 500), [(200, 500)]),
        ((300, 400), [(300, 400)]),
    ],
)
def test_what_a_witness_tells_is_told_once(run, left):
    told = [(run, Period(*run, 5.0, 0.01), None)]
    assert [kept for kept, *_ in _beside(told, [(100, 200)])] == left


def test_slight_unrest_after_a_fault_is_not_part_of_it():
    (span,) = spans((30.0, 8.0, 12.0), (38.0, 20.0, 1.8))
    assert hours(span)[1] == pytest.approx(38.0, abs=0.5)


def test_a_short_pause_joins_and_a_long_calm_parts():
    short = spans((30.0, 6.0, 8.0), (37.0, 6.0, 8.0))
    assert [hours(span) for span in short] == [pytest.approx((30.0, 43.0), abs=0.5)]
    assert len(spans((30.0, 6.0, 8.0), (42.0, 6.0, 8.0))) == 2


def test_hours_far_below_both_sides_part_two_episodes():
    """One probe put right, then adrift again; meanwhile the excess is small but beyond doubt."""
    valley = spans((30.0, 10.0, 20.0), (40.0, 6.0, 4.0), (46.0, 10.0, 20.0), fades=True)
    assert [hours(span) for span in valley] == [
        pytest.approx((30.0, 40.0), abs=0.5),
        pytest.approx((46.0, 56.0), abs=0.5),
    ]


def test_two_runs_of_quite_different_height_stay_two():
    both = spans((30.0, 6.0, 20.0), (37.0, 6.0, 5.0))
    assert [hours(span)[1] for span in both] == pytest.approx([36.0, 43.0], abs=0.5)


def test_a_pause_without_numbers_is_bridged_for_hours():
    silent = residual((30.0, 6.0, 8.0), (42.0, 6.0, 8.0), gone=slice(60 * 36, 60 * 42))
    (span,) = find_spans(silent, RATE, 2.0, 5.0)
    assert hours(span) == pytest.approx((30.0, 48.0), abs=0.5)
    assert span.kg == pytest.approx(18.0 * 8.0, rel=0.1)  # as if it had gone on meanwhile


@pytest.mark.parametrize("first", [26.0, 38.0])
def test_a_weaker_stretch_leans_on_a_strong_one_before_or_after_it(first):
    """On its own it would be too little to be told of."""
    weak, strong = (first, 4.0, 4.5), (30.0, 8.0, 8.0)
    assert spans(weak, rate_min=6.0) == []
    (span,) = spans(weak, strong, rate_min=6.0)
    assert hours(span) == pytest.approx((min(first, 30.0), max(first + 4.0, 38.0)), abs=0.5)
    assert span.kg == pytest.approx(8.0 * 8.0 + 4.0 * 4.5, abs=4.0 * span.kg_sd)


def test_a_tail_that_may_be_chance_is_left_out():
    """Two standard errors are too few: what leans on a step must be more than noise."""
    step = (30.0, 10.0, 1.6)
    (beyond,) = spans(step, (40.0, 30.0, 0.8), rate_min=0.5, fades=True)
    assert hours(beyond)[1] > 60.0
    (within,) = spans(step, rate_min=0.5, fades=True)
    assert hours(within)[1] < 44.0


def test_a_ph_may_wash_out_to_less_than_half_where_a_temperature_steps():
    two = ((30.0, 8.0, 10.0), (38.0, 5.0, 3.6))
    assert [hours(span)[1] for span in spans(*two)] == [pytest.approx(38.0, abs=0.5)]
    assert [hours(span)[1] for span in spans(*two, fades=True)] == [pytest.approx(43.0, abs=1.5)]


def test_edges_are_found_between_the_quarters_of_an_hour():
    (span,) = spans((40.0 + 7 / 60, 9.0 + 55 / 60, 30.0))
    assert (span.start, span.end) == pytest.approx((40 * 60 + 7, 50 * 60 + 2), abs=1)


def test_a_longer_pause_is_bridged_where_the_excess_went_on():
    def around(pause):
        return spans((30.0, 6.0, 8.0), (36.0, 3.5, pause), (39.5, 6.0, 8.0), rate_min=4.5)

    assert [hours(span) for span in around(3.2)] == [pytest.approx((30.0, 45.5), abs=0.5)]
    assert len(around(1.0)) == 2


def test_the_strongest_period_speaks_for_an_episode():
    (span,) = spans((30.0, 4.0, 5.0), (34.0, 8.0, 8.0))
    assert span.z == pytest.approx(5.0 / (SD / np.sqrt(32)), rel=0.2)


@pytest.mark.slow
def test_the_error_of_a_sum_is_what_noise_makes_of_it():
    """Sums over ten hours of nothing scatter as wide as their stated error."""
    sums = [measure(residual(seed=seed), 2400, 3000, 0.0) for seed in range(200)]
    scatter = np.std([span.kg for span in sums])
    assert sums[0].kg_sd == pytest.approx(scatter, rel=0.15)  # 200 draws: 5 %
    assert sums[0].kg_sd == pytest.approx(SD * np.sqrt(40) * 0.25, rel=0.1)


def test_slow_wander_widens_the_noise_of_a_channel():
    """AR(1) of 15-minute means that forgets within 10 h; its long-run variance in closed form."""
    phi, rng = float(np.exp(-1 / 40)), np.random.default_rng(11)
    blocks = np.zeros(120 * 96)
    for n, shock in enumerate(rng.normal(0.0, 1.0, len(blocks))):
        blocks[n] = phi * blocks[n - 1] + shock
    minute = np.repeat(blocks, 15)
    found = residual_of(minute, np.ones(len(minute), bool))
    over_four_hours = long_run_variance(found.block_kg_h, 16)
    assert found.lrv_block > 1.5 * over_four_hours
    assert found.lrv_block < 1.0 / (1.0 - phi) ** 2
