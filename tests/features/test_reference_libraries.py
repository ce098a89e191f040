"""Formulas against general-purpose libraries, computed in the same run."""

from __future__ import annotations

import iapws
import numpy as np
import pint
import pytest
from chemicals import MW
from fluids.drag import v_terminal
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq
from thermo.electrochem import Laliberte_density, Laliberte_viscosity

from features.balance import pol
from features.flow import settling
from features.juice import boiling, juice
from features.kinetics import kinetics, loss

SUCROSE = "57-50-1"
unit = pint.UnitRegistry()


@pytest.mark.parametrize("temp_degc", [20.0, 40.0, 60.0, 80.0, 95.0, 99.0])
def test_water_density_and_viscosity_against_iapws95(temp_degc):
    water = iapws.IAPWS95(T=temp_degc + 273.15, P=0.101325)
    assert juice.density_water_kg_m3(temp_degc) == pytest.approx(water.rho, abs=0.02)
    assert juice.viscosity_water_mpa_s(temp_degc) == pytest.approx(1000 * water.mu, rel=5e-4)


@pytest.mark.parametrize("temp_degc", [20.0, 60.0, 90.0, 110.0, 150.0])
def test_vapour_pressure_against_iapws97(temp_degc):
    line = iapws.IAPWS97(T=temp_degc + 273.15, x=0)
    assert juice.saturation_pressure_kpa(temp_degc) == pytest.approx(1000 * line.P, rel=2e-4)
    assert boiling.water_boiling_degc(1000 * line.P) == pytest.approx(temp_degc, abs=0.01)


@pytest.mark.parametrize("temp_degc", [80.0, 95.0, 100.0, 110.0, 120.0])
def test_latent_heat_against_iapws97(temp_degc):
    kelvin = temp_degc + 273.15
    steam, water = iapws.IAPWS97(T=kelvin, x=1), iapws.IAPWS97(T=kelvin, x=0)
    assert boiling.latent_heat_kj_kg(temp_degc) == pytest.approx(steam.h - water.h, rel=0.005)


@pytest.mark.parametrize("temp_degc", [15.0, 25.0, 40.0, 55.0])
@pytest.mark.parametrize("brix_pct", [5.0, 15.0, 30.0, 50.0])
def test_juice_density_against_laliberte_2009(brix_pct, temp_degc):
    expected = Laliberte_density(temp_degc + 273.15, [brix_pct / 100], [SUCROSE])
    assert juice.density_kg_m3(brix_pct, temp_degc) == pytest.approx(expected, abs=0.4)


@pytest.mark.parametrize("temp_degc", [20.0, 35.0, 50.0])
def test_juice_viscosity_against_laliberte_2009(temp_degc):
    expected = 1000 * Laliberte_viscosity(temp_degc + 273.15, [0.15], [SUCROSE])
    assert juice.viscosity_mpa_s(15.0, temp_degc) == pytest.approx(expected, rel=0.03)


def test_invert_per_sucrose_from_molar_masses():
    glucose, fructose = MW("50-99-7"), MW("57-48-7")
    expected = (glucose + fructose) / MW(SUCROSE)
    assert pytest.approx(expected, rel=1e-5) == kinetics.INVERT_PER_SUCROSE
    assert pol.pol_lost_per_sucrose(0.0) == 1.0


def test_stoichiometric_floor_of_lactic_acid_from_molar_masses():
    per_acid = MW(SUCROSE) / (4 * MW("50-21-5"))
    assert per_acid == pytest.approx(0.95, abs=0.001)
    assert kinetics.microbial_floor_kg(1000.0, 1000.0, per_acid) == pytest.approx(per_acid)


def test_boiling_point_solves_activity_times_pressure():
    def miss(temp_degc):
        pressure = 1000 * iapws.IAPWS97(T=temp_degc + 273.15, x=0).P
        return boiling.water_activity(40.0, temp_degc) * pressure - 101.325

    assert boiling.boiling_degc(40.0) == pytest.approx(brentq(miss, 95.0, 110.0), abs=0.01)


def test_flash_closes_the_heat_balance_with_iapws_latent_heat():
    boil = boiling.boiling_degc(14.0)
    kelvin = boil + 273.15
    latent = iapws.IAPWS97(T=kelvin, x=1).h - iapws.IAPWS97(T=kelvin, x=0).h
    heat, _ = quad(lambda t: juice.specific_heat_kj_kg_k(14.0, t, 85.0), boil, 103.0)
    assert boiling.flash_fraction(103.0, 14.0, purity_pct=85.0) == pytest.approx(
        heat / latent, rel=0.002
    )


@pytest.mark.parametrize("kr", [0.0, 0.001, 0.01, 0.5])
def test_two_first_order_steps_against_solve_ivp(kr):
    kv, hours = 0.001, 6.0

    def rates(_t, y):
        return [-kv * y[0], kinetics.INVERT_PER_SUCROSE * kv * y[0] - kr * y[1]]

    end = solve_ivp(rates, (0, hours), [100.0, 4.0], rtol=1e-10, atol=1e-12).y[:, -1]
    assert kinetics.sucrose_after(100.0, kv, hours) == pytest.approx(end[0], rel=1e-8)
    assert kinetics.rs_after(100.0, 4.0, kv, kr, hours) == pytest.approx(end[1], rel=1e-8)


@pytest.mark.parametrize("tanks", [1, 2, 5, 10])
def test_series_conversion_by_quadrature_of_the_age_distribution(tanks):
    from scipy.stats import gamma

    left, _ = quad(lambda t: gamma.pdf(t, tanks, scale=1 / tanks) * np.exp(-0.5 * t), 0, np.inf)
    assert loss.series_conversion(0.5, tanks) == pytest.approx(1 - left, rel=1e-6)


def test_lone_particle_is_never_faster_than_stokes_with_full_drag():
    small = 3600 * v_terminal(D=100e-6, rhop=1050.0, rho=1000.0, mu=0.42e-3)
    floc = 3600 * v_terminal(D=500e-6, rhop=1024.0, rho=1014.0, mu=0.407e-3)
    assert settling.stokes_velocity_m_h(100.0, 50.0, 0.42) == pytest.approx(small, rel=0.03)
    assert settling.stokes_velocity_m_h(500.0, 10.0, 0.407) > 1.2 * floc


def test_units_by_pint():
    flow, area = 243 * unit.meter**3 / unit.hour, 95 * unit.meter**2
    assert settling.overflow_velocity_m_h(243.0, 95.0) == pytest.approx(
        (flow / area).to("meter/hour").magnitude
    )
    water = juice.water_content_kg_m3(15.0, 98.0) * unit.kilogram / unit.meter**3
    assert juice.water_content_g_ml(15.0, 98.0) == pytest.approx(
        water.to("gram/milliliter").magnitude
    )
    dose = (900 * unit.liter / unit.hour * 1.0 * unit.gram / unit.liter) / (
        268 * unit.meter**3 / unit.hour * juice.density_kg_m3(14.5, 98.0) * unit.kg / unit.m**3
    )
    assert settling.flocculant_dose_mg_kg(900.0, 1.0, 268.0, 14.5, 98.0) == pytest.approx(
        dose.to("milligram/kilogram").magnitude
    )
    held = 140 * 0.45 * unit.meter**3 / (25 * unit.meter**3 / unit.hour)
    assert settling.mud_residence_min(140.0, 45.0, 25.0) == pytest.approx(
        held.to("minute").magnitude
    )
