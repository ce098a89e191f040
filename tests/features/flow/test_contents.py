"""What a pipe holds: parcels counted one by one, by hand."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from features.base.station import Kinetics, Signal, Station, Targets, Vessel
from features.flow.contents import MOST_SLICES, Content, slices_in_pipe
from features.flow.minutes import derive
from features.flow.passing import pass_zone
from features.flow.stream import Dose, Passage, Stream, Tracer


def _mean(flow, volume, signal):
    """Mean of a signal over the parcels in the pipe at the middle of each minute."""
    held = slices_in_pipe(flow, volume)
    content = Content(np.empty((held.parcel.size, 0)), held.minute, held.share)
    return content.mean(np.concatenate((signal, [0.0]))[held.parcel], len(flow))


def test_a_step_fills_a_pipe_front_by_front():
    """60 m3/h into 10 m3: ten minutes, the front half a minute in at the first."""
    step = np.where(np.arange(60) < 30, 0.0, 1.0)
    found = _mean(np.full(60, 60.0), np.full(61, 10.0), step)
    np.testing.assert_allclose(found[30:42], np.minimum((np.arange(12) + 0.5) / 10.0, 1.0))


def test_changing_flow_and_volume_count_by_volume():
    rng = np.random.default_rng(7)
    flow, volume = rng.uniform(50.0, 400.0, 200), 30.0 + 5.0 * np.sin(np.arange(201) / 20.0)
    signal = rng.uniform(1.0, 9.0, 200)
    found = _mean(flow, volume, signal)
    fine = np.repeat(flow / 60.0 / 50.0, 50), np.repeat(signal, 50)
    for minute in range(60, 200, 7):
        last = 50 * minute + 25
        back = np.cumsum(fine[0][:last][::-1])
        inside = back <= 0.5 * (volume[minute] + volume[minute + 1])
        parts = fine[0][:last][::-1][inside], fine[1][:last][::-1][inside]
        assert found[minute] == pytest.approx(np.average(parts[1], weights=parts[0]), rel=0.01)


def test_many_thin_parcels_are_sliced_and_shares_are_whole():
    flow = np.where(np.arange(2000) < 300, 60.0, 0.6)
    held = slices_in_pipe(flow, np.full(2001, 10.0))
    pieces = np.bincount(held.minute)
    assert pieces.max() == MOST_SLICES
    np.testing.assert_allclose(np.bincount(held.minute, held.share), 1.0)
    signal = np.arange(2000.0)
    found = _mean(flow, np.full(2001, 10.0), signal)
    # 10 m3 at 0.01 m3 a minute: a thousand minutes are inside.
    assert found[-1] == pytest.approx(1999.0 - 500.0, abs=1.0)


def _pipe(n, ph):
    flow = np.full(n, 60.0)
    tracers = np.zeros((n, len(Tracer)))
    tracers[:, Tracer.PH] = ph
    stream = Stream(flow, flow > 0.0, tracers, np.zeros((n, len(Dose))))
    passage = Passage(np.full(n + 1, 20.0), 0, 60.0, np.zeros(n), np.full(n, 0.002))

    def phs(contents, _leaving):
        return [c.tracers[:, Tracer.PH] - c.tracers[:, Tracer.SOURED] for c in contents]

    def rates(contents, leaving):
        doses = [np.zeros((len(c.tracers), len(Dose))) for c in contents]
        for dose, here in zip(doses, phs(contents, leaving), strict=True):
            dose[:, Dose.INVERSION] = 10.0 ** (7.0 - here)
            dose[:, Dose.MINUTES] = 1.0
        return doses

    return pass_zone(stream, passage, phs, rates)


def test_a_parcel_in_a_pipe_takes_up_its_own_dose():
    """dp/dt = -0.002 3**(p - 7) for 20 min, by small steps; the step passes unmixed."""
    passed = _pipe(200, np.where(np.arange(200) < 100, 7.4, 6.6))
    for start, minute in ((7.4, 118), (6.6, 125)):
        ph, dose = start, 0.0
        for _ in range(20000):
            dose += 1e-3 * 10.0 ** (7.0 - ph)
            ph -= 1e-3 * 0.002 * 3.0 ** (ph - 7.0)
        soured = passed.tracers[minute, Tracer.SOURED]
        assert soured == pytest.approx(start - ph, rel=1e-3)
        assert passed.doses[minute, Dose.INVERSION] == pytest.approx(dose, rel=1e-3)
    np.testing.assert_allclose(passed.doses[50:, Dose.MINUTES], 20.0, rtol=1e-6)


def test_brix_in_a_pipe_is_that_of_all_its_parcels():
    vessels = (Vessel("pipe", "heater", 1, 100.0, 30.0, tanks=0),)
    signals = (Signal("b", "brix", "mixed_juice", "", "%", 0, 40),)
    station = Station(vessels, signals, (), Targets(300.0, 7.5, 6.9), Kinetics())
    stamps = pl.datetime_range(
        pl.datetime(2025, 1, 1), pl.datetime(2025, 1, 1, 2), "1m", time_zone="UTC", eager=True
    )
    brix = np.where(np.arange(len(stamps)) < 60, 12.0, 16.0)
    grid = pl.DataFrame({"ts_utc": stamps, "brix_mixed_juice_pct": brix})
    found = derive(grid, station).zone_minutes["brix_pct"]
    # 20 min through: half of the pipe is new after ten.
    assert found[69] == pytest.approx(12.0 + 4.0 * 9.5 / 20.0, rel=1e-6)
