"""pH inside vessels: the early fall in a settler, the shift in an evaporator, mud that ages."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from features.flow.minutes import derive
from features.flow.vessel_ph import clear_weight, fall_left, reference_acidity, standing_in


def _last(derived, zone, column="ph_cold"):
    return derived.zone_minutes.filter(zone=zone)[column][-1]


def _with(station, name, **changes):
    vessels = tuple(replace(v, **changes) if v.name == name else v for v in station.vessels)
    return replace(station, vessels=vessels)


@pytest.mark.parametrize(("minutes", "tanks", "fall_min"), [(80.0, 3, 20.0), (60.0, 1, 5.0)])
def test_share_left_is_the_mean_over_the_ages_of_a_stirred_tank(minutes, tanks, fall_min):
    tau = minutes / tanks
    mean = quad(lambda age: np.exp(-age / fall_min) * np.exp(-age / tau) / tau, 0.0, np.inf)[0]
    assert fall_left(minutes, tanks, fall_min) == pytest.approx(mean, rel=1e-6)


def test_ph_falls_early_and_the_last_cell_is_what_the_probe_reads():
    left = fall_left(80.0, 3, 20.0)
    weights = [clear_weight("settler", cell, 3, left) for cell in range(3)]
    assert weights[-1] == 1.0
    steps = np.diff([0.0, *weights])
    assert (steps > 0.0).all()
    np.testing.assert_allclose(steps[1:] / steps[:-1], left)
    assert steps[0] > 0.5
    assert clear_weight("clear", 0, 1, left) == clear_weight("mud", 0, 1, left) == 1.0
    assert clear_weight("limed", 0, 1, left) == 0.0


def test_a_slower_fall_leaves_the_settler_nearer_to_the_limed_juice(brindlewater, nominal_grid):
    grid = nominal_grid()
    quick, slow = (
        derive(grid, _with(brindlewater, "settler", ph_fall_min=minutes))
        for minutes in (5.0, 200.0)
    )
    assert 6.95 < _last(quick, "settler") < _last(slow, "settler") < 7.5
    assert _last(quick, "settler", "loss_kg_h") > 1.1 * _last(slow, "settler", "loss_kg_h")
    # At target, whatever the fall, the station is at its reference.
    assert _last(quick, "settler", "f_ph") == pytest.approx(1.0, abs=1e-9)
    assert _last(slow, "settler", "f_ph") == pytest.approx(1.0, abs=1e-9)


def test_evaporator_shift_moves_ph_and_reference_alike(brindlewater, nominal_grid):
    grid = nominal_grid()
    plain = derive(grid, brindlewater)
    shifted = derive(grid, _with(brindlewater, "first_evaporator", ph_shift=-0.3))
    fall = _last(plain, "first_evaporator") - _last(shifted, "first_evaporator")
    assert fall == pytest.approx(0.3)
    loss = [_last(d, "first_evaporator", "loss_kg_h") for d in (plain, shifted)]
    assert loss[1] / loss[0] == pytest.approx(10.0**0.3, rel=1e-6)
    factors = [_last(d, "first_evaporator", "f_ph") for d in (plain, shifted)]
    assert factors[1] == pytest.approx(factors[0])


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


def test_reference_acidity_is_the_mean_over_cells():
    ph = (5.2, 7.5, 6.95)
    left = fall_left(80.0, 3, 20.0)
    cells = [7.5 + clear_weight("settler", c, 3, left) * (6.95 - 7.5) for c in range(3)]
    found = reference_acidity("settler", 3, ph, left=left)
    assert found == pytest.approx(np.mean([10.0**-p for p in cells]))
    assert reference_acidity("mixed", 1, ph) == pytest.approx(10.0**-5.2)
    assert reference_acidity("mud", 1, ph, mud_drop=0.2) == pytest.approx(10.0**-6.75)
    sour = reference_acidity("clear", 2, ph, soured=(0.1, 0.05))
    assert 10.0**-6.95 < sour < 10.0 ** -(6.95 - 0.2)


def test_stops_hold_the_reading_and_count_the_souring():
    flow = np.array([265.0, 265.0, 0.0, 10.0, 265.0, 0.0])
    probe = np.array([7.0, 6.9, 6.5, 6.4, 6.8, 6.3])
    found = standing_in(flow, 265.0, probe, np.full(6, 0.001))
    np.testing.assert_allclose(found.ph_read, [7.0, 6.9, 6.9, 6.9, 6.8, 6.8])
    np.testing.assert_allclose(found.soured, [0.0, 0.0, 0.001, 0.002, 0.0, 0.001], atol=1e-15)
    assert standing_in(flow[:2], 265.0, probe[:2], np.full(2, 0.001)) is None
