"""Readings by tag: what is in order is left as it is, all else is sorted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from features.base.readings import in_order, rows_by_tag, times_us, values

START = datetime(2025, 10, 6, tzinfo=UTC)
ROWS = st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 5)), max_size=12)


def frame(rows):
    return pl.DataFrame(
        {
            "ts_utc": [START + timedelta(seconds=at) for _, at in rows],
            "tag": [tag for tag, _ in rows],
            "value": [float(n) for n in range(len(rows))],
        },
        schema={"ts_utc": pl.Datetime("us", "UTC"), "tag": pl.String, "value": pl.Float64},
    )


@given(ROWS)
def test_readings_come_by_tag_and_time_and_keep_their_order_within_an_instant(rows):
    found = in_order(frame(rows))
    expected = sorted(range(len(rows)), key=lambda n: rows[n])  # Python's sort keeps ties in order
    assert found["value"].to_list() == [float(n) for n in expected]


def test_what_is_in_order_is_not_touched():
    readings = frame([("a", 1), ("a", 1), ("b", 0), ("b", 4), ("c", 2)])
    assert in_order(readings) is readings


@pytest.mark.parametrize("rows", [[("b", 0), ("a", 1)], [("a", 3), ("a", 1)]])
def test_what_is_not_is_sorted(rows):
    found = in_order(frame(rows))
    assert found.select("tag", "ts_utc").rows() == sorted(found.select("tag", "ts_utc").rows())


@given(ROWS)
def test_every_tag_gets_its_rows(rows):
    ordered = in_order(frame(rows))
    found = rows_by_tag(ordered)
    assert sorted(found) == sorted({tag for tag, _ in rows})
    assert all(part.equals(ordered.filter(tag=tag)) for tag, part in found.items())


def test_times_are_microseconds_and_no_value_is_nan():
    readings = frame([("a", 2)]).with_columns(value=pl.lit(None, dtype=pl.Float64))
    assert times_us(readings).tolist() == [int(START.timestamp() + 2) * 1_000_000]
    assert values(readings)[0] != values(readings)[0]
