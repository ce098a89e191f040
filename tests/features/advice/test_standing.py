"""Standing juice against closed forms, against scipy, and in direction."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from features.advice.standing import COOLEST_DEGC, LOWEST_PH, Juice, stand
from features.base.station import Kinetics
from features.kinetics.kinetics import inversion_1_h, ph_at_process, rs_destruction_1_h
from features.kinetics.prior import Prior, published

#: Nothing sours: the rate stays what it is at the start.
NO_ACID = Prior(replace(published().kinetics, acid_per_hexose=0.0))
CLEAR = Juice(6.9, "cold", 97.0, 15.0)


def test_without_acid_the_loss_is_an_exponential():
    hot = ph_at_process(6.9, 97.0)
    rate = inversion_1_h(hot, 97.0, 15.0)
    found = stand(CLEAR, 8.0, NO_ACID)
    for moment in found.moments:
        expected = -100.0 * np.expm1(-rate * moment.hours)
        assert moment.lost_pct.value == pytest.approx(expected, rel=1e-9, abs=1e-12)
    assert found.hours_to_tenth_pct == pytest.approx(-np.log(0.999) / rate, rel=1e-8)
    # Stoichiometry, computed from molar masses: 2 x 180.156 / 342.297.
    assert found.end.rs_made_pct.value == pytest.approx(
        1.05263 * found.end.lost_pct.value, rel=1e-5
    )
    assert found.end.ph.value == 6.9


def _by_scipy(juice, hours, kinetics=None):
    """The same equations, integrated by somebody else; state: sucrose, sugars, cold pH."""
    site = kinetics or Kinetics()
    cold = juice.ph
    if juice.basis == "hot":
        cold -= site.ph_slope * (juice.temp_degc - 25.0)
    meq_per_share = juice.purity_pct / 100.0 * 14.5 * 10.0 / 180.156 * 1000.0 * site.acid_per_hexose

    def temp(t):
        return max(juice.temp_degc - juice.cooling_k_h * t, COOLEST_DEGC)

    def change(t, y):
        hot = y[2] + site.ph_slope * (temp(t) - 25.0)
        inverted = inversion_1_h(hot, temp(t), juice.brix_pct) * y[0]
        destroyed = rs_destruction_1_h(y[2], temp(t)) * y[1]
        acid = destroyed * meq_per_share
        return [-inverted, 2 * 180.156 / 342.297 * inverted - destroyed, -acid / 8.0]

    return solve_ivp(
        change,
        (0.0, hours),
        [1.0, 0.04, cold],
        rtol=1e-10,
        atol=1e-12,
        max_step=0.2,
        dense_output=True,
    ).sol


@pytest.mark.parametrize(
    ("juice", "hours"),
    [
        (CLEAR, 8.0),
        (replace(CLEAR, cooling_k_h=1.5), 8.0),
        (Juice(7.8, "cold", 105.0, 15.0), 3.5),
        (Juice(6.4, "hot", 97.0, 20.0, 2.0), 12.0),
        (Juice(7.0, "cold", 97.0, 60.0), 24.0),
        (Juice(7.2, "cold", 80.0, 15.0, 10.0), 20.0),
    ],
    ids=["constant", "cooling", "limed hot", "hot basis", "thick", "to ambient"],
)
def test_course_is_that_of_scipy(juice, hours):
    found, reference = stand(juice, hours, published()), _by_scipy(juice, hours)
    for moment in found.moments:
        sucrose, _sugars, cold = reference(moment.hours)
        basis = cold
        if juice.basis == "hot":
            basis = cold - 0.006 * (moment.temp_degc - 25.0)
        lost = 100.0 * (1.0 - sucrose)
        assert moment.lost_pct.value == pytest.approx(lost, rel=1e-4, abs=1e-7)
        assert moment.ph.value == pytest.approx(basis, abs=1e-4)
    assert [m.hours for m in found.moments][:3] == [0.0, 1.0, 2.0]
    assert found.end.hours == hours


@pytest.mark.parametrize("cooling", [0.0, 0.5])
def test_hours_to_a_tenth_of_a_percent_are_those_of_scipy(cooling):
    juice = replace(CLEAR, cooling_k_h=cooling)
    reference = _by_scipy(juice, 10.0)
    expected = brentq(lambda t: 100.0 * (1.0 - reference(t)[0]) - 0.1, 0.0, 10.0)
    assert stand(juice, 0.2, published()).hours_to_tenth_pct == pytest.approx(expected, rel=1e-4)


def test_juice_that_cools_in_time_never_loses_a_tenth():
    found = stand(replace(CLEAR, ph=7.3, cooling_k_h=40.0), 2.0, published())
    assert found.hours_to_tenth_pct is None
    assert found.end.temp_degc == COOLEST_DEGC


def test_three_hours_at_100_degc_are_dangerous_as_was_published():
    # van Hengel 1962 (confirmed): under 0.1 %/h counts as safe; clear juice of
    # pH 6.8 to 7.0 held at 100 degC for 3 h was often called dangerous.
    found = stand(Juice(6.9, "cold", 100.0, 15.0), 3.0, published())
    in_one_hour = found.moments[1].lost_pct
    assert in_one_hour.low < 0.1 < in_one_hour.high


def test_ph_falls_by_a_twentieth_an_hour():
    # 1 % of 4 % reducing sugars an hour (common practice), 1.4 acids each, 8 meq/kg/pH: computed.
    found = stand(Juice(7.0, "cold", 97.0, 14.5), 1.0, published())
    expected = 14.5 * 84.0 * 4.0 / 180.156 * 0.01 * 1.4 / 8.0
    assert 7.0 - found.end.ph.value == pytest.approx(expected, rel=0.05)
    thick = stand(Juice(7.0, "cold", 97.0, 60.0), 1.0, published())
    assert thick.end.ph.value == pytest.approx(found.end.ph.value, abs=1e-3)


@settings(max_examples=6, deadline=None)
@given(
    st.floats(4.0, 9.0),
    st.sampled_from(["cold", "hot"]),
    st.floats(20.0, 130.0),
    st.floats(0.5, 79.0),
    st.floats(0.05, 3.0),
    st.floats(0.0, 100.0),
)
def test_whatever_is_asked_the_answer_makes_sense(ph, basis, temp, brix, hours, cooling):
    found = stand(Juice(ph, basis, temp, brix, cooling), hours, published())
    lost = [moment.lost_pct for moment in found.moments]
    assert all(0.0 <= one.low <= one.value <= one.high <= 100.0 for one in lost)
    assert all(a.value <= b.value + 1e-6 for a, b in pairwise(lost))
    assert all(LOWEST_PH - 1.5 < m.ph.low <= m.ph.high <= 9.7 for m in found.moments)
    assert COOLEST_DEGC <= found.end.temp_degc <= temp


@pytest.mark.slow
@given(st.floats(0.05, 0.4))
@settings(max_examples=5, deadline=None)
def test_sourer_hotter_and_longer_lose_more(step):
    base = stand(CLEAR, 2.0, published()).end.lost_pct.value
    for other in (replace(CLEAR, ph=6.9 - step), replace(CLEAR, temp_degc=97.0 + 10 * step)):
        assert stand(other, 2.0, published()).end.lost_pct.value > base
    assert stand(CLEAR, 2.0 + step, published()).end.lost_pct.value > base


def test_a_hot_reading_leaves_the_slope_out():
    cold = stand(CLEAR, 8.0, published()).end.lost_pct
    hot = stand(Juice(6.9 - 0.006 * 72.0, "hot", 97.0, 15.0), 8.0, published()).end.lost_pct
    assert hot.value == pytest.approx(cold.value, rel=1e-9)
    assert hot.high / hot.low < 0.9 * cold.high / cold.low


def test_a_fitted_multiplier_narrows_juice_as_hot_as_the_fit():
    kinetics = Kinetics(multiplier=2.0, multiplier_log_sd=0.1)
    free = stand(CLEAR, 4.0, Prior(kinetics)).end.lost_pct
    fitted = stand(CLEAR, 4.0, Prior(kinetics, fitted_at_degc=97.0)).end.lost_pct
    known = replace(kinetics, ph_slope_sd=0.0)
    exact = stand(CLEAR, 4.0, Prior(known)).end.lost_pct
    assert fitted.high / fitted.low == pytest.approx(exact.high / exact.low, rel=0.02)
    assert free.high / free.low > 2.0 * fitted.high / fitted.low


def test_what_lies_beyond_the_kinetics_is_said():
    assert stand(CLEAR, 8.0, published()).beyond == ()
    cooled = stand(replace(CLEAR, cooling_k_h=5.0), 12.0, published())
    assert any("37 to 97 degC" in words for words in cooled.beyond)
    sour = stand(Juice(4.1, "cold", 97.0, 15.0), 1.0, published())
    assert any("pH of the hot juice" in words for words in sour.beyond)


def test_a_hold_of_no_length_is_refused():
    with pytest.raises(ValueError, match="more than 0 h"):
        stand(CLEAR, 0.0, published())
