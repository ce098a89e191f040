"""Units as people write them, against factors of NIST SP 811 (2008), appendix B.8 and B.9."""

import pytest

from pipeline.mill.pressures import pressure_change
from pipeline.mill.unit_checks import unit_fault
from pipeline.mill.units import is_unit, lab_change, signal_change

#: Inside units of one of these, from NIST SP 811 unless it says otherwise.
FLOW_M3_H = {
    "ft3/min": 4.719474e-4 * 3600, "cfm": 4.719474e-4 * 3600, "gal/min": 6.309020e-5 * 3600,
    "cubic feet per minute": 4.719474e-4 * 3600, "l/seg": 3.6, "litros por segundo": 3.6,
    "m³/hora": 1.0, "m³/Std": 1.0, "m³·h⁻¹": 1.0, "m3.h-1": 1.0, "cubic metres per hour": 1.0,
    "metros cúbicos por hora": 1.0, "mètres cubes par heure": 1.0, "Kubikmeter pro Stunde": 1.0,
    "m³/dia": 1 / 24, "m3/jour": 1 / 24, "hL/h": 0.1, "imp gal/min": None, "ton/h": None,
    "barrels/h": None, "m3": None, "m/h": None,
}  # fmt: skip
PRESSURE_KPA = {
    "hPa": 0.1, "mbar": 0.1, "atm": 101.325, "mmHg": 0.1333224, "inHg": 3.386389, "at": 98.0665,
    "lbf/in2": 6.894757, "kgf/cm²": 98.0665, "m.c.a.": 9.80665, "MPa": 1000.0,
}  # fmt: skip


@pytest.mark.parametrize(("unit", "factor"), FLOW_M3_H.items())
def test_flows(unit, factor):
    change = signal_change("flow", unit)
    assert (change and change.scale) == (factor and pytest.approx(factor, rel=1e-6))


@pytest.mark.parametrize(("unit", "factor"), PRESSURE_KPA.items())
def test_pressures(unit, factor):
    change, kind = pressure_change(unit)
    assert (change.scale, change.offset, kind) == (pytest.approx(factor, rel=1e-6), 0.0, "")


@pytest.mark.parametrize(
    "unit",
    ["kPag", "kPa(g)", "kPa [g]", "kPa gauge", "kPa-g", "kPa_g", "kPa man.", "kPa rel", "kPa ü",
     "kPa manométrica"],
)  # fmt: skip
def test_gauge_is_another_unit_than_absolute(unit):
    change, kind = pressure_change(unit, 90.0)
    assert (change.apply(10.0), kind) == (100.0, "gauge")
    for absolute in ("kPa abs", "kPaa", "kPa(a)", "kPa absolute"):
        assert pressure_change(absolute, 90.0) == (type(change)(), "absolute")


@pytest.mark.parametrize(
    "unit",
    ["ºF", "°F", "℉", "deg F", "deg. F", "Grad F", "grados F", "Fahrenheit", "degrés F", "graus F"],
)
def test_degrees(unit):
    change = signal_change("temperature", unit)
    assert change.apply(212.0) == pytest.approx(100.0)  # NIST SP 811, B.9
    assert signal_change("temperature", unit.replace("F", "X").replace("℉", "X")) is None


def test_shares_and_what_is_none():
    assert lab_change("rs", "g/100 g").scale == 1.0
    assert lab_change("rs", "% m/m").scale == 1.0
    for unit in ("g/L", "g/100 mL", "% on Brix", "ppm"):
        assert lab_change("rs", unit) is None, unit
    assert lab_change("rs", "% on Brix", "solids").scale == 1.0
    assert lab_change("rs", "g/100 g Bx", "solids").scale == 1.0
    assert lab_change("rs", "% pol", "pol").scale == 1.0
    for basis in ("juice", "pol"):
        assert lab_change("rs", "g/100 g Bx", basis) is None
    assert lab_change("rs", "% on juice", "solids") is None
    assert lab_change("rs", "%", "solids").scale == 1.0  # says nothing of it
    assert lab_change("pol", "% pol") is None
    assert signal_change("level", "0..1").scale == 100.0
    for unit in ("m", "mm", "mA", "counts"):
        assert signal_change("level", unit) is None, unit


def test_words_of_tables_are_no_units():
    for text in ("Feed", "Quality", "Tag", "min", "in", "Average", "Status", "day", "date", "",
                 "Mixed juice flow", "A", "raw", "s"):  # fmt: skip
        assert not is_unit(text), text
    for text in ("mA", "counts", "kPa(g)", "°F", "t/h", "m³/hora", "% w/w", "°Bx", "pH", "NTU"):
        assert is_unit(text), text


def test_no_unit_is_guessed_from_one_that_only_looks_alike():
    fault = unit_fault('tag."ST.FI301"', "bbl/h", "flow")
    assert "Did you mean" not in fault.cure
    assert '"m3/h"' in fault.cure
