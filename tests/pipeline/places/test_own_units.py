"""Units as exported, and guessed from the level."""

import numpy as np
import pytest
from made_looks import look_of

from pipeline.places.own_units import has_unit, inside_value, is_height, is_mass, units_for


def look(unit, level=100.0):
    return look_of("x", 60.0 * np.arange(100.0), np.full(100, level), unit)


def test_mass_of_juice_becomes_volume():
    # A juice of 14.5 Brix at 35 degC weighs some 1050 kg/m3 (common practice).
    assert is_mass("flow", "t/h")
    assert not is_mass("flow", "m3/h")
    assert inside_value(look("t/h"), "flow", 105.0) == pytest.approx(100.0, rel=0.02)


def test_a_height_says_no_level():
    assert is_height("level", "m")
    assert not is_height("level", "%")
    assert units_for(look("m"), "level")[0].flat
    assert units_for(look("m"), "temperature") == ()


@pytest.mark.parametrize("unit", ["", "-", "N/A", "None"])
def test_what_is_no_unit_leaves_all_open(unit):
    assert not has_unit(look(unit))
    assert {"degC", "degF"} <= {own.unit for own in units_for(look(unit), "temperature")}


def test_a_guessed_unit_turns_values():
    # 217 degF are 102.8 degC (exact: (F - 32) 5/9).
    assert inside_value(look(""), "temperature", 217.0, "degF") == pytest.approx(102.78, abs=0.01)
    assert inside_value(look(""), "temperature", 217.0) == 217.0
