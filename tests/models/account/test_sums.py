"""Sums of loss over groups of minutes: amounts and intervals by hand, and against draws."""

from __future__ import annotations

import math

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from models.account import added_findings, bare_sums, loss_sums, pooled, with_bounds

LN10 = math.log(10.0)


def minutes_of(hours: float, *, memory_h: float | None = 8.0, day: int = 1) -> pl.DataFrame:
    """Minutes at 120 kg/h unavoidable and 60 kg/h above; a quarter of them not all read."""
    n = round(60 * hours)
    return pl.DataFrame(
        {
            "day": [day] * n,
            "sucrose_feed_kg_h": [30_000.0] * n,
            "unavoidable_kg_h": [120.0] * n,
            "excess_kg_h": [60.0] * n,
            "measured": [i % 4 > 0 for i in range(n)],
            "level_log_sd": [0.2] * n,
            "ph_sd": [0.04] * n,
            "ph_memory_h": pl.Series([memory_h] * n, dtype=pl.Float64),
        }
    )


def half_t(frame: pl.DataFrame) -> float:
    row = frame.row(0, named=True)
    assert row["excess_t"] - row["excess_low_t"] == pytest.approx(
        row["excess_high_t"] - row["excess_t"]
    )
    return row["excess_high_t"] - row["excess_t"]


def test_an_hour_by_hand():
    # 0.06 t above 0.12 t; the pH error has no time to forget itself. Half-width 1.6449 times the
    # root of (0.2 * 0.06)^2 + (ln 10 * 0.04 * 0.18)^2 = 0.0337 t (computed).
    row = loss_sums(minutes_of(1), ["day"]).row(0, named=True)
    assert row["excess_t"] == pytest.approx(0.06)
    assert row["unavoidable_t"] == pytest.approx(0.12)
    assert row["sucrose_fed_t"] == pytest.approx(30.0)
    assert row["excess_high_t"] - row["excess_t"] == pytest.approx(0.0337, abs=5e-5)
    assert (row["minutes"], row["measured"]) == (60, 45)


def test_a_week_holds_as_often_as_draws_of_its_errors():
    """One level for the week, an Ornstein-Uhlenbeck pH error by the hour (numpy's generator)."""
    rng = np.random.default_rng(5)
    hours, draws = 168, 4000
    keep = math.exp(-1.0 / 8.0)
    ph = rng.normal(0.0, 0.04, draws)
    mean = np.zeros(draws)
    for _ in range(hours):
        ph = keep * ph + rng.normal(0.0, 0.04 * math.sqrt(1.0 - keep**2), draws)
        mean += ph / hours
    excess_t, lost_t = 0.06 * hours, 0.18 * hours
    error_t = rng.normal(0.0, 0.2, draws) * excess_t + LN10 * mean * lost_t
    told = half_t(loss_sums(minutes_of(hours), ["day"]))
    assert np.mean(np.abs(error_t) <= told) == pytest.approx(0.90, abs=0.015)


def test_days_added_are_the_week():
    days = pl.concat([minutes_of(24, day=n) for n in range(7)])
    apart = with_bounds(pooled(bare_sums(days, ["day"])))
    whole = loss_sums(minutes_of(168), ["day"]).drop("day")
    assert_frame_equal(apart, whole)
    # Bounds of the days laid end to end would be wider.
    assert half_t(apart) < 0.8 * 7 * half_t(loss_sums(minutes_of(24), ["day"]))


def test_a_ph_that_no_laboratory_puts_right_errs_alike_for_ever():
    day = loss_sums(minutes_of(24, memory_h=None), ["day"])
    month = loss_sums(minutes_of(720, memory_h=None), ["day"])
    assert half_t(month) == pytest.approx(30 * half_t(day))


def test_pooled_errors_are_means_by_minutes():
    parts = pl.concat([minutes_of(24), minutes_of(72, day=2).with_columns(level_log_sd=0.4)])
    row = pooled(bare_sums(parts, ["day"])).row(0, named=True)
    assert row["level_log_sd"] == pytest.approx(0.35)
    assert row["minutes"] == 96 * 60
    assert pooled(bare_sums(parts, ["day"]).clear()).is_empty()


FOUND = pl.DataFrame({"lost_t": [2.0, 2.0], "lost_t_low": [1.0, 1.0], "lost_t_high": [4.0, 4.0]})


def test_findings_that_share_all_of_their_error_add_end_to_end():
    assert added_findings(FOUND, math.inf) == pytest.approx((4.0, 2.0, 8.0))


def test_findings_that_share_nothing_add_in_quadrature():
    spread = 2.0 ** math.sqrt(0.5)
    assert added_findings(FOUND, 0.0) == pytest.approx((4.0, 4.0 / spread, 4.0 * spread))


def test_nothing_found_is_nothing():
    assert added_findings(FOUND.clear(), 0.2) == (0.0, 0.0, 0.0)
