"""Levers of a season: which steps are realistic, what they add up to, which pH may lead."""

import numpy as np
import pytest

from features.advice import Prices
from features.replay import Change, parse_change, recorded, rerun
from models.account import Surroundings, Tonnes
from models.replay import (
    PIECE_COLUMNS,
    Ran,
    Step,
    best_first,
    ph_range,
    piece_rows,
    realistic_steps,
    saving_of,
    step_of_season,
)

PRICES = Prices(500.0, 300.0, 150.0)


def hours(low, middle, high):
    return Ran(low, high, middle, middle, 900)


def test_steps_lie_within_what_the_mill_has_run(station):
    ran = {
        "ph_limed": hours(7.25, 7.5, 7.65), "first_evaporator.temp_degc": hours(111.5, 113, 115),
        "clear_juice_tank.level_pct": hours(20, 35, 90), "flow": hours(150, 265, 300),
        "settler.mud_level_pct": hours(44, 45, 60), "secondary_heater.temp_degc": None,
        "primary_heater.temp_degc": hours(50, 72, 80), "liming_tank.level_pct": None,
        "clear_juice_heater.temp_degc": hours(105, 110, 115),
    }  # fmt: skip
    steps = realistic_steps(station, lambda change: ran[change.key])
    assert [(c.key, c.how, c.amount) for c in steps] == [
        ("ph_limed", "by", -0.2), ("ph_limed", "by", -0.1), ("ph_limed", "by", 0.1),
        # Two kelvin colder the evaporator never ran; a primary heater is left alone, for microbes.
        ("clear_juice_tank.level_pct", "by", -10.0), ("clear_juice_heater.temp_degc", "by", -2.0),
        ("first_evaporator.temp_degc", "by", -1.0), ("flow", "factor", 5.0),
    ]  # fmt: skip


def test_pieces_of_a_season_add_up(truly, station, inside, as_driven):
    record = recorded(truly[0], station, inside)
    change = parse_change("first_evaporator.temp_degc=-2", station)
    driven = as_driven(record.derived)
    saving = saving_of(rerun(record, [change]), driven, [change], PRICES)
    rows = piece_rows(change, saving, "x")
    assert set(rows[0]) == set(PIECE_COLUMNS)
    kg = {z.zone: 1000.0 * z.recorded_t for z in saving.by_vessel}
    around = Surroundings(kg, {}, 0.05, 0.3)
    one = step_of_season(change, [(rows, kg)], around, station, PRICES)
    assert one.saved.mid == pytest.approx(saving.saved.mid, rel=1e-9)
    # The tonnes are those that the search believes today, whatever they were when it was kept.
    twice = {zone: 2.0 * value for zone, value in kg.items()}
    two = step_of_season(change, [(rows, kg), (rows, twice)], around, station, PRICES)
    assert two.saved.mid == pytest.approx(3.0 * one.saved.mid, rel=1e-9)
    assert two.sugars_t == pytest.approx(2.0 * one.sugars_t)
    assert two.net_value == pytest.approx(
        500.0 * two.saved.mid - 150.0 * two.lime_t - 300.0 * two.sugars_t
    )
    assert 0.0 < one.certain < 1.0
    assert one.certain == pytest.approx(one.saved.low / one.saved.mid)


def step(amount, saved, net, *, spread=2.0, badly=0.0):
    tonnes = Tonnes(saved, saved / spread, saved * spread)
    if saved < 0.0:
        tonnes = Tonnes(saved, saved * spread, saved / spread)
    return Step(
        Change("ph_limed", "by", amount), 50.0, tonnes, 1.0, 1.0, 0.0, badly, 500.0 * saved, net
    )


def test_a_ph_at_which_juice_settles_badly_never_leads():
    steps = [step(0.1, 4.0, 1500.0), step(0.2, 8.0, 3000.0), step(-0.1, -5.0, -2000.0)]
    led = ph_range(steps, 7.65, PRICES)
    # Juice settles well up to pH 7.8 (common practice): 7.85 would save most and may not lead.
    assert led.best.change.amount == 0.1
    assert 7.2 <= led.low <= led.high <= 7.8
    lower = ph_range(steps, 7.4, PRICES)
    assert lower.best.change.amount == 0.2
    assert lower.high == pytest.approx(7.65)
    swinging = [step(0.1, 4.0, 1500.0), step(0.2, 8.0, 3000.0, badly=30.0)]
    assert ph_range(swinging, 7.4, PRICES).best.change.amount == 0.1


def test_where_no_step_is_sure_to_pay_the_range_holds_what_is_run_now():
    unsure = [step(0.1, 1.0, 10.0), step(0.2, 1.5, -300.0)]
    led = ph_range(unsure, 7.5, PRICES)
    assert led.low == pytest.approx(7.45)
    assert led.high >= 7.6
    none = ph_range([step(0.1, 0.1, -500.0, spread=1.1)], 7.5, PRICES)
    assert none.best is None
    assert (none.low, none.high) == (pytest.approx(7.45), pytest.approx(7.55))
    # A mill that already runs where juice settles badly is not told to stay.
    sour = ph_range([step(0.1, 0.1, -500.0, spread=1.1)], 7.0, PRICES)
    assert (sour.low, sour.high) == (7.2, pytest.approx(7.25))


def test_best_first_is_by_worth_less_costs():
    steps = [step(0.1, 9.0, 100.0), step(0.2, 3.0, 900.0), step(-0.1, -1.0, -50.0)]
    assert [s.net_value for s in best_first(steps)] == [900.0, 100.0, -50.0]
    assert best_first(steps)[-1].certain == 0.0
    assert np.isfinite([s.certain for s in steps]).all()
