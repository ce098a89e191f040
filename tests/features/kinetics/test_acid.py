"""Souring by destroyed reducing sugars: formulas, later vessels, stops."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from features.base.station import Kinetics
from features.flow.minutes import derive
from features.flow.nominal import reference_acidities, usual_flow_m3_h
from features.flow.probes import region_of
from features.juice import density_kg_m3
from features.kinetics import acid


def _zone(derived, name):
    return derived.zone_minutes.filter(zone=name)


def test_lime_use_gives_the_buffer():
    """Eggleston 2003: 0.50-0.64 kg lime/t cane (confirmed); 1.1 t juice per t cane (memory)."""
    low, high = (acid.buffer_from_lime_meq_kg_ph(lime) for lime in (0.50, 0.64))
    assert low < acid.BUFFER_MEQ_KG_PH < high
    assert Kinetics().buffer_meq_kg_ph == acid.BUFFER_MEQ_KG_PH
    assert Kinetics().acid_per_hexose == acid.ACID_PER_HEXOSE


@given(st.floats(6.0, 8.5), st.floats(80.0, 115.0), st.floats(-1.0, 1.0), st.floats(0.0, 10.0))
def test_closed_form_is_the_integral_whatever_the_temperature(ph, temp, warming, hours):
    def fall(t, y):
        return [-acid.ph_fall_1_h(y[0], temp + warming * t, 27.0)]

    end = solve_ivp(fall, (0.0, hours), [ph], rtol=1e-9, atol=1e-11).y[0, -1]
    dose = quad(lambda t: acid.ph_fall_1_h(7.0, temp + warming * t, 27.0), 0.0, hours)[0]
    assert acid.ph_after_acid(ph, dose) == pytest.approx(end, abs=1e-6)


def test_juice_after_the_settler_sours_from_vessel_to_vessel(brindlewater, nominal_grid):
    z = derive(nominal_grid(), brindlewater).zone_minutes.group_by("zone").last()
    ph = dict(zip(z["zone"], z["ph_cold"], strict=True))
    assert 6.95 > ph["clear_juice_tank"] > ph["clear_juice_heater"] > ph["first_evaporator"] > 6.8
    # Before the settler it has been limed for a few minutes only.
    assert 7.48 < ph["flash_tank"] < ph["secondary_heater"] < 7.5
    assert ph["liming_tank"] == 7.5


def test_without_acid_the_read_ph_is_carried_as_it_is(brindlewater, nominal_grid):
    station = replace(brindlewater, kinetics=Kinetics(acid_per_hexose=0.0))
    z = derive(nominal_grid(), station).zone_minutes
    for name in ("clear_juice_tank", "clear_juice_heater", "first_evaporator"):
        assert z.filter(zone=name)["ph_cold"].to_numpy() == pytest.approx(6.95, abs=1e-9)


def _stopped(nominal_grid, stop_min, **columns):
    """Four hours of running, then everything stands."""
    flow = np.where(np.arange(240 + stop_min) < 240, 1.0, 0.0)
    columns |= {
        name: flow * value
        for name, value in {
            "flow_mixed_juice_m3_h": 265.0,
            "flow_settler_in_m3_h": 268.0,
            "flow_settler_mud_m3_h": 25.0,
            "flow_clear_juice_tank_out_m3_h": 243.0,
        }.items()
    }
    return nominal_grid(240 + stop_min, **columns)


def test_standing_tank_and_settler_sour_as_the_equation_says(brindlewater, nominal_grid):
    hours = 6
    derived = derive(_stopped(nominal_grid, 60 * hours), brindlewater)
    for name, temp in (("clear_juice_tank", 95.0), ("settler", 97.5)):
        ph = _zone(derived, name)["ph_cold"].to_numpy()
        start = ph[241]
        fall = solve_ivp(
            lambda t, y, temp=temp: [-acid.ph_fall_1_h(y[0], temp, 27.0432)],
            (0.0, hours - 2 / 60),
            [start],
            rtol=1e-9,
        ).y[0, -1]
        if name == "clear_juice_tank":
            assert ph[-1] == pytest.approx(fall, abs=0.01)
        else:
            # The outlet's cell, a third of it, shows what its probe reads; in the others the rest
            # of the fall from limed to clear comes on top of the acid.
            assert (2 * fall + start) / 3 - 0.1 < ph[-1] < (2 * fall + start) / 3 - 0.02
        assert ph[-1] < start - 0.1
    settler = _zone(derived, "settler")["loss_kg_h"].to_numpy()
    assert settler[-1] > 1.2 * settler[241]


def test_outlet_probe_in_a_stop_speaks_for_its_own_cell(brindlewater, nominal_grid):
    """The probe in a stagnant outlet goes astray: the rest of the settler does not follow."""
    reading = np.where(np.arange(240 + 180) < 240, 6.95, 5.95)
    steady = derive(_stopped(nominal_grid, 180), brindlewater)
    astray = derive(_stopped(nominal_grid, 180, ph_settler_out=reading), brindlewater)
    drop = _zone(steady, "settler")["ph_cold"][-1] - _zone(astray, "settler")["ph_cold"][-1]
    assert drop == pytest.approx(1.0 / 3.0, abs=0.01)
    # Juice already past the probe does not turn acid either.
    tank = _zone(steady, "clear_juice_tank")["ph_cold"][-1]
    assert _zone(astray, "clear_juice_tank")["ph_cold"][-1] == pytest.approx(tank, abs=0.01)


def test_flow_at_target_leaves_out_the_mud(brindlewater):
    flows = {v.name: usual_flow_m3_h(brindlewater, v) for v in brindlewater.vessels}
    assert flows["settler"] == 265.0
    # 25 m3/h of mud at 96 degC are 24.1 m3/h as fed at 30 degC.
    mud = 25.0 * density_kg_m3(14.5, 96.0) / density_kg_m3(14.5, 30.0)
    assert flows["clear_juice_tank"] == pytest.approx(265.0 - mud)
    halves = tuple(
        replace(v, step=5, name=f"{v.name}{i}", volume_m3=v.volume_m3 / 2)
        for v in brindlewater.of_kind("settler")
        for i in range(2)
    )
    twins = replace(brindlewater, vessels=halves)
    assert usual_flow_m3_h(twins, halves[0]) == pytest.approx(132.5)


def test_ph_at_target_starts_anew_at_probes(brindlewater):
    regions = {v.name: region_of(brindlewater, v) for v in brindlewater.vessels}
    acidity = reference_acidities(brindlewater, regions)
    ph = {name: -np.log10(value) for name, value in acidity.items()}
    assert ph["liming_tank"] == pytest.approx(7.5)
    assert 6.95 < ph["settler"] < 7.15
    # From the settler's outlet on it falls from vessel to vessel.
    assert 6.95 > ph["clear_juice_tank"] > ph["clear_juice_heater"] > ph["first_evaporator"] > 6.8
    without = replace(brindlewater, kinetics=Kinetics(acid_per_hexose=0.0))
    plain = reference_acidities(without, regions)
    assert plain["first_evaporator"] == pytest.approx(10.0**-6.95)
