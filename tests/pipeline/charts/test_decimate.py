"""Fewer points, same story."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from pipeline.charts.decimate import bucket_means, envelope

START = datetime(2025, 10, 6, tzinfo=UTC)
START_MS = int(START.timestamp() * 1000)


def frame(values: list[float | None]) -> pl.DataFrame:
    ts = [START + timedelta(minutes=i) for i in range(len(values))]
    return pl.DataFrame({"ts_utc": ts, "v": values}, schema_overrides={"v": pl.Float64})


def window(n: int) -> tuple[int, int]:
    return START_MS, START_MS + n * 60_000


def test_a_single_spike_survives():
    values = [7.0] * 10_000
    values[4321] = 3.2
    points = envelope(frame(values), "v", window(10_000), 300)
    assert len(points) <= 302
    assert (START_MS + 4321 * 60_000, 3.2) in points


def test_short_windows_are_kept_whole_and_in_order():
    values = [float(v) for v in np.random.default_rng(1).normal(7, 0.1, 120)]
    points = envelope(frame(values), "v", window(120), 700)
    assert [v for _, v in points] == values


@pytest.mark.parametrize("method", [envelope, bucket_means])
def test_missing_stretch_breaks_the_line(method):
    values: list[float | None] = [1.0] * 1000
    values[300:500] = [None] * 200
    points = method(frame(values), "v", window(1000), 200)
    assert sum(v is None for _, v in points) == 1
    times = [t for t, _ in points]
    assert times == sorted(times)


@pytest.mark.parametrize("method", [envelope, bucket_means])
def test_rows_that_are_absent_break_the_line_too(method):
    held = frame([1.0] * 1000).filter(~pl.int_range(pl.len()).is_between(300, 499))
    assert sum(v is None for _, v in method(held, "v", window(1000), 200)) == 1


@pytest.mark.parametrize("method", [envelope, bucket_means])
def test_nothing_to_draw_is_one_break(method):
    assert [v for _, v in method(frame([None] * 50), "v", window(50), 20)] == [None]
    assert [v for _, v in method(frame([]), "v", window(50), 20)] == [None]


def test_nan_and_infinity_count_as_missing():
    points = envelope(frame([1.0, float("nan"), float("inf"), 2.0]), "v", window(4), 100)
    assert [v for _, v in points] == [1.0, None, 2.0]


def test_means_keep_the_area():
    """Area under the drawn rate equals the area under the minutes (identity)."""
    values = [float(v) for v in np.random.default_rng(2).gamma(2, 30, 1200)]
    points = bucket_means(frame(values), "v", window(1200), 100)
    assert len(points) == 100
    assert np.mean([v for _, v in points]) == pytest.approx(np.mean(values))
