"""Effective volume from transients, on signals simulated here with a known dead volume."""

from __future__ import annotations

import numpy as np
import pytest

from features.flow.transients import effective_residence

NOMINAL_M3, MINUTES = 340.0, 2880


def _flow(rng):
    """Two days of swinging flow with a stop [m3/h]."""
    clock = np.arange(MINUTES)
    flow = 265.0 + 40.0 * np.sin(clock / 110.0) + rng.normal(0.0, 3.0, MINUTES)
    return np.where((clock > 1500) & (clock < 1590), 0.0, flow)


def _swinging_brix(rng):
    """A wandering Brix with a few steps [%]."""
    wander = np.zeros(MINUTES)
    for minute in range(1, MINUTES):
        wander[minute] = 0.98 * wander[minute - 1] + rng.normal(0.0, 0.08)
    steps = np.repeat(rng.normal(0.0, 0.5, MINUTES // 240), 240)
    return 14.5 + wander + steps


def _through(signal, flow, live_m3, tanks):
    """Tanks in series, stepped forward five times a minute to second order."""
    content = np.full(tanks, signal[0])
    out = np.empty(MINUTES)
    for minute in range(MINUTES):
        fresh = 1.0 - np.exp(-flow[minute] / 300.0 / (live_m3 / tanks))
        total = 0.0
        for _ in range(5):
            fed = signal[minute]
            for tank in range(tanks):
                before = content[tank]
                content[tank] += fresh * (fed - before)
                fed = 0.5 * (before + content[tank])
            total += fed
        out[minute] = total / 5.0
    return out


def _signals(seed, dead=0.2, tanks=3, noise=0.05):
    rng = np.random.default_rng(seed)
    flow, brix = _flow(rng), _swinging_brix(rng)
    left = _through(brix, flow, NOMINAL_M3 * (1.0 - dead), tanks)
    # The outlet's meter has a scale, an offset and noise of its own.
    outlet = 0.3 + 0.95 * left + rng.normal(0.0, noise, MINUTES)
    return brix + rng.normal(0.0, noise, MINUTES), outlet, flow


@pytest.mark.parametrize("dead", [0.0, 0.2, 0.4])
@pytest.mark.parametrize("tanks", [1, 3])
def test_dead_volume_is_recovered_within_five_percent(dead, tanks):
    inlet, outlet, flow = _signals(11, dead, tanks)
    found = effective_residence(inlet, outlet, flow, NOMINAL_M3)
    assert found.reason is None
    assert found.volume_m3 == pytest.approx(NOMINAL_M3 * (1.0 - dead), rel=0.05)
    assert found.low_m3 <= NOMINAL_M3 * (1.0 - dead) <= found.high_m3
    assert found.ratio == pytest.approx(1.0 - dead, rel=0.05)
    assert abs(found.tanks - tanks) <= 1


@pytest.mark.slow
def test_interval_covers_as_often_as_it_says():
    live, hits, errors = 0.8 * NOMINAL_M3, 0, []
    for seed in range(30):
        found = effective_residence(*_signals(300 + seed, noise=0.15), NOMINAL_M3, 3)
        assert found.reason is None
        hits += found.low_m3 <= live <= found.high_m3
        errors.append(found.volume_m3 / live - 1.0)
    # 90 % of 30 is 27; 22 or fewer happen once in 200 times by chance.
    assert hits >= 23
    assert np.abs(errors).max() < 0.05
    assert abs(np.mean(errors)) < 0.01


def test_gaps_and_wild_readings_do_not_decide():
    inlet, outlet, flow = _signals(5)
    rng = np.random.default_rng(6)
    outlet[rng.integers(0, MINUTES, 60)] += 4.0
    inlet[800:900] = np.nan
    outlet[2000:2200] = np.nan
    found = effective_residence(inlet, outlet, flow, NOMINAL_M3)
    assert found.volume_m3 == pytest.approx(0.8 * NOMINAL_M3, rel=0.05)


def test_plug_flow_is_told_from_stirring():
    inlet, _, flow = _signals(7)
    volume = np.concatenate(([0.0], np.cumsum(flow / 60.0)))
    entered = np.interp(volume[1:] - 200.0, volume, np.arange(MINUTES + 1.0))
    outlet = np.interp(entered, np.arange(MINUTES) + 0.5, inlet)
    found = effective_residence(inlet, outlet, flow, 250.0, (0, 1, 3))
    assert found.tanks == 0
    assert found.volume_m3 == pytest.approx(200.0, rel=0.05)


@pytest.mark.parametrize("seed", range(6))
def test_noise_alone_gives_null_and_a_reason(seed):
    rng = np.random.default_rng(seed)
    inlet, outlet = 14.5 + rng.normal(0.0, 0.05, (2, MINUTES))
    found = effective_residence(inlet, outlet, _flow(rng), NOMINAL_M3)
    assert found.volume_m3 is found.ratio is found.tanks is None
    assert "no transient" in found.reason


def test_constant_missing_or_short_signals_give_null_and_a_reason():
    inlet, outlet, flow = _signals(3)
    flat = np.full(MINUTES, 14.5)
    assert "no transient" in effective_residence(flat, flat, flow, NOMINAL_M3).reason
    empty = np.full(MINUTES, np.nan)
    assert "missing" in effective_residence(inlet, empty, flow, NOMINAL_M3).reason
    short = effective_residence(inlet[:200], outlet[:200], flow[:200], NOMINAL_M3)
    assert "longer period" in short.reason
    elsewhere = effective_residence(inlet, outlet, flow, 0.1 * NOMINAL_M3)
    assert elsewhere.volume_m3 is None


def test_impossible_arguments_are_refused():
    inlet, outlet, flow = _signals(3)
    with pytest.raises(ValueError, match="differ"):
        effective_residence(inlet[:5], outlet, flow, NOMINAL_M3)
    with pytest.raises(ValueError, match="volume above 0"):
        effective_residence(inlet, outlet, flow, 0.0)
