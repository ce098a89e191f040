"""A short season: balances, planted tonnes, exports."""

from __future__ import annotations

import ast
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import models.simulator
from models.simulator import PlantParameters, plan_events, simulate_season
from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.disturb import everyday
from models.simulator.drive import drive_matrix
from models.simulator.effects import apply_events
from models.simulator.events import CONFUSERS, LOSSES, MIN_GAP_H, PlannedEvent
from models.simulator.integrate import integrate
from models.simulator.planted import planted_tonnes
from models.simulator.reactions import React
from models.simulator.recorders import compress
from models.simulator.tags import TAGS

HOUR = int(1 / p.STEP_H)


@pytest.fixture(scope="module")
def season():
    return simulate_season(5, 1, parameters=PlantParameters())


@pytest.fixture(scope="module")
def calm():
    """Steady running without events or disturbance: six hours after running in."""
    plant = PlantParameters(steady=True)
    drive = everyday(np.random.default_rng(0), 14 * HOUR, steady=True)
    matrix = drive_matrix(drive, plant)[:, None, :]
    state = c.fresh_state(plant, matrix[0, 0, : c.SPECIES])
    return plant, integrate(plant, state, matrix, contents=True)


def held(state):
    return float((state.x[c.SUCROSE, 0] * state.volume_m3[0]).sum())


def test_sucrose_balance_closes(season):
    b = season.balance_kg
    open_kg = b["fed"] - b["left"] - b["destroyed"] - (b["held_end"] - b["held_start"])
    assert b["fed"] > 3e6
    assert abs(open_kg) < 1e-6 * b["fed"]


def test_nothing_is_destroyed_without_kinetics():
    plant = PlantParameters(kinetics_multiplier=0.0, microbial_kg_m3_h=0.0)
    drive = everyday(np.random.default_rng(4), 30 * HOUR)
    matrix = drive_matrix(drive, plant)[:, None, :]
    start = c.fresh_state(plant, matrix[0, 0, : c.SPECIES])
    run = integrate(plant, start, matrix)
    assert run.destroyed_kg_h.sum() == 0.0
    moved = float((run.trace[:, 0, 10] - run.trace[:, 0, 11]).sum() * p.STEP_H)
    assert held(run.last) - held(start) == pytest.approx(moved, abs=1e-3)


def test_invert_gained_is_sucrose_lost():
    """With decomposition off, 1 kg lost becomes 1.0526 kg invert (computed: 360.31/342.30)."""
    plant = PlantParameters(rs_rate_ph7_1_h=0.0, microbial_kg_m3_h=0.0)
    feed = np.array([128.0, 5.0, 19.0, 0.0, 0.0, 0.2, 35.0])
    state = c.fresh_state(plant, feed)
    react = React(plant, 1)
    react.refresh(state)
    before = state.x.copy()
    kg_h = react.step(state, np.ones(1), np.ones(1))
    gained = (state.x[c.RS] - before[c.RS]) * state.volume_m3
    assert gained.sum() == pytest.approx(1.05263 * kg_h.sum() * p.STEP_H, rel=1e-5)
    assert (before[c.SUCROSE] - state.x[c.SUCROSE]).min() > 0


def test_unavoidable_loss_and_ph_are_of_the_right_size(calm):
    _, run = calm
    share = 100.0 * run.destroyed_kg_h[-1, 0] / run.trace[-1, 0, 10]
    # common practice: 0.2-0.3 % of sucrose across clarification.
    assert 0.15 < share.sum() < 0.35
    order = [list(c.ZONES)[i] for i in np.argsort(share)[::-1]]
    assert order[:2] == ["settler", "first_evaporator"]


def test_ph_falls_about_half_a_unit_across_the_settler(calm):
    plant, run = calm
    contents = run.contents[-1, :, 0, :]
    solids = contents[c.SUCROSE] + contents[c.RS] + contents[c.OTHER]
    nominal = 0.01 * p.BRIX_PCT * 1053.1
    ph = 7.0 + contents[c.ALKALI] / (plant.buffer_meq_l_ph / nominal * solids)
    # common practice: from 7.5 to 6.9, more at the bottom than at the top.
    assert ph[c.LIMING] == pytest.approx(7.5, abs=0.02)
    assert ph[c.LIMING] - ph[c.CLEAR_LAST] == pytest.approx(0.55, abs=0.08)
    assert ph[c.MUD] < ph[c.CLEAR_LAST] - 0.1


ALONE = [(r, 0) for r in LOSSES] + [
    (r, 1) for r in CONFUSERS if r.cause not in ("frozen_tag", "spiking_tag", "lab_bias")
]


@pytest.fixture(scope="module")
def alone(calm):
    """Tonnes of each kind of event by itself in steady running, all in one batch of lanes."""
    plant, before = calm
    base = everyday(np.random.default_rng(0), 64 * HOUR, steady=True)
    lanes = [drive_matrix(base, plant)]
    for recipe, form in ALONE:
        hours, size, extra = recipe.forms[form]
        event = PlannedEvent(
            1, recipe.kind, recipe.cause, recipe.zone, 0.5, 0.5 + hours, size, extra
        )
        lanes.append(drive_matrix(apply_events(base, [event], 0, 64 * HOUR), plant))
    run = integrate(plant, c.stack([before.last] * len(lanes)), np.stack(lanes, axis=1))
    fed = run.trace[:, :, 10].sum(axis=0)
    destroyed = run.destroyed_kg_h.sum(axis=(0, 2))
    tonnes = (destroyed - destroyed[0] * fed / fed[0]) * p.STEP_H / 1000.0
    return {recipe.cause: t for (recipe, _), t in zip(ALONE, tonnes[1:], strict=True)}


@pytest.mark.parametrize("cause", [r.cause for r in LOSSES])
def test_planted_losses_lose(alone, cause):
    assert 0.2 < alone[cause] < 6.0


@pytest.mark.parametrize(
    "cause", [r.cause for r, _ in ALONE if r.kind == "confuser" and r.cause != "over_liming"]
)
def test_look_alikes_lose_next_to_nothing(alone, cause):
    assert abs(alone[cause]) < 0.1


def test_over_liming_spares_sucrose(alone):
    assert -1.0 < alone["over_liming"] < 0.0


@pytest.mark.slow
def test_planted_tonnes_are_the_difference_between_two_seasons(alone):
    plant = PlantParameters(steady=True)
    hours = LOSSES[2].forms[0][0]
    event = PlannedEvent(1, "loss", "standing_juice", "settler", 12.0, 12.0 + hours, 0.0, 0.0)
    base = everyday(np.random.default_rng(0), int(38 + hours) * HOUR, steady=True)
    matrix = drive_matrix(apply_events(base, [event], 0, len(base["rate"])), plant)[:, None, :]
    start = c.fresh_state(plant, matrix[0, 0, : c.SPECIES])
    run = integrate(plant, start, matrix, keep=frozenset({12 * HOUR}))
    tonnes = planted_tonnes(plant, base, (event,), run)[0]
    assert tonnes == pytest.approx(alone["standing_juice"], rel=0.02)


def test_truth_table_agrees_with_the_plan(season):
    truth = season.truth
    assert truth.columns == ["event", "kind", "cause", "zone", "start_utc", "end_utc", "lost_t"]
    assert set(truth["kind"]) <= {"loss", "confuser"}
    assert truth.filter(pl.col("kind") == "loss")["lost_t"].min() > 0.1
    assert truth.filter(pl.col("kind") == "confuser")["lost_t"].max() < 0.1
    gap = truth["start_utc"].shift(-1) - truth["end_utc"]
    assert gap.drop_nulls().min() >= timedelta(hours=MIN_GAP_H)


@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_eight_weeks_hold_every_loss_three_times(seed):
    plan = plan_events(np.random.default_rng(seed), 8)
    for recipe in LOSSES:
        sizes = {round(e.end_h - e.start_h, 1) for e in plan if e.cause == recipe.cause}
        assert len(sizes) == 3
    assert {e.cause for e in plan if e.kind == "confuser"} == {r.cause for r in CONFUSERS}
    assert all(b.start_h - a.end_h >= MIN_GAP_H for a, b in pairwise(plan))
    assert plan[-1].end_h < 8 * 168
    assert sum(e.end_h - e.start_h for e in plan if e.kind == "loss") < 0.36 * 8 * 168


@pytest.mark.slow
def test_ordinary_unrest_alone_keeps_the_loss_usual():
    plant = PlantParameters()
    drive = everyday(np.random.default_rng(8), 72 * HOUR)
    matrix = drive_matrix(drive, plant)[:, None, :]
    run = integrate(plant, c.fresh_state(plant, matrix[0, 0, : c.SPECIES]), matrix)
    share = 100.0 * run.destroyed_kg_h.sum() / run.trace[:, 0, 10].sum()
    assert 0.15 < share < 0.35


@pytest.mark.slow
def test_same_seed_same_season(season):
    again = simulate_season(5, 1, parameters=PlantParameters())
    assert again.tags.equals(season.tags)
    assert again.lab.equals(season.lab)
    assert again.truth.equals(season.truth)
    assert again.planted.equals(season.planted)


def test_probe_that_reads_high_hides_low_ph():
    plant = PlantParameters(steady=True)
    event = PlannedEvent(1, "loss", "ph_probe_high", "settler", 2.0, 40.0, 0.4, 0.25)
    base = everyday(np.random.default_rng(0), 30 * HOUR, steady=True)
    drive = apply_events(base, [event], 0, len(base["rate"]))
    matrix = drive_matrix(drive, plant)[:, None, :]
    run = integrate(plant, c.fresh_state(plant, matrix[0, 0, : c.SPECIES]), matrix, contents=True)
    contents = run.contents[-1, :, 0, c.LIMING]
    solids = contents[[c.SUCROSE, c.RS, c.OTHER]].sum()
    true_ph = 7.0 + contents[c.ALKALI] / (plant.buffer_meq_l_ph / (1.450e-1 * 1053.1) * solids)
    assert true_ph == pytest.approx(7.1, abs=0.03)
    assert true_ph + drive["probe_bias"][-1] == pytest.approx(7.5, abs=0.03)


def test_export_has_every_tag_in_its_shape(season):
    tags = season.tags
    assert tags.columns == ["time", "tag", "value", "quality"]
    assert tags.schema["time"] == pl.Datetime("us", "UTC")
    assert set(tags["tag"]) == {t.name for t in TAGS}
    assert len(TAGS) == 31
    assert set(tags["quality"]) <= {"good", "bad", "uncertain"}
    assert tags["value"].is_finite().all()
    assert tags.select(pl.struct("time", "tag").is_duplicated().sum()).item() == 0
    # Deadbands: clearly fewer rows than samples, never silent for long on most tags.
    samples = sum(7 * 86400 / t.every_s for t in TAGS)
    assert 0.02 < tags.height / samples < 0.5


def test_deadband_keeps_what_moves():
    value = np.array([1.0, 1.1, 1.2, 1.6, 1.6, 1.6, 1.6, 1.0])
    assert compress(value, 0.3, 100).tolist() == [0, 3, 7]
    assert compress(np.zeros(7), 0.3, 3).tolist() == [0, 3, 6]


def test_lab_results_are_text_in_local_time(season):
    lab = season.lab
    assert lab.columns == ["sampled", "point_analyte", "result"]
    assert lab.schema == {"sampled": pl.String, "point_analyte": pl.String, "result": pl.String}
    first = datetime.strptime(lab["sampled"][0], "%Y-%m-%d %H:%M")  # noqa: DTZ007
    assert first.date().isoformat() == "2025-10-06"
    assert lab["point_analyte"].n_unique() == 19
    ph = lab.filter(pl.col("point_analyte") == "LAB CJ ph")["result"].cast(pl.Float64, strict=False)
    assert ph.mean() == pytest.approx(6.9, abs=0.15)


def test_refuses_a_season_without_weeks_or_zone():
    with pytest.raises(ValueError, match="at least 1 week"):
        simulate_season(1, 0)
    with pytest.raises(ValueError, match="time zone"):
        simulate_season(1, 1, datetime(2025, 10, 6))  # noqa: DTZ001


def test_simulator_stands_on_its_own():
    folder = Path(models.simulator.__file__).parent
    for file in folder.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            assert not any(name.split(".")[0] == "features" for name in names), file.name
