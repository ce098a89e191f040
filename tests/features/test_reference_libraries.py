"""Formulas against general-purpose libraries, computed in the same run."""

from __future__ import annotations

import iapws
import pint
import pytest
from chemicals import MW
from scipy.optimize import brentq
from thermo.electrochem import Laliberte_density, Laliberte_viscosity

from features.balance import pol
from features.base.station import Kinetics
from features.flow import settling
from features.juice import boiling, juice, steam
from features.kinetics import kinetics

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
    assert steam.saturation_pressure_kpa(temp_degc) == pytest.approx(1000 * line.P, rel=1e-9)
    assert boiling.boiling_degc(0.0, 1000 * line.P) == pytest.approx(temp_degc, abs=1e-5)


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


def test_lactic_acid_costs_no_less_sucrose_than_its_molar_masses_say():
    per_acid = MW(SUCROSE) / (4 * MW("50-21-5"))
    assert per_acid == pytest.approx(0.95, abs=0.001)
    assert Kinetics().sucrose_per_lactic_kg_kg > per_acid


def test_boiling_point_solves_activity_times_pressure():
    def miss(temp_degc):
        pressure = 1000 * iapws.IAPWS97(T=temp_degc + 273.15, x=0).P
        return boiling.water_activity(40.0, temp_degc) * pressure - 101.325

    assert boiling.boiling_degc(40.0) == pytest.approx(brentq(miss, 95.0, 110.0), abs=0.01)


@pytest.mark.parametrize("temp_degc", [105.0, 115.0, 130.0])
def test_density_may_be_carried_to_130_degc(temp_degc):
    """Evaporators run above the 105 degC that the polynomial is stated for."""
    water = iapws.IAPWS97(T=temp_degc + 273.15, x=0)
    assert juice.density_water_kg_m3(temp_degc) == pytest.approx(water.rho, abs=0.1)
    # What 20 % of sucrose add, by another formula carried on as far (Laliberte 2009): within 2 %.
    kelvin = temp_degc + 273.15
    added = Laliberte_density(kelvin, [0.2], ["57-50-1"]) - Laliberte_density(kelvin, [], [])
    found = juice.density_kg_m3(20.0, temp_degc) - juice.density_water_kg_m3(temp_degc)
    assert found == pytest.approx(added, rel=0.02)


def test_units_by_pint():
    flow, area = 243 * unit.meter**3 / unit.hour, 95 * unit.meter**2
    assert settling.overflow_velocity_m_h(243.0, 95.0) == pytest.approx(
        (flow / area).to("meter/hour").magnitude
    )
    water = juice.water_content_kg_m3(15.0, 98.0) * unit.kilogram / unit.meter**3
    assert juice.water_content_g_ml(15.0, 98.0) == pytest.approx(
        water.to("gram/milliliter").magnitude
    )
