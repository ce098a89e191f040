"""The one-minute grid against hand-worked minutes and brute-force integration."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from features.base.station import Signal
from features.signal.grid import to_grid

START = datetime(2025, 10, 6, 12, 0, tzinfo=UTC)


def signal(interpolation="linear", every_s=10.0, gap_min=10.0, tag="T1", place="tank"):
    return Signal(
        tag=tag,
        quantity="temperature",
        place=place,
        port="inside",
        unit="degC",
        low=-1e9,
        high=1e9,
        interpolation=interpolation,
        every_s=every_s,
        longest_gap_min=gap_min,
    )


def readings(points, tag="T1", bad=()):
    return pl.DataFrame(
        {
            "ts_utc": [START + timedelta(seconds=s) for s, _ in points],
            "tag": [tag] * len(points),
            "value": [v for _, v in points],
            "bad": [i in bad for i in range(len(points))],
            "reason": ["bad_quality" if i in bad else None for i in range(len(points))],
        },
        schema={
            "ts_utc": pl.Datetime("us", "UTC"),
            "tag": pl.String,
            "value": pl.Float64,
            "bad": pl.Boolean,
            "reason": pl.String,
        },
    )


def grid(points, minutes, bad=(), **kind):
    sig = signal(**kind)
    frame = to_grid(readings(points, bad=bad), [sig], START, START + timedelta(minutes=minutes))
    assert frame.columns == ["ts_utc", sig.name]
    assert frame.schema["ts_utc"] == pl.Datetime("us", "UTC")
    assert frame.height == minutes
    return frame[sig.name].to_list()


def test_step_weights_each_value_by_the_time_it_held():
    # 15 s at 10, then 45 s at 20: (15*10 + 45*20)/60 = 17.5; the next minute holds 20.
    assert grid([(0, 10.0), (15, 20.0)], 2, interpolation="step") == [17.5, 20.0]


def test_straight_line_gives_its_mid_value():
    # A line from 0 at 0 s to 120 at 120 s: minute means 30 and 90.
    assert grid([(0, 0.0), (120, 120.0)], 2) == [30.0, 90.0]


def test_a_crowd_of_readings_does_not_outweigh_time():
    # Six readings in the first 5 s and one at 5 s: plain mean 14.3, time-weighted 95*5/60+...
    crowd = [(k, 100.0) for k in range(5)] + [(5, 0.0)]
    assert grid(crowd, 1, interpolation="step") == pytest.approx([100 * 5 / 60])


def test_carry_in_from_before_the_window():
    assert grid([(-90, 4.0), (30, 8.0)], 1, interpolation="step") == [6.0]
    # Line from 4 at -90 s to 8 at 30 s: 7 at 0 s, mean 7.5 over 30 s; then held 20 s at 8.
    assert grid([(-90, 4.0), (30, 8.0)], 1) == pytest.approx([(7.5 * 30 + 8 * 20) / 50])


def test_reading_after_the_window_closes_the_last_line():
    assert grid([(0, 0.0), (90, 90.0)], 1) == [30.0]


def test_less_than_half_a_minute_is_null_and_half_counts():
    assert grid([(31, 5.0), (60, 5.0)], 1, interpolation="step") == [None]
    assert grid([(30, 5.0), (60, 5.0)], 1, interpolation="step") == [5.0]


def test_step_holds_at_most_the_longest_gap():
    # Held for 2 min from 0 s, then nothing until 300 s.
    got = grid([(0, 3.0), (300, 9.0)], 6, interpolation="step", gap_min=2.0)
    assert got == [3.0, 3.0, None, None, None, 9.0]


def test_line_does_not_bridge_a_long_gap_but_holds_two_intervals():
    # every 60 s: held to 120 s; nothing until 600 s.
    got = grid([(0, 3.0), (600, 9.0), (660, 9.0)], 11, every_s=60.0, gap_min=5.0)
    assert got == [3.0, 3.0] + [None] * 8 + [9.0]


def test_long_silence_at_constant_value_is_bridged_when_the_tag_allows_it():
    # A compressed historian stores nothing while the value stays inside its deadband.
    got = grid([(0, 71.5), (3 * 3600, 71.5)], 180, gap_min=240.0)
    assert got == [71.5] * 180


def test_bad_readings_are_left_out_and_break_nothing_else():
    points = [(0, 0.0), (30, 5e6), (60, 60.0)]
    assert grid(points, 1, bad={1}) == [30.0]
    assert grid([(0, 0.0), (30, math.nan), (45, None), (60, 60.0)], 1) == [30.0]


def test_the_order_of_rows_does_not_matter_and_other_tags_do_not_leak():
    points = [(0, 0.0), (10, 7.0), (20, 3.0), (60, 1.0)]
    both = pl.concat([readings(points), readings([(5, 1e6)], tag="other")])
    end = START + timedelta(minutes=1)
    first = to_grid(both, [signal()], START, end)
    again = to_grid(both.reverse(), [signal()], START, end)
    assert first.equals(again)
    assert first.item(0, 1) == pytest.approx(grid(points, 1)[0])


def test_signal_without_readings_is_a_null_column():
    sigs = [signal(), signal(tag="absent", place="elsewhere")]
    frame = to_grid(readings([(0, 1.0), (60, 1.0)]), sigs, START, START + timedelta(minutes=1))
    assert frame["temp_elsewhere_inside_degc"].to_list() == [None]
    assert frame.schema["temp_elsewhere_inside_degc"] == pl.Float64


@pytest.mark.parametrize(
    ("start", "end", "message"),
    [
        (START.replace(tzinfo=None), START, "time zone"),
        (START.replace(second=3), START + timedelta(minutes=1), "whole minute"),
        (START, START, "empty"),
    ],
)
def test_windows_that_cannot_be_gridded_are_refused(start, end, message):
    with pytest.raises(ValueError, match=message):
        to_grid(readings([(0, 1.0)]), [signal()], start, end)


def test_two_signals_of_one_name_are_refused():
    with pytest.raises(ValueError, match="share a name"):
        to_grid(
            readings([(0, 1.0)]), [signal(), signal(tag="T2")], START, START + timedelta(hours=1)
        )


def test_a_season_keeps_its_digits():
    # Sixty days of a steady 8123.456 come back exactly: no digits lost in the running sum.
    frame = to_grid(
        readings([(60.0 * k, 8123.456) for k in range(60 * 24 * 60 + 1)]),
        [signal(every_s=60.0)],
        START,
        START + timedelta(days=60),
    )
    assert frame[:, 1].unique().to_list() == [8123.456]


def brute(points, interpolation, every_s, gap_s, minutes):
    """Value at the middle of every second, written out reading by reading, then averaged."""
    out = []
    for minute in range(minutes):
        seen = []
        for second in range(60):
            at = minute * 60 + second + 0.5
            before = [p for p in points if p[0] <= at]
            after = [p for p in points if p[0] > at]
            if not before:
                continue
            (t0, v0), nxt = before[-1], after[0] if after else None
            if interpolation == "step":
                if at < t0 + gap_s:
                    seen.append(v0)
            elif nxt and nxt[0] - t0 <= gap_s:
                seen.append(v0 + (nxt[1] - v0) * (at - t0) / (nxt[0] - t0))
            elif at < t0 + min(gap_s, 2 * every_s):
                seen.append(v0)
        out.append(sum(seen) / len(seen) if len(seen) >= 30 else None)
    return out


# Whole-second readings: the middle of each second integrates steps and straight lines exactly.
POINTS = st.dictionaries(
    st.integers(-200, 500), st.floats(-1e3, 1e3, allow_nan=False), min_size=1, max_size=25
).map(lambda d: sorted(d.items()))


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(
    points=POINTS,
    interpolation=st.sampled_from(["step", "linear"]),
    every_s=st.sampled_from([10, 30, 60]),
    gap_min=st.sampled_from([1, 2, 5]),
)
def test_agrees_with_brute_force_at_one_second(points, interpolation, every_s, gap_min):
    got = grid(points, 5, interpolation=interpolation, every_s=every_s, gap_min=gap_min)
    expected = brute(points, interpolation, every_s, gap_min * 60, 5)
    assert [g is None for g in got] == [e is None for e in expected]
    for g, e in zip(got, expected, strict=True):
        if g is not None:
            assert g == pytest.approx(e, rel=1e-9, abs=1e-7)


@pytest.mark.slow
@settings(max_examples=100, deadline=None)
@given(points=POINTS.filter(lambda p: len(p) > 1), share=st.floats(0.01, 0.99), data=st.data())
def test_splitting_a_segment_changes_nothing(points, share, data):
    # A reading that lies on the line (or repeats the step) carries no new information.
    k = data.draw(st.integers(0, len(points) - 2))
    (t0, v0), (t1, v1) = points[k], points[k + 1]
    at = round(t0 + share * (t1 - t0), 6)
    for interpolation in ("linear", "step"):
        extra = v0 + (v1 - v0) * (at - t0) / (t1 - t0) if interpolation == "linear" else v0
        more = sorted({**dict(points), at: extra}.items())
        before = grid(points, 5, interpolation=interpolation, gap_min=60)
        after = grid(more, 5, interpolation=interpolation, gap_min=60)
        assert [b is None for b in before] == [a is None for a in after]
        ours = np.array([x for x in before if x is not None])
        theirs = np.array([x for x in after if x is not None])
        np.testing.assert_allclose(ours, theirs, rtol=1e-9, atol=1e-5)


def test_of_two_readings_of_one_instant_the_first_counts():
    once = grid([(0, 10.0), (30, 20.0), (60, 20.0)], 1, interpolation="step")
    assert grid([(0, 10.0), (30, 20.0), (30, 90.0), (60, 20.0)], 1, interpolation="step") == once
    line = grid([(0, 10.0), (30, 20.0), (60, 20.0)], 1)
    assert grid([(0, 10.0), (30, 20.0), (30, 90.0), (60, 20.0)], 1) == line
