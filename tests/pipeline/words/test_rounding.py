"""Digits shown follow the interval."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.words.rounding import (
    MISSING,
    bare_tonnes,
    fact_value,
    feed_share,
    money,
    percent,
    plain,
    quantity,
    tonnes,
)


@pytest.mark.parametrize(
    ("value", "low", "high", "said"),
    [
        (2.345, 1.2, 3.9, "2.3 t (1.2 to 3.9)"),
        (5.4, 2.0, 10.3, "5.4 t (2.0 to 10.3)"),
        (1.21, 0.5, 2.2, "1.2 t (0.5 to 2.2)"),
        (0.08, -0.02, 0.2, "0.08 t (-0.02 to 0.20)"),
        (1234.0, 600.0, 2500.0, "1,200 t (600 to 2,500)"),
        (0.0, 0.0, 0.0, "0.0 t (0.0 to 0.0)"),
        (-0.001, -0.4, 0.4, "0.0 t (-0.4 to 0.4)"),
    ],
)
def test_tonnes_show_what_is_known(value, low, high, said):
    assert tonnes(value, low, high) == said


def test_uncertainty_of_the_gum_example():
    """JCGM 100:2008 clause 7.2.6: 10.057 62 ohm with u = 27 mohm is 10.058 ohm (memory)."""
    assert quantity(10.05762, 10.05762 - 0.027, 10.05762 + 0.027, "ohm").startswith("10.058 ohm")


@pytest.mark.parametrize(("error", "said"), [(0.119, "0.83"), (0.367, "0.83"), (0.0967, "0.83")])
def test_rounding_rule_of_particle_data_group(error, said):
    """0.827 +- 0.119 is given as 0.83 +- 0.12 (Review of Particle Physics, memory).

    Its other example, +- 0.367, drops to 0.8; here the value keeps a second digit on purpose.
    """
    assert quantity(0.827, 0.827 - error, 0.827 + error, "").split(" ")[0] == said


def test_missing_numbers_are_said():
    assert tonnes(None, 1, 2) == MISSING
    assert tonnes(math.nan, 1, 2) == MISSING
    assert tonnes(math.inf, 1, 2) == MISSING
    assert tonnes(1.23, None, 2) == "1.2 t (no interval)"
    assert money("12", 1, 2, "USD") == MISSING
    assert percent(None) == MISSING


def test_money_has_separators_and_no_cents():
    assert money(1219.4, 624.0, 2028.0, "USD") == "USD 1,200 (600 to 2,000)"
    assert money(4.31, 3.9, 4.6, "USD") == "USD 4 (4 to 5)"
    assert money(1234567.0, None, None, "BRL") == "BRL 1,200,000 (no interval)"


def test_tonnes_and_money_side_by_side_agree():
    """A reader who multiplies the shown tonnes by the price must land within a twentieth."""
    for value in (0.11, 0.52, 0.95, 1.7, 4.9, 9.4, 31.0):
        mass = float(bare_tonnes(value, 0.3 * value, 2.1 * value).split(" ")[0])
        worth = money(520 * value, 156 * value, 1092 * value, "USD").split(" ")[1]
        assert mass * 520 == pytest.approx(float(worth.replace(",", "")), rel=0.06)


@given(st.floats(-1e6, 1e6, allow_nan=False), st.floats(1e-6, 1e6, allow_nan=False))
def test_rounding_moves_little_against_the_interval(value, half):
    said = quantity(value, value - half, value + half, "t").split(" ")[0]
    assert abs(float(said.replace(",", "")) - value) <= max(0.15 * half, 5e-7) + 1e-9


def test_facts_lose_empty_zeros():
    assert fact_value(0.04, "pH") == "0.04 pH"
    assert fact_value(31.27, "%") == "31.3 %"
    assert fact_value(1200.0, "m3") == "1,200 m³"
    assert fact_value(0, "h") == "0 h"
    assert fact_value(math.nan, "h") == ""
    assert fact_value(True, "h") == ""


def test_facts_are_no_finer_than_instruments():
    assert fact_value(0.0187, "pH") == "0.02 pH"
    assert fact_value(1.2345, "pH") == "1.23 pH"
    assert fact_value(97.456, "degC") == "97.5 °C"


def test_share_of_next_to_nothing_says_so():
    assert feed_share(0.412) == "0.41 %"
    assert feed_share(57.3) == "57 % (hardly any came in)"
    assert feed_share(None) == MISSING


def test_plain_never_writes_minus_zero():
    assert plain(-0.04, 1) == "0.0"
    assert plain(-12345.6, -2) == "-12,300"
