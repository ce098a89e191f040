"""Episodes of one channel: where they begin and end, what joins them and what parts them."""

import numpy as np
import pytest

from models.base.series import block_means
from models.search.episodes import Residual, find_spans

WEEK = 7 * 1440
SD = 1.0


def residual(*pieces, seed=3, sd=SD):
    """Noise of a standard deviation `sd` by block, with pieces (first hour, hours, kg/h) on it."""
    rng = np.random.default_rng(seed)
    minute = np.repeat(rng.normal(0.0, sd, WEEK // 15), 15)
    for first, hours, height in pieces:
        minute[int(60 * first) : int(60 * (first + hours))] += height
    return Residual(minute, block_means(minute, 15), np.zeros(WEEK), sd**2)


def spans(*pieces, z_min=5.0, rate_min=2.0, kg_min=5.0, **options):
    return find_spans(residual(*pieces), z_min, rate_min, kg_min, **options)


def hours(span):
    return span.start / 60.0, span.end / 60.0


@pytest.mark.parametrize("seed", range(5))
def test_nothing_is_found_where_nothing_happened(seed):
    assert find_spans(residual(seed=seed), 5.0, 0.5, 0.0) == []


def test_one_step_is_found_with_its_edges_and_its_sum():
    (span,) = spans((40.0, 10.0, 8.0))
    assert hours(span) == pytest.approx((40.0, 50.0), abs=0.25)
    assert span.kg == pytest.approx(80.0, abs=4.0 * span.kg_sd + 2.0)
    # Standard error of a mean of 40 blocks.
    assert span.z == pytest.approx(8.0 / (SD / np.sqrt(40)), rel=0.1)


@pytest.mark.parametrize(
    ("height", "limits"), [(1.5, {}), (8.0, {"kg_min": 200.0}), (8.0, {"rate_min": 9.5})]
)
def test_what_is_small_is_let_be(height, limits):
    assert spans((40.0, 10.0, height), **limits) == []


def test_a_standing_error_is_no_less_for_lasting():
    step = (40.0, 30.0, 4.0)
    assert len(spans(step, standing_error=0.3)) == 1
    assert spans(step, standing_error=1.0) == []  # four of its standard errors, however long


def test_a_ramp_leans_on_the_stretch_it_leads_to():
    (span,) = spans((30.0, 4.0, 4.5), (34.0, 8.0, 8.0))
    assert hours(span) == pytest.approx((30.0, 42.0), abs=0.5)


def test_slight_unrest_after_a_fault_is_not_part_of_it():
    (span,) = spans((30.0, 8.0, 12.0), (38.0, 20.0, 1.8))
    assert hours(span)[1] == pytest.approx(38.0, abs=0.5)


def test_a_short_pause_joins_and_a_long_calm_parts():
    short = spans((30.0, 6.0, 8.0), (37.0, 6.0, 8.0))
    assert [hours(span) for span in short] == [pytest.approx((30.0, 43.0), abs=0.5)]
    assert len(spans((30.0, 6.0, 8.0), (42.0, 6.0, 8.0))) == 2


def test_hours_far_below_both_sides_part_two_episodes():
    """One probe put right, then adrift again; meanwhile the excess is small but beyond doubt."""
    valley = spans((30.0, 10.0, 20.0), (40.0, 6.0, 4.0), (46.0, 10.0, 20.0), standing_error=0.1)
    assert [hours(span) for span in valley] == [
        pytest.approx((30.0, 40.0), abs=0.5),
        pytest.approx((46.0, 56.0), abs=0.5),
    ]


def test_two_runs_of_quite_different_height_stay_two():
    both = spans((30.0, 6.0, 20.0), (37.0, 6.0, 5.0))
    assert [hours(span)[1] for span in both] == pytest.approx([36.0, 43.0], abs=0.5)


def test_a_pause_without_numbers_is_bridged_for_hours():
    apart = residual((30.0, 6.0, 8.0), (42.0, 6.0, 8.0))
    gone = slice(60 * 36, 60 * 42)
    minute = apart.minute_kg_h.copy()
    minute[gone] = np.nan
    silent = Residual(minute, block_means(minute, 15), apart.baseline_kg_h, apart.lrv_block)
    (span,) = find_spans(silent, 5.0, 2.0, 5.0)
    assert hours(span) == pytest.approx((30.0, 48.0), abs=0.5)
    assert span.kg == pytest.approx(18.0 * 8.0, rel=0.1)  # as if it had gone on meanwhile
