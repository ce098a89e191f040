"""pH inside vessels: the early fall in a settler, the shift in an evaporator, mud that ages."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from features.flow.contents import Content
from features.flow.minutes import derive
from features.flow.stream import Tracer
from features.flow.vessel_ph import clear_weight, last_flowing, settler_ph


def _last(derived, zone, column="ph_cold"):
    return derived.zone_minutes.filter(zone=zone)[column][-1]


def _with(station, name, **changes):
    vessels = tuple(replace(v, **changes) if v.name == name else v for v in station.vessels)
    return replace(station, vessels=vessels)


def test_a_slower_fall_leaves_the_settler_nearer_to_the_limed_juice(brindlewater, nominal_grid):
    grid = nominal_grid()
    quick, slow = (
        derive(grid, _with(brindlewater, "settler", ph_fall_min=minutes))
        for minutes in (5.0, 200.0)
    )
    assert 6.95 < _last(quick, "settler") < _last(slow, "settler") < 7.5
    assert _last(quick, "settler", "loss_kg_h") > 1.1 * _last(slow, "settler", "loss_kg_h")
    # At target, whatever the fall, the station is at its reference.
    assert _last(quick, "settler", "f_ph") == pytest.approx(1.0, abs=5e-3)
    assert _last(slow, "settler", "f_ph") == pytest.approx(1.0, abs=5e-3)


def test_evaporator_shift_moves_ph_and_reference_alike(brindlewater, nominal_grid):
    grid = nominal_grid()
    plain = derive(grid, brindlewater)
    shifted = derive(grid, _with(brindlewater, "first_evaporator", ph_shift=-0.3))
    fall = _last(plain, "first_evaporator") - _last(shifted, "first_evaporator")
    # Juice that is more acid makes less acid: a little of the step comes back.
    assert 0.285 < fall < 0.3
    loss = [_last(d, "first_evaporator", "loss_kg_h") for d in (plain, shifted)]
    assert loss[1] / loss[0] == pytest.approx(10.0**fall, rel=1e-6)
    factors = [_last(d, "first_evaporator", "f_ph") for d in (plain, shifted)]
    assert factors[1] == pytest.approx(factors[0], rel=2e-3)


def _mud_ph(flow_m3_h: float, level_pct: float, hours: float) -> float:
    """pH of well-stirred mud by integration: 140 m3 cone, clear juice at 6.95."""
    volume, most = 1.4 * level_pct, np.expm1(np.log(3.0) * 0.95)
    renewed = 1.4 * 45.0 / 25.0
    target = np.expm1(np.log(3.0) * 0.2)
    # At target inflow and souring balance at a drop of 0.2.
    pace = target / renewed / (1.0 - target / most)

    def change(_, acid):
        return pace * (1.0 - acid / most) - flow_m3_h / volume * acid

    run = solve_ivp(change, (0.0, hours), [target], rtol=1e-9)
    return 6.95 - float(np.log1p(run.y[0, -1])) / np.log(3.0)


def test_mud_sours_with_its_age_as_juice_does_but_not_without_end(brindlewater, nominal_grid):
    n = 1800
    usual = derive(nominal_grid(n), brindlewater)
    assert _last(usual, "settler:mud") == pytest.approx(6.95 - 0.2, abs=0.01)
    for flow, level in ((12.5, 45.0), (25.0, 90.0), (6.0, 45.0), (0.0, 45.0)):
        grid = nominal_grid(n, flow_settler_mud_m3_h=flow, mud_level_settler_mud_pct=level)
        found = _last(derive(grid, brindlewater), "settler:mud")
        assert found == pytest.approx(_mud_ph(flow, level, n / 60.0), abs=0.01)
    stuck = derive(nominal_grid(n, flow_settler_mud_m3_h=0.0), brindlewater)
    ph = stuck.zone_minutes.filter(zone="settler:mud")["ph_cold"].to_numpy()
    assert (np.diff(ph) <= 1e-12).all()
    assert ph[-1] > 6.0


def _settler(ph, soured, to_fall):
    """Contents of a settler: rows are minutes, columns cells."""
    contents = []
    for cell in range(np.shape(ph)[1]):
        tracers = np.zeros((len(ph), len(Tracer)))
        for name, values in ((Tracer.PH, ph), (Tracer.SOURED, soured), (Tracer.TO_FALL, to_fall)):
            tracers[:, name] = np.asarray(values)[:, cell]
        contents.append(Content(tracers))
    return tuple(contents), contents[-1].tracers


def test_a_parcel_keeps_its_own_limed_ph_and_the_outlet_reads_the_last_tank():
    """A step of limed pH: juice limed at 8.3 in the first tank, at 7.5 in the last."""
    contents, leaving = _settler([[8.3, 7.9, 7.5]], [[0.0, 0.02, 0.05]], [[0.4, 0.2, 0.1]])
    ph, weight = settler_ph(contents, leaving, np.array([6.95]), None)
    # The reading stands for 0.9 of a fall of (7.5 - 0.05 - 6.95) / 0.9.
    np.testing.assert_allclose([p[0] for p in ph], [8.3 - 0.6 / 1.8, 7.88 - 0.8 / 1.8, 6.95])
    np.testing.assert_allclose([w[0] for w in weight], [0.6 / 0.9, 0.8 / 0.9, 1.0])


def test_in_a_stop_the_fall_goes_on_and_only_the_last_tank_follows_the_probe():
    same, done = np.full((2, 2), 7.5), np.array([[0.5, 0.2], [0.1, 0.05]])
    contents, leaving = _settler(same, [[0.0, 0.0], [0.03, 0.03]], done)
    last = np.array([0, 0])
    ph, weight = settler_ph(contents, leaving, np.array([7.0, 6.0]), last)
    whole = 0.5 / 0.8
    np.testing.assert_allclose(ph[0], [7.5 - 0.5 * whole, 7.47 - 0.9 * whole])
    np.testing.assert_allclose(ph[1], [7.0, 6.0])
    np.testing.assert_allclose(weight[0], [0.5 / 0.8, 0.9 / 0.8])


def test_only_a_probe_behind_the_settler_speaks_for_clear_juice():
    assert clear_weight("clear") == clear_weight("mud") == 1.0
    assert clear_weight("limed") == clear_weight("mixed") == 0.0


def test_rows_in_a_stop_point_at_the_last_that_flowed():
    flow = np.array([265.0, 265.0, 0.0, 10.0, 265.0, 0.0])
    np.testing.assert_array_equal(last_flowing(flow, 265.0), [0, 1, 1, 1, 4, 4])
    assert last_flowing(flow[:2], 265.0) is None
