"""The limed pH that costs least: closed form, direction, and what the interval does."""

from dataclasses import replace

import numpy as np
import pytest

from features.advice.setpoint import STEP_PH, Prices, advise
from features.base.station import Kinetics, Station
from features.kinetics.prior import Prior

PRICES = Prices(sucrose=520.0, reducing_sugar=400.0, lime=0.0)
#: Without souring, costs go with 10**-pH and 3**pH exactly.
NO_ACID = Prior(Kinetics(acid_per_hexose=0.0))


def _hotter(station: Station, kelvin: float) -> Station:
    warmed = (
        replace(
            v,
            temp_degc=v.temp_degc + kelvin,
            mud_temp_degc=None if v.mud_temp_degc is None else v.mud_temp_degc + kelvin,
        )
        for v in station.vessels
    )
    return replace(station, vessels=tuple(warmed))


def _best(station, prices=PRICES, prior=NO_ACID):
    return advise(station, prices, prior).best_ph.value


def test_best_is_where_the_slopes_of_both_costs_cancel(brindlewater):
    found = advise(brindlewater, PRICES, NO_ACID)
    at = found.at_target
    # d/dx (A 10^-x + B 3^x) = 0 at 30^x = A ln 10 / (B ln 3), x from the target.
    ratio = at.inversion.value * np.log(10.0) / (at.reducing_sugar.value * np.log(3.0))
    expected = 7.5 + np.log(ratio) / np.log(30.0)
    assert found.best_ph.value == pytest.approx(expected, abs=STEP_PH / 2 + 1e-9)
    assert not found.at_edge


def test_twice_the_multiplier_moves_it_by_a_fifth_of_a_ph(brindlewater):
    twice = Prior(replace(NO_ACID.kinetics, multiplier=2 * NO_ACID.kinetics.multiplier))
    moved = _best(brindlewater, prior=twice) - _best(brindlewater)
    assert moved == pytest.approx(np.log(2.0) / np.log(30.0), abs=STEP_PH)


def test_losses_at_target_are_those_of_the_rates(brindlewater):
    found = advise(brindlewater, PRICES, NO_ACID)
    step = next(c for c in found.curve if abs(c.ph_limed - 7.6) < 1e-9)
    before = next(c for c in found.curve if abs(c.ph_limed - 7.5) < 1e-9)
    ratio = step.inversion.value / before.inversion.value
    assert ratio == pytest.approx(10.0**-0.1, rel=1e-6)
    # Destruction threefold per unit of pH: common practice.
    grown = step.reducing_sugar.value / before.reducing_sugar.value
    assert grown == pytest.approx(3.0**0.1, rel=1e-6)
    assert before.ph_clear == pytest.approx(6.95)


@pytest.mark.slow
@pytest.mark.parametrize("acid", [0.0, 1.4])
def test_dearer_sugars_and_lime_ask_for_less_ph_dearer_sucrose_for_more(brindlewater, acid):
    prior = Prior(Kinetics(acid_per_hexose=acid))
    base = _best(brindlewater, PRICES, prior)
    assert _best(brindlewater, replace(PRICES, reducing_sugar=800.0), prior) < base
    assert _best(brindlewater, replace(PRICES, lime=150.0), prior) < base
    assert _best(brindlewater, replace(PRICES, sucrose=1040.0), prior) > base


def test_hotter_costs_more_and_asks_for_a_little_less_ph(brindlewater):
    base, hot = (advise(s, PRICES, NO_ACID) for s in (brindlewater, _hotter(brindlewater, 8.0)))
    assert hot.at_best.total.value > 1.5 * base.at_best.total.value
    # Destruction has the higher activation energy (140 against 109 kJ/mol and the pH slope).
    assert base.best_ph.value - 0.1 < hot.best_ph.value <= base.best_ph.value


def test_longer_residence_pays_for_lime(brindlewater):
    priced = replace(PRICES, lime=150.0)
    bigger = replace(
        brindlewater,
        vessels=tuple(replace(v, volume_m3=2.0 * v.volume_m3) for v in brindlewater.vessels),
    )
    assert _best(bigger, priced) > _best(brindlewater, priced)


def test_free_sugars_leave_no_reason_to_stop_and_that_is_said(brindlewater):
    found = advise(brindlewater, Prices(520.0, 0.0, 0.0), NO_ACID)
    assert found.at_edge
    assert found.best_ph.value == pytest.approx(8.6)


def test_lime_is_what_takes_mixed_juice_to_the_set_point(brindlewater):
    # 0.50 to 0.64 kg CaO per t cane (Eggleston 2003, confirmed); 250 t cane an hour.
    found = advise(brindlewater, Prices(520.0, 400.0, 1.0), NO_ACID)
    t_day = found.at_target.lime.value
    assert 0.45 < 1000.0 * t_day / (250.0 * 24.0) < 0.72


def test_interval_shrinks_with_what_is_known(brindlewater):
    vague = advise(brindlewater, PRICES, NO_ACID)
    sharp = advise(
        brindlewater,
        PRICES,
        Prior(replace(NO_ACID.kinetics, multiplier_log_sd=0.1), fitted_at_degc=97.5),
    )
    width = [s.best_ph.high - s.best_ph.low for s in (vague, sharp)]
    assert width[1] < 0.7 * width[0]
    for found in (vague, sharp):
        assert found.best_ph.low < found.best_ph.value < found.best_ph.high
        parts = found.at_target
        assert parts.total.value == pytest.approx(
            parts.inversion.value + parts.reducing_sugar.value + parts.lime.value
        )


def test_flat_stretch_holds_the_best_and_costs_no_more_than_said(brindlewater):
    found = advise(brindlewater, replace(PRICES, lime=150.0), Prior(Kinetics()))
    low, high = found.flat
    assert low < found.best_ph.value < high
    for cost in found.curve:
        dearer = cost.total.value - found.at_best.total.value
        assert (dearer <= found.flat_within) == (low - 1e-9 <= cost.ph_limed <= high + 1e-9)


def test_a_station_of_mixed_juice_only_is_refused(brindlewater):
    heater_only = replace(brindlewater, vessels=())
    with pytest.raises(ValueError, match="no vessels"):
        advise(heater_only, PRICES, NO_ACID)


def test_no_destruction_at_all_is_no_division_by_nothing(brindlewater):
    found = advise(brindlewater, PRICES, Prior(Kinetics(rs_rate_ph7_1_h=0.0)))
    assert found.at_best.reducing_sugar.value == pytest.approx(0.0, abs=1e-6)
    assert found.at_edge


@pytest.mark.parametrize("sugars", [0.0, 300.0, 1200.0])
def test_what_is_advised_settles_well_and_is_cheap_there(brindlewater, sugars):
    # Free sugars would have lime pumped in to pH 8.6; dear ones would have next to none. Juice
    # settles well at limed pH 7.2 to 7.8 (common practice).
    found = advise(brindlewater, Prices(520.0, sugars, 0.0), NO_ACID)
    low, high = found.advised
    assert 7.2 - 1e-9 <= low <= high <= 7.8 + 1e-9
    there = [c for c in found.curve if 7.2 - 1e-9 <= c.ph_limed <= 7.8 + 1e-9]
    least = min(c.total.value for c in there)
    for cost in there:
        cheap = cost.total.value <= least + found.flat_within
        if cheap:
            assert low - 0.05 <= cost.ph_limed <= high + 0.05
    if sugars == 0.0:
        assert high == pytest.approx(7.8)
