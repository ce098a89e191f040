"""What every formula must do whatever its constants: kinds of input, direction, round trips."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from features.balance import pol
from features.base.numeric import exp, exp10, ln, log10
from features.flow import settling
from features.juice import boiling, juice
from features.kinetics import kinetics

temps = st.floats(20.0, 105.0)
hot = st.floats(75.0, 125.0)
brix = st.floats(5.0, 60.0)
ph = st.floats(5.0, 8.0)

BRIX_TEMP = (
    juice.density_kg_m3,
    juice.water_content_g_ml,
    juice.viscosity_genotelle_mpa_s,
    juice.viscosity_mpa_s,
    juice.specific_heat_kj_kg_k,
    boiling.water_activity,
)


@pytest.mark.parametrize("function", BRIX_TEMP, ids=lambda f: f.__name__)
def test_float_array_and_expression_agree(function):
    frame = pl.DataFrame({"b": [10.0, 15.0, 20.0], "t": [30.0, 60.0, 98.0]})
    by_expression = frame.select(function(pl.col("b"), pl.col("t"))).to_series().to_numpy()
    by_array = function(frame["b"].to_numpy(), frame["t"].to_numpy())
    by_float = [function(b, t) for b, t in frame.rows()]
    np.testing.assert_allclose(by_expression, by_array, rtol=1e-12)
    np.testing.assert_allclose(by_float, by_array, rtol=1e-12)


def test_rates_agree_between_arrays_and_expressions():
    frame = pl.DataFrame({"p": [6.0, 7.0], "t": [98.0, 110.0], "b": [14.0, 20.0]})
    columns = [pl.col(name) for name in "ptb"]
    arrays = [frame[name].to_numpy() for name in "ptb"]
    for function, count in ((kinetics.inversion_1_h, 3), (kinetics.rs_destruction_1_h, 2)):
        found = frame.select(function(*columns[:count])).to_series().to_numpy()
        np.testing.assert_allclose(found, function(*arrays[:count]), rtol=1e-12)


@pytest.mark.parametrize("function", [exp, ln, log10, exp10], ids=lambda f: f.__name__)
def test_exponentials_serve_all_kinds(function):
    found = pl.select(function(pl.lit(1.7))).item()
    assert found == pytest.approx(float(function(1.7)), rel=1e-14)
    assert function(np.array([1.7]))[0] == pytest.approx(found, rel=1e-14)


@given(ph, hot, brix, st.floats(0.1, 10.0))
def test_inversion_rises_with_heat(p, t, b, step):
    assert kinetics.inversion_1_h(p, t + step, b) > kinetics.inversion_1_h(p, t, b)


@given(ph, hot, brix)
def test_inversion_falls_tenfold_per_ph_unit(p, t, b):
    ratio = kinetics.inversion_1_h(p, t, b) / kinetics.inversion_1_h(p + 1.0, t, b)
    assert ratio == pytest.approx(10.0, rel=1e-9)
    assert kinetics.inversion_1_h(p, t, b) == 60.0 * kinetics.inversion_1_min(p, t, b)


@given(ph, hot, st.floats(-0.02, 0.005))
def test_ph_carried_to_process_and_back(p, t, slope):
    hot_ph = kinetics.ph_at_process(p, t, slope)
    assert kinetics.ph_at_sample(hot_ph, t, slope) == pytest.approx(p, abs=1e-12)


@given(st.floats(-2.0, -0.1), st.floats(30.0, 105.0))
def test_low_isopotential_point_reads_high_when_hotter_than_calibrated(offset, t):
    assert kinetics.isopotential_error_ph(offset, t) > 0.0
    # The electrode itself: mV from the true point, read back with the meter's own.
    slope_cal, slope = kinetics.electrode_slope_mv(25.0), kinetics.electrode_slope_mv(t)
    true_iso, meter_iso, juice_ph = 7.0 + offset, 7.0, 6.9
    millivolt = -slope * (juice_ph - true_iso) - slope_cal * (true_iso - meter_iso)
    read = meter_iso - millivolt / slope
    assert read - juice_ph == pytest.approx(kinetics.isopotential_error_ph(offset, t), abs=1e-9)


@given(st.floats(6.5, 8.5), hot, st.floats(0.1, 8.0))
def test_reducing_sugars_go_faster_hotter_and_more_alkaline(p, t, step):
    assert kinetics.rs_destruction_1_h(p, t + step) > kinetics.rs_destruction_1_h(p, t)
    assert kinetics.rs_destruction_1_h(p + 0.1, t) > kinetics.rs_destruction_1_h(p, t)


def test_reducing_sugars_can_fall_while_sucrose_inverts():
    assert kinetics.sucrose_after(100.0, 2e-4, 2.0) < 100.0
    assert kinetics.rs_after(100.0, 4.0, 2e-4, 0.01, 2.0) < 4.0


@given(st.floats(0.0, 0.02), st.floats(0.1, 12.0))
def test_equal_rates_are_no_special_case(rate, hours):
    near = kinetics.rs_after(100.0, 4.0, rate, rate * (1 + 1e-7), hours)
    assert kinetics.rs_after(100.0, 4.0, rate, rate, hours) == pytest.approx(near, rel=1e-6)


def test_microbial_floor_is_the_acid_times_its_sugar():
    assert kinetics.microbial_floor_kg(50.0, 10_000.0, 2.0) == pytest.approx(1.0)


@given(brix, temps)
def test_juice_is_denser_and_thicker_than_water(b, t):
    assert juice.density_kg_m3(b, t) > juice.density_water_kg_m3(t)
    assert juice.viscosity_mpa_s(b, t) > juice.viscosity_water_mpa_s(t)
    assert juice.specific_heat_kj_kg_k(b, t) < 4.19


def test_no_sugar_is_water():
    assert juice.density_kg_m3(0.0, 60.0) == juice.density_water_kg_m3(60.0)
    assert juice.viscosity_mpa_s(0.0, 60.0) == juice.viscosity_water_mpa_s(60.0)
    assert boiling.boiling_point_elevation_k(0.0) == 0.0


@given(brix, st.floats(20.0, 500.0))
def test_juice_boils_above_water_at_its_vapour_pressure(b, pressure):
    temp = boiling.boiling_degc(b, pressure)
    found = boiling.water_activity(b, temp) * juice.saturation_pressure_kpa(temp)
    assert found == pytest.approx(pressure, rel=1e-9)
    assert boiling.boiling_point_elevation_k(b, pressure) > 0.0


def test_flash_takes_water_only_and_none_below_boiling():
    share = boiling.flash_fraction(103.0, 14.0)
    after = boiling.brix_after_evaporation_pct(14.0, share)
    assert after * (1.0 - share) == pytest.approx(14.0)
    assert boiling.flash_fraction(99.0, 14.0) == 0.0


@given(st.floats(0.0, 3.0), st.floats(2.0, 8.0))
def test_tracer_undoes_inversion(inverted, ratio):
    after = ratio + 100.0 * kinetics.INVERT_PER_SUCROSE * inverted / 100.0
    found = pol.inverted_from_tracer_pct(ratio, 1.0, after / ratio)
    assert found == pytest.approx(inverted, abs=1e-9)


@given(st.floats(70.0, 95.0), st.floats(0.01, 2.0))
def test_inversion_lowers_purity_and_lifts_reducing_sugars(purity, inverted):
    assert pol.purity_shift_points(purity, inverted) < 0.0
    assert pol.rs_per_pol_after_pct(4.0, inverted) > 4.0


def test_destroying_invert_can_raise_pol():
    before = pol.pol_of_mixture(100.0, 3.0, 2.5)
    after = pol.pol_of_mixture(100.0, 3.0 * 0.97, 2.5 * 0.97)
    assert after > before


@given(st.floats(0.0, 0.4), st.floats(2.4, 4.65))
def test_crowding_slows_settling(solids, n):
    assert settling.hindered_velocity(1.0, solids, n) <= 1.0


def test_flux_is_largest_at_the_published_fraction():
    solids = np.linspace(0.01, 0.6, 5901)
    flux = solids * settling.hindered_velocity(1.0, solids, 4.65)
    assert solids[np.argmax(flux)] == pytest.approx(1 / 5.65, abs=2e-4)


def test_exponent_is_continuous_enough_and_refuses_negative():
    for edge, jump in ((0.2, 0.12), (1.0, 0.11), (500.0, 0.03)):
        below = settling.richardson_zaki_exponent(edge)
        above = settling.richardson_zaki_exponent(edge * 1.0001)
        assert abs(below - above) < jump
    with pytest.raises(ValueError, match="give 0 or more"):
        settling.richardson_zaki_exponent(-1.0)


def test_thinner_or_hotter_juice_settles_faster():
    assert settling.settling_correction(12.0, 98.0, 14.0, 98.0) > 1.0
    assert settling.settling_correction(14.0, 103.0, 14.0, 98.0) > 1.0
    assert settling.settling_utilisation(5.0, 8.0) > 1.0
    assert settling.settling_time_min(5.0) > settling.settling_time_min(15.0)
