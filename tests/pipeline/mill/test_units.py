"""Unit changes, checked against pint (a units library of its own) and the defining constants."""

import pint
import pytest

from features.base.station import QUANTITY_COLUMNS
from pipeline.mill.units import lab_change, plain_unit, signal_change, units_of

UREG = pint.UnitRegistry()
Q = UREG.Quantity

# quantity, our spelling, pint's unit, pint's inside unit
AGAINST_PINT = [
    ("flow", "m3/s", "m**3/s", "m**3/h"),
    ("flow", "m3/min", "m**3/min", "m**3/h"),
    ("flow", "m3/d", "m**3/day", "m**3/h"),
    ("flow", "L/s", "L/s", "m**3/h"),
    ("flow", "l/min", "L/min", "m**3/h"),
    ("flow", "gpm", "gallon/min", "m**3/h"),
    ("lime_flow", "m³/h", "m**3/h", "L/h"),
    ("lime_flow", "mL/min", "mL/min", "L/h"),
    ("flocculant_flow", "L/h", "L/h", "L/h"),
    ("temperature", "K", "kelvin", "degC"),
    ("temperature", "°F", "degF", "degC"),
    ("temperature", "degF", "degF", "degC"),
    ("cane_rate", "kg/s", "kg/s", "t/h"),
    ("cane_rate", "t/d", "t/day", "t/h"),
    ("cane_rate", "short ton/h", "short_ton/h", "t/h"),
    ("steam_pressure", "bar", "bar", "kPa"),
    ("steam_pressure", "MPa", "MPa", "kPa"),
    ("steam_pressure", "psi", "psi", "kPa"),
    ("steam_pressure", "kgf/cm²", "kgf/cm**2", "kPa"),
    ("conductivity", "µS/cm", "uS/cm", "mS/cm"),
    ("conductivity", "S/m", "S/m", "mS/cm"),
    ("conductivity", "mS/m", "mS/m", "mS/cm"),
]


@pytest.mark.parametrize(("quantity", "unit", "theirs", "inside"), AGAINST_PINT)
def test_changes_agree_with_pint(quantity, unit, theirs, inside):
    change = signal_change(quantity, unit)
    for value in (12.5, 140.0):
        expected = Q(value, theirs).to(inside).magnitude
        assert change.apply(value) == pytest.approx(expected, rel=2e-7)


@pytest.mark.parametrize(
    ("unit", "absolute"), [("kPag", "kPa"), ("bar(g)", "bar"), ("psig", "psi")]
)
def test_gauge_pressures_add_the_standard_atmosphere(unit, absolute):
    # 101 325 Pa: standard atmosphere, Resolution 4 of the 10th CGPM (1954).
    added = signal_change("steam_pressure", unit).apply(1.0)
    assert added - signal_change("steam_pressure", absolute).apply(1.0) == pytest.approx(101.325)


def test_lab_units():
    assert lab_change("rs", "mg/kg").apply(8000.0) == pytest.approx(0.8)
    assert lab_change("lactic", "g/kg").apply(0.3) == pytest.approx(300.0)
    assert lab_change("purity", "fraction").apply(0.84) == pytest.approx(84.0)
    assert lab_change("lactic", "mg/L") is None


@pytest.mark.parametrize("quantity", [q for q in QUANTITY_COLUMNS if q != "other"])
def test_every_quantity_knows_units_and_refuses_nonsense(quantity):
    assert any(signal_change(quantity, unit).scale == 1.0 for unit in units_of(quantity))
    assert signal_change(quantity, "furlong") is None


def test_other_quantities_stay_as_exported():
    assert signal_change("other", "anything").apply(3.0) == 3.0


def test_spelling_does_not_matter():
    assert plain_unit(" M³ / H ") == "m3/h"
    assert plain_unit("° C") == "degc"
