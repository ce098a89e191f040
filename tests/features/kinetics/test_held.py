"""Holds against scipy's integration of the coupled equations."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from features.base.station import Kinetics
from features.juice.juice import density_kg_m3
from features.kinetics.held import hold

GAS, HEXOSE, SUCROSE = 8.31446261815324, 180.156, 342.297


def _integrated(ph, temp, brix, rs_pct, hours, cooling, purity):
    """Sucrose left, reducing sugars and pH by the equations written out anew.

    Vukov 1965 with pH -0.006/K (memory, estimate); reducing sugars 1 and 3 %/h at pH 7 and 8
    (common practice) with 140.2 kJ/mol (Nolasco 2006, confirmed); acid 1.4 per hexose (estimate),
    buffer 8 meq/kg/pH at 14.5 Brix (computed).
    """

    def rates(t, y):
        now = temp - cooling * t
        water = density_kg_m3(brix, now) / 1000.0 * (1.0 - brix / 100.0)
        hot = y[2] - 0.006 * (now - 25.0)
        k = 60.0 * 10.0 ** (16.91 + np.log10(water) - 5670.0 / (now + 273.15) - hot)
        kr = 0.01 * 3.0 ** (y[2] - 7.0)
        kr *= np.exp(-140_200.0 / GAS * (1.0 / (now + 273.15) - 1.0 / 370.15))
        hexose = y[1] * brix * purity / 1e4 * 1e6 / HEXOSE
        return [
            -k * y[0],
            2 * HEXOSE / SUCROSE * k * y[0] - kr * y[1],
            -kr * hexose * 1.4 / (8.0 * brix / 14.5),
        ]

    start = [1.0, rs_pct / 100.0, ph]
    return solve_ivp(rates, (0.0, hours), start, rtol=1e-11, atol=1e-13).y[:, -1]


def _holds():
    """Random ordinary and rough holds, all within the range of the equations."""
    rng = np.random.default_rng(7)
    low = np.array([6.2, 75.0, 8.0, 1.0, 0.1, 0.0, 75.0])
    high = np.array([8.5, 115.0, 60.0, 8.0, 24.0, 1.5, 95.0])
    return [tuple(case) for case in rng.uniform(low, high, (40, 7))]


@pytest.mark.parametrize("case", _holds(), ids=range(40))
def test_within_a_thousandth_of_the_coupled_equations(case):
    ph, temp, brix, rs_pct, hours, cooling, purity = case
    found = hold(ph, temp, brix, rs_pct, hours, cooling_k_h=cooling, purity_pct=purity)
    sucrose, reducing, ph_end = _integrated(*case)
    assert found.sucrose_lost_pct == pytest.approx(100.0 * (1.0 - sucrose), rel=1e-3)
    assert found.rs_left_pct == pytest.approx(100.0 * reducing, rel=1e-4)
    assert found.ph_end == pytest.approx(ph_end, abs=1e-4)
    assert found.temp_end_degc == pytest.approx(temp - cooling * hours)


def test_without_acid_it_is_the_closed_form():
    site = Kinetics(acid_per_hexose=0.0)
    found = hold(7.0, 97.0, 14.5, 4.0, 5.0, kinetics=site)
    rate = float(hold(7.0, 97.0, 14.5, 4.0, 1e-3, kinetics=site).sucrose_lost_pct) / 100.0 * 1e3
    # Two first-order steps in a row, written out: 1 %/h of the reducing sugars go (pH 7, 97 degC).
    sucrose, going = np.exp(-rate * 5.0), np.exp(-0.01 * 5.0)
    assert found.sucrose_lost_pct == pytest.approx(100.0 * (1.0 - sucrose), rel=1e-6)
    formed = 100.0 * (2 * HEXOSE / SUCROSE) * rate * (sucrose - going) / (0.01 - rate)
    assert found.rs_left_pct == pytest.approx(4.0 * going + formed, rel=1e-6)
    assert found.ph_end == 7.0


def test_reducing_sugars_can_fall_while_sucrose_inverts():
    found = hold(7.2, 97.0, 14.5, 4.0, 2.0)
    assert found.sucrose_lost_pct > 0.0
    assert found.rs_left_pct < 4.0


def test_souring_hastens_the_loss():
    hours = np.array([0.0, 1.0, 4.0, 12.0])
    sour = hold(7.0, 97.0, 14.5, 4.0, hours)
    site = Kinetics(acid_per_hexose=0.0)
    flat = hold(7.0, 97.0, 14.5, 4.0, hours, kinetics=site)
    assert sour.sucrose_lost_pct[0] == 0.0
    assert (np.diff(sour.ph_end) < 0.0).all()
    extra = sour.sucrose_lost_pct[1:] / flat.sucrose_lost_pct[1:]
    assert (np.diff(extra) > 0.0).all()
    assert extra[0] > 1.0


def test_cooling_saves_and_the_multiplier_scales():
    warm, cooled = hold(
        7.0, 97.0, 14.5, 4.0, 6.0, cooling_k_h=np.array([0.0, 2.0])
    ).sucrose_lost_pct
    assert cooled < 0.7 * warm
    twice = hold(7.0, 97.0, 14.5, 4.0, 6.0, multiplier=2.0).sucrose_lost_pct
    assert twice == pytest.approx(2.0 * warm, rel=0.01)


def test_arguments_broadcast():
    found = hold(np.array([[6.8], [7.0]]), 97.0, 14.5, 4.0, np.array([1.0, 2.0, 3.0]))
    assert found.ph_end.shape == found.rs_made_pct.shape == (2, 3)
    one = hold(6.8, 97.0, 14.5, 4.0, 2.0)
    assert found.sucrose_lost_pct[0, 1] == pytest.approx(float(one.sucrose_lost_pct), rel=1e-6)


@pytest.mark.parametrize("hours", [-1.0, 241.0, np.nan])
def test_impossible_holds_are_refused(hours):
    with pytest.raises(ValueError, match="hours must be from 0 to 240"):
        hold(7.0, 97.0, 14.5, 4.0, hours)
    with pytest.raises(ValueError, match="Brix must lie"):
        hold(7.0, 97.0, 0.0, 4.0, 1.0)
