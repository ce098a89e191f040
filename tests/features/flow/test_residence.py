"""Parcels through vessels: conservation, limits, and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from features.flow.passing import pass_zone
from features.flow.residence import mix_parallel, residence_min, transport_series
from features.flow.stream import Dose, Passage, Stream, Tracer, join
from features.flow.transport import (
    cumulative_volume_m3,
    edges_from_means,
    outflow_by_balance_m3_h,
    plug_flow_position_m3,
    transport_plug_flow,
    transport_stirred,
)

SETTINGS = settings(max_examples=60, deadline=None)


@st.composite
def histories(draw):
    """Random inflows with stops, and a volume that in- and outflow can both account for."""
    seed = draw(st.integers(0, 2**32 - 1))
    n = draw(st.integers(2, 200))
    rng = np.random.default_rng(seed)
    flow = rng.uniform(0.0, 400.0, n) * (rng.random(n) > draw(st.sampled_from([0.0, 0.2, 0.7])))
    outflow = rng.uniform(0.0, 400.0, n) * (rng.random(n) > 0.3)
    volume = [float(rng.uniform(1.0, 300.0))]
    for minute in range(n):
        # The vessel can not give more than it has: it may run almost dry, then just passes on.
        after = max(volume[-1] + (flow[minute] - outflow[minute]) / 60.0, 0.01)
        volume.append(min(after, volume[-1] + flow[minute] / 60.0))
    signal = rng.uniform(1.0, 9.0, (n, 2))
    return flow, np.array(volume), signal


@SETTINGS
@given(histories())
def test_stirred_vessel_keeps_what_it_is_given(history):
    flow, volume, signal = history
    out, end = transport_stirred(signal, np.array([2.0, 5.0]), flow, volume)
    outflow = outflow_by_balance_m3_h(flow, volume)
    given_in = (flow[:, None] * signal).sum(0) / 60.0 + volume[0] * np.array([2.0, 5.0])
    taken_out = (outflow[:, None] * out).sum(0) / 60.0
    np.testing.assert_allclose(taken_out + volume[-1] * end[-1], given_in, rtol=1e-9)


@SETTINGS
@given(histories())
def test_plug_flow_keeps_what_it_is_given(history):
    flow, volume, signal = history
    out = transport_plug_flow(signal, np.array([2.0, 5.0]), flow, volume)
    outflow = outflow_by_balance_m3_h(flow, volume)
    given_in = (flow[:, None] * signal).sum(0) / 60.0 + volume[0] * np.array([2.0, 5.0])
    taken_out = (outflow[:, None] * out).sum(0) / 60.0
    # What is still inside: the last parcels, counted back from the inlet by their own volumes.
    passed = cumulative_volume_m3(flow)
    outlet = plug_flow_position_m3(flow, volume)[-1]
    inside = np.clip(passed[1:] - np.maximum(passed[:-1], outlet), 0.0, None)
    held = (inside[:, None] * signal).sum(0) + max(-outlet, 0.0) * np.array([2.0, 5.0])
    np.testing.assert_allclose(taken_out + held, given_in, rtol=1e-9)


@SETTINGS
@given(histories(), st.integers(0, 4), st.floats(0.0, 0.5))
def test_a_signal_never_leaves_its_range(history, tanks, dead):
    flow, volume, signal = history
    out = transport_series(signal, 5.0, flow, volume, tanks, dead)
    assert out.min() >= min(signal.min(), 5.0) - 1e-9
    assert out.max() <= max(signal.max(), 5.0) + 1e-9


@SETTINGS
@given(histories(), st.integers(0, 3), st.floats(0.1, 50.0))
def test_residence_only_knows_volume_over_flow(history, tanks, scale):
    flow, volume, _ = history
    flow = flow + 1.0
    mean, sd = residence_min(flow, volume, tanks)
    scaled_mean, scaled_sd = residence_min(scale * flow, scale * volume, tanks)
    np.testing.assert_allclose(scaled_mean, mean, rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(scaled_sd, sd, rtol=1e-3, atol=1e-2)


@pytest.mark.parametrize("tanks", [1, 2, 3, 6])
def test_steady_tanks_in_series_have_textbook_moments(tanks):
    """Mean tau and variance tau squared over N (Danckwerts 1953; memory)."""
    mean, sd = residence_min(np.full(4000, 268.0), np.full(4001, 340.0), tanks)
    tau = 60.0 * 340.0 / 268.0
    assert mean[-1] == pytest.approx(tau, rel=1e-6)
    assert sd[-1] == pytest.approx(tau / np.sqrt(tanks), rel=2e-3)


def test_steady_plug_flow_delays_by_volume_over_flow():
    mean, sd = residence_min(np.full(500, 240.0), np.full(501, 40.0), 0)
    assert mean[-1] == pytest.approx(10.0, rel=1e-9)
    assert sd[-1] < 0.31


def test_many_tanks_come_near_plug_flow():
    rng = np.random.default_rng(3)
    flow = 250.0 + 50.0 * np.sin(np.arange(900) / 60.0) + rng.normal(0, 1, 900)
    volume = np.full(901, 200.0)
    plug, _ = residence_min(flow, volume, 0)
    tanks, _ = residence_min(flow, volume, 60)
    np.testing.assert_allclose(tanks[200:], plug[200:], rtol=0.01)


def test_dead_fraction_shortens_residence_in_proportion():
    flow, volume = np.full(2000, 250.0), np.full(2001, 300.0)
    whole, _ = residence_min(flow, volume, 2)
    live, _ = residence_min(flow, volume, 2, dead_fraction=0.2)
    assert live[-1] == pytest.approx(0.8 * whole[-1], rel=1e-6)


def test_step_through_one_tank_follows_the_exponential():
    out, end = transport_stirred(np.ones(120), 0.0, np.full(120, 60.0), np.full(121, 30.0))
    minutes = np.arange(1, 121)
    np.testing.assert_allclose(end, 1.0 - np.exp(-minutes / 30.0), rtol=1e-12)
    mean = 1.0 - 30.0 * (np.exp(-(minutes - 1) / 30.0) - np.exp(-minutes / 30.0))
    np.testing.assert_allclose(out, mean, rtol=1e-9)


def test_filling_tank_dilutes_by_volume():
    volume = np.linspace(10.0, 20.0, 11)
    _, end = transport_stirred(np.zeros(10), 1.0, np.full(10, 60.0), volume)
    np.testing.assert_allclose(end, 10.0 / volume[1:], rtol=1e-12)


def test_a_stop_ages_juice_minute_by_minute():
    flow = np.full(400, 240.0)
    flow[200:260] = 0.0
    for tanks in (0, 1, 3):
        mean, _ = residence_min(flow, np.full(401, 80.0), tanks)
        np.testing.assert_allclose(np.diff(mean[200:260]), 1.0, atol=1e-9)


def test_parallel_vessels_join_by_flow():
    a, b = np.full((2, 1), 1.0), np.full((2, 1), 4.0)
    joined = mix_parallel([np.array([100.0, 0.0]), np.array([200.0, 0.0])], [a, b])
    assert joined[0, 0] == pytest.approx(3.0)
    assert joined[1, 0] == pytest.approx(2.5)


def test_two_equal_vessels_in_parallel_act_as_one():
    rng = np.random.default_rng(5)
    flow, signal = rng.uniform(0.0, 300.0, 200), rng.uniform(1.0, 2.0, (200, 1))
    one = transport_series(signal, 1.5, flow, np.full(201, 100.0), 1)
    half = transport_series(signal, 1.5, flow / 2, np.full(201, 50.0), 1)
    np.testing.assert_allclose(mix_parallel([flow / 2, flow / 2], [half, half]), one, rtol=1e-12)


def test_edges_lie_midway_and_refusals_are_plain():
    np.testing.assert_allclose(edges_from_means(np.array([1.0, 3.0])), [1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match="tanks of 0 or more"):
        transport_series(np.ones(2), 0.0, np.ones(2), np.ones(3), -1)


@pytest.mark.parametrize("dead", [0.0, 0.25])
@pytest.mark.parametrize("tanks", [1, 2, 3])
def test_a_steady_vessel_has_its_age_from_the_first_minute(tanks, dead):
    """The first content entered at the same flow, tank by tank; moments as above (memory)."""
    live = 1.0 - dead
    mean, sd = residence_min(np.full(300, 240.0), np.full(301, 320.0), tanks, dead)
    np.testing.assert_allclose(mean, 80.0 * live, rtol=1e-3)
    np.testing.assert_allclose(sd, 80.0 * live / np.sqrt(tanks), rtol=2e-3)


def test_a_zone_ages_and_doses_its_first_content_alike():
    """One unit a minute taken up everywhere is the time in the zone, also in the first minute."""
    n, tanks = 200, 3
    flow = np.full(n, 120.0)
    stream = Stream(flow, flow > 0.0, np.zeros((n, len(Tracer))), np.zeros((n, len(Dose))))
    passage = Passage(np.full(n + 1, 60.0), tanks, 120.0, np.zeros(n))
    passed = pass_zone(
        stream,
        passage,
        lambda contents, _leaving: [np.full(n, 7.0) for _ in contents],
        lambda contents, _leaving: [np.ones((n, len(Dose))) for _ in contents],
    )
    np.testing.assert_allclose(passed.residence_min, 30.0, rtol=2e-3)
    np.testing.assert_allclose(passed.residence_sd_min, 30.0 / np.sqrt(tanks), rtol=4e-3)
    np.testing.assert_allclose(passed.doses[:, Dose.MINUTES], 30.0, rtol=2e-3)


def test_juice_that_leaves_as_it_came_has_no_spread_of_age():
    """Minutes of plug flow stay whole here: ten of them fill the pipe."""
    _, sd = residence_min(np.full(100, 60.0), np.full(101, 10.0), 0)
    assert sd[20:].max() < 1e-3


def test_streams_that_trickle_still_weigh_by_their_flow():
    signals = [np.full((3, 1), 1.0), np.full((3, 1), 5.0)]
    flows = [np.array([0.3, 3e-6, 0.0]), np.array([0.1, 1e-6, 0.0])]
    np.testing.assert_allclose(mix_parallel(flows, signals)[:, 0], [2.0, 2.0, 3.0], rtol=1e-12)


def test_joined_flow_is_known_only_where_all_parts_are():
    n = 4
    known = [np.array([True, True, False, False]), np.array([True, False, True, False])]
    streams = [
        Stream(np.ones(n), k, np.zeros((n, len(Tracer))), np.zeros((n, len(Dose)))) for k in known
    ]
    assert join(streams).flow_known.tolist() == [True, False, False, False]


def test_a_level_that_rises_faster_than_juice_comes_in_turns_no_flow_around():
    """A level reading jumps: by the balance juice would have to flow back into the first tank."""
    flow, signal = np.full(60, 30.0), np.where(np.arange(60) < 28, 2.0, 3.0)
    volume = np.concatenate((np.full(30, 20.0), np.full(31, 40.0)))
    out = transport_series(signal, 2.0, flow, volume, 2)
    assert out.min() >= 2.0
    assert out.max() <= 3.0


def test_in_a_stop_the_parcel_at_the_outlet_is_the_next_to_leave():
    flow = np.full(40, 60.0)
    flow[20:30] = 0.0
    minute = np.arange(40.0)
    out = transport_plug_flow(minute, -1.0, flow, np.full(41, 5.0))
    np.testing.assert_allclose(out[20:30], 15.0)
    np.testing.assert_allclose(out[29:32], [15.0, 15.0, 16.0])


def test_a_level_that_jumps_turns_no_plug_around():
    """One wrong reading of the level: what has left the vessel does not come back."""
    volume = np.full(41, 5.0)
    volume[20] = 9.0
    flow = np.full(40, 60.0)
    assert np.diff(plug_flow_position_m3(flow, volume)).min() >= 0.0
    out = transport_plug_flow(np.arange(40.0), -1.0, flow, volume)
    assert np.diff(out).min() >= 0.0
    np.testing.assert_allclose(out[30:], np.arange(25.0, 35.0))
