"""A channel's noise made even: skew, bursts and wild readings leave no mark on the yardstick."""

import numpy as np
import pytest
from scipy.stats import skew

from models.base.series import block_means
from models.judge import draw_noise
from models.search.even import as_told, capped, even_out, local_spread
from models.search.spells import spells

WEEKS = 8


def quarters(name, seed=3):
    return block_means(draw_noise(name, seed, WEEKS * 10_080), 15)


def both(blocks, usual=None):
    return even_out(as_told(blocks, usual), np.ones(len(blocks), dtype=bool))


def even(blocks, usual=None):
    return both(blocks, usual).short


def test_loss_that_follows_acid_is_skewed_in_kilograms_and_even_in_logarithms():
    blocks = quarters("acid_0.2")
    assert skew(blocks) > 1.0
    assert abs(skew(even(blocks, usual=1.0))) < 0.3


def test_a_steady_spread_is_kept_and_one_that_changes_is_followed():
    steady = local_spread(quarters("ou_45min"))
    assert np.std(np.log(steady)) < 0.08
    calm = np.random.default_rng(4).standard_normal(4_000)
    calm[1_500:2_500] *= 5.0
    followed = local_spread(calm)
    assert np.median(followed[1_600:2_400]) / np.median(followed[:1_400]) == pytest.approx(
        5, rel=0.2
    )


def test_a_fault_that_lasts_does_not_hide_in_the_spread_it_makes():
    values = np.random.default_rng(5).standard_normal(4_000)
    values[2_000:2_060] += 10.0
    assert local_spread(values)[2_000:2_060].max() < 1.3


def test_one_wild_reading_is_capped_and_a_flat_series_divides_by_nothing():
    values = np.random.default_rng(6).standard_normal(2_000)
    values[700] = 1e6
    assert capped(even(values)).max() == 5.0
    assert (even(np.zeros(2_000)) == 0.0).all()


def test_a_drift_of_ten_days_stays_in_the_longer_course_and_sinks_in_the_shorter():
    values = np.random.default_rng(7).standard_normal(WEEKS * 672)
    values[2_000:2_960] += np.linspace(0.0, 3.0, 960)
    told = both(values)
    assert told.long[2_600:2_960].mean() > 1.25 * told.short[2_600:2_960].mean()


def test_hours_that_stand_out_again_and_again_add_up():
    blocks = quarters("ou_45min")
    up, _, wander = spells(even(blocks))
    quiet = np.nansum(up[2_000:2_192])
    on = np.arange(192) % 16 < 4  # one hour on, three off
    blocks[2_000:2_192] += 3.5 * on
    up, down, _ = spells(even(blocks))
    strength = np.nansum(up[2_000:2_192]) / np.sqrt(192 * wander.at(192))
    assert strength > 10.0 > quiet / np.sqrt(192 * wander.at(192))
    assert np.nanmean(down) == pytest.approx(0.0, abs=1e-9)


def test_a_wild_day_is_counted_in_its_own_spread():
    """Three times as restless for a day: what stands out there is no more than on a calm day."""
    rng = np.random.default_rng(17)
    told = rng.normal(0.0, 1.0, size=4_000)
    wild = slice(2_000, 2_192)
    told[wild] *= 3.0
    calm = np.ones(len(told), dtype=bool)
    even = even_out(told, calm).short
    # The spread of so few readings is itself known to a tenth or two.
    assert np.std(even[wild]) == pytest.approx(np.std(even[200:1_800]), rel=0.35)
    assert np.std(told[wild]) > 2.5 * np.std(told[200:1_800])
    steady = even_out(told, calm, steady=True).short
    assert np.std(steady[wild]) > 2.0 * np.std(steady[200:1_800])
