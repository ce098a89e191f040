"""Filtrate on its way back, mud that takes room, a multiplier that wanders."""

from __future__ import annotations

import numpy as np
import pytest
from slow_case import slow

from models.simulator import Manners, PlantParameters, simulate_season, with_manners
from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.disturb import everyday
from models.simulator.drive import drive_matrix
from models.simulator.effects import apply_events
from models.simulator.events import PlannedEvent
from models.simulator.integrate import integrate
from models.simulator.truth_series import cold_ph, flows, planted_extras, tag_courses

HOUR = int(1 / p.STEP_H)
FILTRATE = Manners(seed=2, filtrate_share=0.12, filtrate_metered=True, filtrate_age_h=3.0)
STOP = PlannedEvent(1, "loss", "standing_juice", "settler", 20.0, 27.0, 0.0, 0.0)
EMPTIED = PlannedEvent(1, "confuser", "handled_stop", "settler", 20.0, 27.0, 0.0, 0.0)
MUD = PlannedEvent(1, "loss", "mud_held", "settler:mud", 16.0, 32.0, 0.3, 90.0)


def run_of(manners, hours=36, events=(), steady=False, drive=None, **plant):
    plant = with_manners(PlantParameters(steady=steady, **plant), manners)
    rng = np.random.default_rng(1)
    base = everyday(rng, hours * HOUR, steady=steady, manners=manners) | (drive or {})
    series = apply_events(base, events, 0, hours * HOUR)
    matrix = drive_matrix(series, plant)[:, None, :]
    start = c.fresh_state(plant, matrix[0, 0, : c.SPECIES])
    return plant, series, start, integrate(plant, start, matrix, contents=True)


def open_kg(start, run):
    """Sucrose fed that neither left nor was destroyed nor is held [kg]."""
    flow = flows(run)
    moved = (flow["fed"] - flow["left"] - run.destroyed_kg_h[:, 0].sum(axis=1)).sum() * p.STEP_H
    return moved - (c.held_kg(run.last) - c.held_kg(start))


@pytest.mark.parametrize("to", ["mixed", slow("limed")])
@pytest.mark.parametrize("event", [STOP, EMPTIED, MUD], ids=lambda e: e.cause)
def test_sucrose_balance_closes_with_filtrate_and_growing_mud(to, event):
    manners = Manners(filtrate_share=0.12, filtrate_to=to, mud_takes_room=True)
    _, _, start, run = run_of(manners, events=[event])
    assert abs(open_kg(start, run)) < 1e-6 * flows(run)["fed"].sum() * p.STEP_H


def test_nothing_is_destroyed_in_a_sterile_cold_filtrate_tank():
    manners = Manners(filtrate_share=0.12, filtrate_eaten_kg_m3_h=0.0)
    _, _, start, run = run_of(manners, kinetics_multiplier=0.0, microbial_kg_m3_h=0.0)
    assert run.destroyed_kg_h.sum() == 0.0
    assert abs(open_kg(start, run)) < 1e-3


@pytest.fixture(scope="module")
def steady():
    return run_of(FILTRATE, hours=60, steady=True, drive={"infection": np.ones(60 * HOUR)})


def test_filtrate_is_the_share_of_mixed_juice_that_was_asked_for(steady):
    _, _, _, run = steady
    flow = {name: series[-1] for name, series in flows(run).items()}
    assert flow["flow_filtrate"] / flow["flow_feed"] == pytest.approx(0.12, rel=0.02)
    # Behind its return more juice flows than the mixed-juice meter saw; lime comes on top.
    behind = flow["flow_settler"] / (1.0 - c.FLASH_SHARE) - 0.001 * flow["lime"]
    assert behind == pytest.approx(flow["flow_feed"] + flow["flow_filtrate"], rel=1e-3)


def test_filtrate_is_old_sour_and_rich_in_invert_and_lactic_acid(steady):
    plant, _, _, run = steady
    held, mud = run.filtrate[-1], run.contents[-1, :, 0, c.MUD]
    age_h = held[-1] / flows(run)["flow_filtrate"][-1]
    assert age_h == pytest.approx(3.0)
    assert held[c.TEMP] == pytest.approx(68.0, abs=0.1)
    ph = planted_extras(run, {"multiplier": np.ones(1)}, plant)["ph_filtrate_true"][-1]
    assert 4.8 < ph < cold_ph(run, plant)[-1, c.MUD] - 0.3
    assert held[c.RS] / held[c.SUCROSE] > 1.1 * mud[c.RS] / mud[c.SUCROSE]
    # A stirred tank at rest: what it destroys is what flows in and not out.
    thinned = held[c.SUCROSE] + run.destroyed_kg_h[-1, 0, -1] / flows(run)["flow_filtrate"][-1]
    lactic_in = held[c.LACTIC] / mud[c.LACTIC]
    assert thinned < mud[c.SUCROSE]
    assert lactic_in > 2.0


@pytest.mark.parametrize("infection", [0.5, 1.0])
def test_sucrose_eaten_leaves_invert_lactic_acid_and_acidity(infection):
    """By hand over four still hours: nothing flows, kinetics off, so only microbes change it."""
    stop = {"rate": np.zeros(4 * HOUR), "infection": np.full(4 * HOUR, infection)}
    _, _, start, run = run_of(FILTRATE, 4, steady=True, drive=stop, kinetics_multiplier=0.0)
    before, after = start.filtrate[:, 0], run.last.filtrate[:, 0]
    eaten = before[c.SUCROSE] - after[c.SUCROSE]
    lactic = after[c.LACTIC] - before[c.LACTIC]
    # Not too sour yet: 0.4 kg/m3/h, as asked for.
    assert eaten == pytest.approx(4 * 0.4 * infection, rel=1e-6)
    assert lactic == pytest.approx(eaten / 2.6)
    # Molar masses: lactic acid 90.08 (one equivalent), invert per sucrose 360.31/342.30.
    assert before[c.ALKALI] - after[c.ALKALI] == pytest.approx(1000 * lactic / 90.08, rel=1e-4)
    invert = (after[c.RS] - before[c.RS]) * 342.30 / 360.31
    other = after[c.OTHER] - before[c.OTHER]
    assert eaten == pytest.approx(lactic + invert + other, rel=1e-4)
    destroyed = run.destroyed_kg_h[:, 0, -1].sum() * p.STEP_H
    assert destroyed == pytest.approx(eaten * after[-1], rel=1e-6)


@pytest.mark.slow
def test_limed_and_mixed_juice_each_get_their_filtrate():
    _, _, _, none = run_of(None, 24, steady=True)
    runs = {}
    for to in ("mixed", "limed"):
        manners = Manners(filtrate_share=0.12, filtrate_to=to)
        runs[to] = run_of(manners, 24, steady=True)[-1]
    lactic = {k: run.contents[-1, c.LACTIC, 0] for k, run in {**runs, "none": none}.items()}
    assert lactic["limed"][c.PRIMARY] == pytest.approx(lactic["none"][c.PRIMARY])
    assert lactic["mixed"][c.PRIMARY] > 1.05 * lactic["none"][c.PRIMARY]
    for to in ("mixed", "limed"):
        assert lactic[to][c.LIMING] > 1.05 * lactic["none"][c.LIMING]
    # The lime loop holds the limed juice all the same.
    for run in (none, *runs.values()):
        assert cold_ph(run, PlantParameters())[-1, c.LIMING] == pytest.approx(7.5, abs=0.02)
    assert flows(runs["mixed"])["lime"][-1] > 1.03 * flows(none)["lime"][-1]


def test_fed_is_the_fresh_juice_alone():
    plain = flows(run_of(None, 6)[-1])["fed"]
    assert np.array_equal(flows(run_of(FILTRATE, 6)[-1])["fed"], plain)


def test_filtrate_is_exported_only_where_it_has_a_meter():
    for metered in (True, False):
        manners = Manners(filtrate_share=0.12, filtrate_metered=metered)
        plant, drive, _, run = run_of(manners, 6)
        courses = tag_courses(run, drive, plant)
        assert ("filtrate_m3_h" in courses) == metered
    assert "filtrate_m3_h" not in tag_courses(run, drive, PlantParameters())


def test_lanes_with_filtrate_run_as_each_by_itself():
    plant, series, start, alone = run_of(FILTRATE, 6)
    matrix = drive_matrix(series, plant)[:, None, :]
    both = integrate(plant, c.stack([start, start.copy()]), np.concatenate([matrix] * 2, axis=1))
    for lane in (0, 1):
        assert both.destroyed_kg_h[:, lane] == pytest.approx(alone.destroyed_kg_h[:, 0], rel=1e-9)
    assert start.filtrate is not None and start.copy().filtrate is not start.filtrate


@pytest.mark.slow
def test_growing_mud_takes_its_room_from_the_clear_juice():
    plant, _, _, held = run_of(Manners(mud_takes_room=True), 30, events=[MUD], steady=True)
    volume = held.last.volume_m3[0]
    clear, mud = volume[c.CLEAR_FIRST : c.SLOW + 1].sum(), volume[c.MUD]
    assert mud > 0.85 * plant.mud_m3
    assert clear + mud == pytest.approx(plant.settler_m3 + 0.45 * plant.mud_m3, abs=0.5)
    assert clear < 0.85 * plant.settler_m3
    assert flows(held)["level_settler"][-1] == pytest.approx(100.0, abs=0.2)
    # Without the switch the settler holds its clear juice and the mud on top of it.
    _, _, _, plain = run_of(None, 30, events=[MUD], steady=True)
    assert plain.last.volume_m3[0, c.CLEAR_FIRST : c.SLOW + 1].sum() == pytest.approx(332.0)
    # Juice then stays less long and loses less in the clear zone.
    settler = list(c.ZONES).index("settler")
    assert held.destroyed_kg_h[-1, 0, settler] < 0.92 * plain.destroyed_kg_h[-1, 0, settler]


@pytest.mark.slow
def test_the_wandering_multiplier_is_the_one_that_destroys():
    course = np.where(np.arange(20 * HOUR) < 10 * HOUR, 1.0, 1.5)
    _, _, _, plain = run_of(None, 20, steady=True)
    manners = Manners(multiplier_walk=0.1)
    plant, drive, _, run = run_of(manners, 20, steady=True, drive={"multiplier": course})
    assert np.array_equal(run.destroyed_kg_h[: 10 * HOUR], plain.destroyed_kg_h[: 10 * HOUR])
    just = 10 * HOUR
    ratio = run.destroyed_kg_h[just, 0] / plain.destroyed_kg_h[just, 0]
    assert ratio == pytest.approx(1.5, rel=1e-3)
    told = planted_extras(run, drive, plant)["multiplier_true"]
    assert told[[0, -1]] == pytest.approx([1.9, 1.9 * 1.5])


@pytest.mark.slow
def test_a_season_with_manners_tells_its_hidden_courses():
    manners = Manners(seed=3, filtrate_share=0.1, multiplier_walk=0.1, mud_takes_room=True)
    plant = with_manners(PlantParameters(), manners)
    first = simulate_season(5, 1, parameters=plant)
    assert first.planted["multiplier_true"].std() > 0.0
    assert 15.0 < first.planted["filtrate_true_m3_h"].mean() < 40.0
    total = first.planted["destroyed_kg_h"].sum()
    parts = first.planted.select("^destroyed_.+_kg_h$").sum().row(0)
    assert sum(parts) == pytest.approx(total, rel=1e-9)
    b = first.balance_kg
    left_open = b["fed"] - b["left"] - b["destroyed"] - (b["held_end"] - b["held_start"])
    assert abs(left_open) < 1e-6 * b["fed"]
