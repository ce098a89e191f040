"""Bad manners of the simulated plant: off is off, and each does what it says."""

from __future__ import annotations

import math
from dataclasses import asdict, fields, replace

import numpy as np
import pytest
from scipy.special import gammaln
from scipy.stats import t

from models.simulator import Manners, PlantParameters, draw_manners, with_manners
from models.simulator import parameters as p
from models.simulator.disturb import everyday, wander
from models.simulator.misbehave import (
    BOUNDS,
    DAY,
    HAND_STEP,
    WET,
    WET_DAYS,
    WET_EVERY_D,
    bend_of,
    hand_moves,
    long_memory,
    multiplier_walk,
    restlessness,
    shift_moves,
    wet_spells,
)

WEEK = int(168 / p.STEP_H)
HOURS = np.arange(8 * WEEK) * p.STEP_H
LOUD = Manners(
    seed=4, memory_d=0.3, variance_log_sd=0.5, tails_df=3.0, hand_every_h=12.0, shift_h=8.0,
    daily_size=1.0, weather_size=1.0, filtrate_share=0.1, multiplier_walk=0.1,
)  # fmt: skip


def drives(manners, weeks=1, **more):
    return everyday(np.random.default_rng(2), weeks * WEEK, manners=manners, **more)


def test_without_switches_every_drive_stays_byte_for_byte():
    plain, off = drives(None), drives(Manners(seed=9))
    assert plain.keys() == off.keys()
    assert all(plain[name].tobytes() == off[name].tobytes() for name in plain)


def test_without_switches_a_drive_is_its_two_wanders_and_nothing_else():
    rng = np.random.default_rng(2)
    slow, fast = (wander(rng, WEEK, p.STEP_S, sd, h) for sd, h in ((0.055, 3.5), (0.02, 0.25)))
    by_hand = np.clip(1.0 + slow + fast, 0.75, 1.17)
    for manners in (None, Manners()):
        rate = drives(manners)["rate"]
        # All but the ordinary stops.
        assert (rate == by_hand).mean() > 0.97
        assert (rate <= by_hand).all()


def test_one_switch_moves_nothing_of_another():
    plain, by_day, both = (
        drives(m)
        for m in (None, Manners(daily_size=1.0), Manners(daily_size=1.0, multiplier_walk=0.1))
    )
    changed = {name for name in plain if plain[name].tobytes() != by_day[name].tobytes()}
    assert changed == set(DAY)
    assert all(both[n].tobytes() == by_day[n].tobytes() for n in plain if n != "multiplier")
    # Long memory is the same whether hands are at work or not.
    hands, alone = Manners(hand_every_h=12.0), Manners(memory_d=0.3)
    together = drives(replace(hands, memory_d=0.3))["ph_setpoint"] - plain["ph_setpoint"]
    apart = sum(drives(m)["ph_setpoint"] - plain["ph_setpoint"] for m in (hands, alone))
    assert together == pytest.approx(apart, abs=1e-9)


def test_a_seed_of_manners_moves_them():
    first, second = drives(LOUD), drives(replace(LOUD, seed=5))
    assert not np.array_equal(first["ph_setpoint"], second["ph_setpoint"])
    assert first["ph_setpoint"].tobytes() == drives(LOUD)["ph_setpoint"].tobytes()


def test_a_steady_plant_keeps_quiet():
    steady = drives(LOUD, steady=True)
    moving = {name for name, series in steady.items() if np.ptp(series) > 0}
    assert moving == {"multiplier", "infection"}


def test_a_standing_mill_still_stands():
    plain, loud = drives(None, 4)["rate"], drives(LOUD, 4)["rate"]
    assert (plain == 0).any()
    assert np.array_equal(plain == 0, loud == 0)
    assert loud.max() <= 1.2


def test_drives_stay_within_what_a_mill_does():
    wild = drives(replace(LOUD, hand_size=5.0, memory_sd=4.0), 2)
    for name, (low, high) in BOUNDS.items():
        assert low <= wild[name].min() and wild[name].max() <= high


@pytest.mark.parametrize("d", [0.2, 0.4])
def test_long_memory_has_the_autocorrelation_of_its_order(d):
    # J. R. M. Hosking, Biometrika 68 (1981) 165-176 (memory): rho(k) by gamma functions.
    lags = np.array([1, 4, 32, 96])
    rho = np.exp(gammaln(lags + d) + gammaln(1 - d) - gammaln(lags - d + 1) - gammaln(d))
    rng, n, draws = np.random.default_rng(0), 2000, 400
    series = np.array([long_memory(rng, n, d) for _ in range(draws)])
    # The mean is known to be zero; taking it out would bend long memory.
    found = [(series[:, :-k] * series[:, k:]).mean() for k in lags]
    assert (series**2).mean() == pytest.approx(1.0, abs=0.03)
    assert found == pytest.approx(rho, abs=0.03)


def test_long_memory_reaches_the_drives_at_its_size():
    sizes = []
    for seed in range(12):
        calm = drives(Manners())["temp_secondary"]
        loud = drives(Manners(seed=seed, memory_d=0.3, memory_sd=1.5))["temp_secondary"]
        sizes.append(np.mean((loud - calm) ** 2))
    # 0.7 K is what secondary heating wanders by itself (as in the everyday unrest).
    assert math.sqrt(np.mean(sizes)) == pytest.approx(1.5 * 0.7, rel=0.15)


def test_heavy_tails_are_those_of_students_t():
    bend = bend_of(Manners(tails_df=3.0), 200_000)
    bent = bend(2.0 * np.random.default_rng(3).standard_normal(200_000), 2.0) / 2.0
    unit = math.sqrt(3.0)
    for far in (1.0, 3.0, 6.0):
        beyond = 2.0 * t.sf(far * unit, 3)
        assert (np.abs(bent) > far).mean() == pytest.approx(beyond, rel=0.15)
    assert np.abs(bent).max() <= 8.0


def test_variance_drifts_over_a_day_and_keeps_its_mean():
    count = 8 * WEEK
    logs = []
    squares = []
    for seed in range(8):
        size = restlessness(Manners(seed=seed, variance_log_sd=0.5), count)
        logs.append(np.log(size) + 0.25)
        squares.append((size**2).mean())
    logs = np.array(logs)
    day = int(24 / p.STEP_H)
    assert logs.std() == pytest.approx(0.5, rel=0.1)
    after = (logs[:, :-day] * logs[:, day:]).mean() / (logs**2).mean()
    assert after == pytest.approx(math.exp(-1), abs=0.12)
    assert np.mean(squares) == pytest.approx(1.0, abs=0.15)


def test_drifting_variance_scales_the_unrest_of_all_drives():
    plain, restless = drives(None), drives(Manners(seed=1, variance_log_sd=0.6))
    size = restlessness(Manners(seed=1, variance_log_sd=0.6), WEEK)
    assert restless["temp_heater"] - 110.0 == pytest.approx(size * (plain["temp_heater"] - 110.0))


def test_hands_move_a_level_every_half_day_or_so():
    moves = [hand_moves(np.random.default_rng(seed), HOURS, 12.0) for seed in range(10)]
    count = np.mean([np.count_nonzero(np.diff(m)) for m in moves])
    assert count == pytest.approx(8 * 168 / 12, rel=0.1)
    assert np.std(moves) == pytest.approx(1.0, abs=0.1)
    plain, moved = drives(None), drives(Manners(hand_every_h=12.0, hand_size=2.0))
    for name in HAND_STEP:
        by = moved[name] - plain[name]
        assert np.count_nonzero(np.abs(by) > 1e-9) > 0.5 * WEEK
    assert len(np.unique(np.round(moved["mud_level"] - plain["mud_level"], 9))) < 40


@pytest.mark.parametrize(("shift_h", "changes"), [(8.0, {6, 14, 22}), (12.0, {6, 18})])
def test_shifts_change_what_is_set_when_the_crew_changes(shift_h, changes):
    moves = shift_moves(np.random.default_rng(0), HOURS[:WEEK], shift_h)
    at = np.flatnonzero(np.diff(moves)) + 1
    assert set((HOURS[at] % 24.0).tolist()) == changes
    by = drives(Manners(shift_h=shift_h))["temp_heater"] - drives(None)["temp_heater"]
    assert set((HOURS[np.flatnonzero(np.abs(np.diff(by)) > 1e-9) + 1] % 24).tolist()) == changes


def test_the_day_is_warmest_at_three_in_the_afternoon():
    by = drives(Manners(daily_size=0.8))["temp_mixed"] - drives(None)["temp_mixed"]
    assert np.ptp(by) / 2 == pytest.approx(0.8 * DAY["temp_mixed"], rel=1e-3)
    assert HOURS[np.argmax(by)] % 24 == pytest.approx(15.0, abs=0.02)


def test_wet_spells_last_days_and_come_now_and_then():
    long = np.arange(0.0, 24.0 * 3000, 0.5)
    wet = wet_spells(np.random.default_rng(1), long)
    inside = np.flatnonzero(np.diff((wet > 0.5).astype(int)) == 1)
    assert wet.mean() == pytest.approx(2.5 / (2.5 + WET_EVERY_D), abs=0.04)
    assert len(inside) == pytest.approx(3000 / (np.mean(WET_DAYS) + WET_EVERY_D), rel=0.15)
    # The everyday unrest is the same; only wet hours are moved, by what the table says.
    plain, loud = (drives(m, 4) for m in (None, Manners(seed=3, weather_size=0.5)))
    by = loud["brix"] - plain["brix"]
    assert by.min() == pytest.approx(0.5 * WET["brix"]) and by.max() == pytest.approx(0.0)
    thick = loud["underflow"][by < -0.39]
    assert thick == pytest.approx(math.exp(0.5 * WET["underflow"]), rel=0.01)


def test_the_filtrate_tank_sours_from_one_cleaning_to_the_next():
    infection = drives(Manners(filtrate_share=0.1), 2)["infection"]
    assert infection[[0, WEEK - 1, WEEK]] == pytest.approx([0.5, 1.5, 0.5], abs=1e-3)
    assert infection.mean() == pytest.approx(1.0, abs=1e-3)
    assert (drives(Manners(memory_d=0.3))["infection"] == 1.0).all()


def test_the_multiplier_wanders_by_a_tenth_per_root_week():
    ends = [multiplier_walk(Manners(seed=s, multiplier_walk=0.1), 4 * WEEK) for s in range(150)]
    assert np.std([walk[-1] for walk in ends]) == pytest.approx(0.2, rel=0.15)
    assert all(walk[0] == 0.0 for walk in ends)


def test_drawn_manners_are_each_there_and_not_there():
    drawn = [draw_manners(seed) for seed in range(60)]
    assert drawn[7] == draw_manners(7)
    switches = (
        "memory_d", "variance_log_sd", "tails_df", "hand_every_h", "shift_h", "daily_size",
        "weather_size", "filtrate_share", "multiplier_walk", "flow_scale_sd", "level_zero_pct",
        "temp_zero_k", "cold_meters", "filtrate_metered", "mud_takes_room",
    )  # fmt: skip
    for name in switches:
        on = np.mean([bool(getattr(m, name)) for m in drawn])
        assert 0.3 < on < 0.85, name
    assert {m.filtrate_to for m in drawn} == {"mixed", "limed"}
    assert all(-0.009 <= m.ph_slope <= -0.0045 for m in drawn)
    assert all(m.memory_d == 0 or 0.2 <= m.memory_d <= 0.4 for m in drawn)
    assert all(m.filtrate_share == 0 or 0.08 <= m.filtrate_share <= 0.15 for m in drawn)


def test_words_name_what_is_switched_on_and_nothing_else():
    assert Manners().as_words() == {}
    said = Manners(seed=1, filtrate_share=0.12, filtrate_to="limed", cold_meters=True).as_words()
    assert set(said) == {"filtrate", "cold volumes"}
    assert said["filtrate"].startswith("12 % to limed juice") and "no meter" in said["filtrate"]
    every = Manners(
        **{f.name: v for f in fields(Manners) if (v := getattr(LOUD, f.name))},
        ph_slope=-0.006, mud_takes_room=True, flow_scale_sd=0.01, level_zero_pct=1.0,
        temp_zero_k=0.5,
    )  # fmt: skip
    assert len(every.as_words()) == 14
    assert set(asdict(every)) == {f.name for f in fields(Manners)}


@pytest.mark.parametrize(
    ("wrong", "word"),
    [
        ({"memory_d": 0.5}, "memory_d"),
        ({"tails_df": 2.0}, "tails_df"),
        ({"filtrate_to": "clear"}, "filtrate_to"),
        ({"ph_slope": 0.005}, "ph_slope"),
        ({"temp_zero_k": -1.0}, "temp_zero_k"),
    ],
)
def test_manners_without_meaning_are_refused(wrong, word):
    with pytest.raises(ValueError, match=word):
        Manners(**wrong)


def test_a_slope_of_its_own_is_taken_over():
    plant = PlantParameters()
    assert with_manners(plant, Manners(ph_slope=-0.008)).ph_slope == -0.008
    assert with_manners(plant, Manners()).ph_slope == plant.ph_slope
    assert with_manners(plant, None) == plant
