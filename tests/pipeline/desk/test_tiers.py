"""Extremes by pixel beside plain numpy over the same readings: nothing lost or invented."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.desk.paths import Scale, band, range_of, strokes
from pipeline.desk.tiers import by_pixel, extremes, tiers_of
from pipeline.stages.glance_days import COARSE_MIN

DAY = 1440


def readings(days=6, seed=3):
    rng = np.random.default_rng(seed)
    fine = rng.normal(size=(2, days * DAY)).astype(np.float32)
    fine[:, 2000:2600] = np.nan
    return fine


@pytest.mark.parametrize("window", [(0, 6 * DAY), (100.5, 900.25), (1990, 2700), (-500, 7 * DAY)])
@pytest.mark.parametrize("width", [37, 400, 1000])
def test_every_reading_of_a_column_lies_between_its_lowest_and_highest(window, width):
    fine = readings()
    low, high = by_pixel(tiers_of(fine), [0, 1], *window, width)
    edges = window[0] + (window[1] - window[0]) * np.arange(width + 1) / width
    for column in range(width):
        first, last = max(int(np.floor(edges[column])), 0), int(np.ceil(edges[column + 1]))
        part = fine[:, first : max(last, first + 1)] if last > 0 else fine[:, :0]
        for row in range(2):
            seen = part[row][np.isfinite(part[row])]
            if len(seen):
                assert low[row, column] <= seen.min()
                assert high[row, column] >= seen.max()


def test_the_highest_spike_of_a_season_is_drawn_whatever_the_width():
    fine = np.zeros((1, 180 * DAY), dtype=np.float32)
    fine[0, 123_457] = 99.0
    for width in (200, 390, 1000, 1920):
        _, high = by_pixel(tiers_of(fine), [0], 0, 180 * DAY, width)
        assert np.nanmax(high) == 99.0
        assert np.sum(high > 0) <= 2


def test_fine_and_coarse_tiers_say_the_same():
    fine = readings(days=30)
    width = 30 * DAY // (COARSE_MIN * 8)
    coarse = by_pixel(tiers_of(fine), [0], 0, 30 * DAY, width)
    plain = (extremes(fine[[0]], 0, 30 * DAY, width, of) for of in (np.fmin, np.fmax))
    for got, wanted in zip(coarse, plain, strict=True):
        np.testing.assert_array_equal(got, wanted)


@given(st.floats(-50, 120), st.floats(0.5, 300), st.integers(1, 90))
def test_any_window_is_answered(first, length, width):
    cells = np.arange(100.0)[np.newaxis, :]
    low = extremes(cells, first, first + length, width, np.fmin)[0]
    high = extremes(cells, first, first + length, width, np.fmax)[0]
    assert low.shape == (width,)
    known = np.isfinite(low)
    assert (low[known] <= high[known]).all()
    assert np.array_equal(known, np.isfinite(high))


def test_paths_hold_each_column_once_and_break_where_nothing_is_known():
    values = np.array([1.0, np.nan, 3.0, 3.0])
    scale = Scale(0.0, 4.0, 40.0)
    drawn = strokes(values, values, scale)
    assert [part.split(" ")[0] for part in drawn.split("M")[1:]] == ["0", "2", "3"]
    assert band(values, values + 1.0, scale).count("M") == 2
    assert strokes(np.full(3, np.nan), np.full(3, np.nan), scale) == ""
    assert range_of(np.full(3, np.nan)) == (0.0, 1.0)
