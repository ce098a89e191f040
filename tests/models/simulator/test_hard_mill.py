"""Mills with habits: shapes of events, joint tonnes, stops handled well."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from models.simulator import PlantParameters
from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.disturb import everyday
from models.simulator.drive import drive_matrix
from models.simulator.effects import FILTRATE_TANK, apply_events, shape
from models.simulator.events import MIN_GAP_H, PlannedEvent
from models.simulator.habits import SHAPES, STOPS, Habits
from models.simulator.hard_events import plan_hard_events
from models.simulator.integrate import integrate
from models.simulator.manners import Manners
from models.simulator.planted import groups_of, planted_tonnes, shared_tonnes

HOUR = int(1 / p.STEP_H)
EVERY = Habits(shapes=SHAPES, stops=STOPS, odd_spells=True)


def event(number, cause, start_h, end_h, size=0.0, extra=0.0, **more):
    kind = more.pop("kind", "loss")
    zone = more.pop("zone", "settler")
    return PlannedEvent(number, kind, cause, zone, start_h, end_h, size, extra, **more)


def level(shaped, at_h):
    hours = np.asarray(at_h, dtype=np.float64)
    return shape(hours, shaped, 0.4, 0.3).round(3).tolist()


def test_a_ramp_takes_all_of_its_time_to_rise_and_falls_at_its_end():
    ramp = event(1, "low_limed_ph", 10.0, 58.0, 0.5, shape="ramp")
    assert level(ramp, [9, 10, 33.76, 57.52, 58, 58.3]) == [0, 0, 0.5, 1, 1, 0]


def test_what_comes_and_goes_is_on_for_an_hour_and_off_for_three():
    fault = event(1, "overheating", 10.0, 23.0, 10.0, shape="comes_and_goes")
    hours = np.arange(0.0, 30.0, 1.0 / 60.0)
    on = shape(hours, fault, 0.5, 0.4)
    # Begins at 10, 14, 18 and 22 h: an hour each.
    assert on.sum() / 60.0 == pytest.approx(4.0, abs=0.1)
    assert level(fault, [10.5, 11.5, 13.5, 14.5, 22.5, 23.5, 26.5]) == [1, 0, 0, 1, 1, 0, 0]


@pytest.mark.parametrize("seed", range(6))
def test_blocks_keep_apart_and_members_overlap(seed):
    plan = plan_hard_events(np.random.default_rng(seed), 8, EVERY, filtrate=True)
    assert [e.number for e in plan] == list(range(1, len(plan) + 1))
    assert all(a.start_h <= b.start_h for a, b in pairwise(plan))
    assert plan[-1].end_h < 8 * 168
    lossy = {h for e in plan if e.kind == "loss" for h in range(int(e.start_h), int(e.end_h))}
    assert len(lossy) < 0.45 * 8 * 168
    for a, b in pairwise(plan):
        if not (a.kin or b.kin or a.shape == "drift"):
            assert b.start_h - a.end_h >= MIN_GAP_H
    said = {e.shape for e in plan} | {e.kin for e in plan}
    assert {"drift", "ramp", "comes_and_goes", "pair", "over_stop"} <= said
    (drift,) = [e for e in plan if e.shape == "drift"]
    assert drift.cause == "ph_probe_high"
    assert 7 * 24 <= drift.end_h - drift.start_h <= 10 * 24 + 0.1
    assert 0.25 <= drift.size <= 0.45
    pairs = [e for e in plan if e.kin == "pair"]
    assert pairs
    for first, second in zip(pairs[::2], pairs[1::2], strict=True):
        assert first.cause != second.cause
        assert second.start_h < first.end_h
    for fault, stop in pairwise(e for e in plan if e.kin == "over_stop"):
        if stop.cause in ("standing_juice", "handled_stop"):
            assert fault.start_h < stop.start_h < stop.end_h < fault.end_h
    assert {e.zone for e in plan if e.cause == "microbial"} == {"liming_tank", FILTRATE_TANK}


def test_a_mill_without_a_habit_has_no_such_event():
    plan = plan_hard_events(np.random.default_rng(1), 6, Habits())
    assert {e.shape for e in plan if e.kind == "loss"} == {"step"}
    assert {e.kin for e in plan} == {""}
    assert FILTRATE_TANK not in {e.zone for e in plan}
    with pytest.raises(ValueError, match="at least 1 week"):
        plan_hard_events(np.random.default_rng(1), 0, Habits())


PAIR = (
    event(1, "low_limed_ph", 8.0, 20.0, 0.5),
    event(2, "tank_held", 10.0, 24.0, 96.0, zone="clear_juice_tank"),
)


def steady_run(events, hours, plant=None):
    plant = plant or PlantParameters(steady=True)
    base = everyday(np.random.default_rng(0), hours * HOUR, steady=True)
    matrix = drive_matrix(apply_events(base, events, 0, hours * HOUR), plant)[:, None, :]
    start = c.fresh_state(plant, matrix[0, 0, : c.SPECIES])
    keep = frozenset(int(e.start_h / p.STEP_H) for e in events)
    return plant, base, integrate(plant, start, matrix, keep=keep)


def beyond_t(plant, base, seasons, first_h, last_h):
    """Tonnes destroyed in each of these seasons beyond the first, for the same sucrose fed."""
    steps, span = len(base["rate"]), slice(first_h * HOUR, last_h * HOUR)
    lanes = [drive_matrix(apply_events(base, events, 0, steps), plant) for events in seasons]
    start = c.fresh_state(plant, lanes[0][0, : c.SPECIES])
    run = integrate(plant, c.stack([start] * len(lanes)), np.stack(lanes, axis=1))
    destroyed = run.destroyed_kg_h[span].sum(axis=(0, 2)) * p.STEP_H / 1000.0
    fed = run.trace[span, :, 10].sum(axis=0)
    return (destroyed - destroyed[0] * fed / fed[0])[1:]


@pytest.mark.slow
def test_losses_that_overlap_share_their_joint_tonnes():
    plant, base, run = steady_run(PAIR, 33)
    tonnes = planted_tonnes(plant, base, PAIR, run)
    joint, *alone = beyond_t(plant, base, [(), PAIR, PAIR[:1], PAIR[1:]], 8, 32)
    assert sum(tonnes) == pytest.approx(joint, rel=1e-6)
    # Both together lose more than the sum of each by itself.
    assert joint > sum(alone) * 1.02
    # Of two players each gets half of what is joint (Shapley's value of two).
    gain = joint - sum(alone)
    for share, own in zip(tonnes, alone, strict=True):
        assert share == pytest.approx(own + 0.5 * gain, rel=1e-6)


def test_shares_of_three_add_up_and_need_no_order():
    worth = {
        frozenset(s): v
        for s, v in [
            ((), 0.0), ((0,), 1.0), ((1,), 2.0), ((2,), 0.0),
            ((0, 1), 4.0), ((0, 2), 1.0), ((1, 2), 2.0), ((0, 1, 2), 4.0),
        ]
    }  # fmt: skip
    group = tuple(event(i, "overheating", 1.0 * i, 10.0) for i in (7, 8, 9))
    shares = shared_tonnes(group, worth)
    # The third adds nothing to anything: the other two are a game of two (computed by hand).
    assert shares == pytest.approx({7: 1.5, 8: 2.5, 9: 0.0})


@pytest.mark.slow
def test_a_look_alike_inside_a_loss_shares_nothing():
    stop = event(2, "handled_stop", 12.0, 18.0, kind="confuser", shape="emptied")
    fault = event(1, "overheating", 8.0, 22.0, 9.0, zone="first_evaporator")
    events = (fault, stop)
    assert groups_of(events) == [events]
    plant, base, run = steady_run(events, 31)
    tonnes = planted_tonnes(plant, base, events, run)
    assert tonnes[1] == 0.0
    (beyond,) = beyond_t(plant, base, [(stop,), events], 8, 30)
    assert tonnes[0] == pytest.approx(beyond, rel=1e-6)


def test_groups_end_where_the_station_has_washed_out():
    near = (event(1, "overheating", 10, 20), event(2, "overheating", 27.9, 30))
    apart = (event(1, "overheating", 10, 20), event(2, "overheating", 28.0, 30))
    hidden = (event(1, "overheating", 10, 20), event(2, "lab_bias", 12, 14))
    assert [len(g) for g in groups_of(near)] == [2]
    assert [len(g) for g in groups_of(apart)] == [1, 1]
    assert [len(g) for g in groups_of(hidden)] == [1]


WAYS = (
    ("emptied", 0.0, 0.0),
    ("emptied_late", 0.0, 0.3),
    ("emptied_late", 0.0, 2.0),
    ("cooled", 0.0, 0.0),
    ("limed", 1.0, 3.5),
    ("flushed", 0.0, 3.5),
)


def test_a_stop_handled_in_any_way_loses_a_small_part_of_one_that_is_not():
    stops = [event(1, "standing_juice", 10.0, 18.0)]
    for way, size, extra in WAYS:
        end_h = 18.0 + (extra if way in ("limed", "flushed") else 0.0)
        stops.append(event(1, "handled_stop", 10.0, end_h, size, extra, shape=way))
    plant = PlantParameters(steady=True)
    base = everyday(np.random.default_rng(0), 30 * HOUR, steady=True)
    lost = beyond_t(plant, base, [(), *zip(stops)], 9, 30)
    assert lost[0] > 0.3
    assert (lost[1:] < 0.35 * lost[0]).all()


@pytest.mark.slow
def test_a_sour_filtrate_tank_counts_where_the_event_acts_there():
    """Held mud sends less to the filters: what rots less there is no gain of the settler's."""
    manners = Manners(filtrate_share=0.12, filtrate_eaten_kg_m3_h=1.0, filtrate_age_h=4.0)
    plant = replace(PlantParameters(steady=True), manners=manners)
    spell = event(1, "microbial", 8.0, 16.0, 3.0, zone=FILTRATE_TANK)
    held = event(2, "mud_held", 24.0, 36.0, 0.25, 92.0, zone="settler:mud")
    plant, base, run = steady_run((spell, held), 45, plant)
    sour, mud = planted_tonnes(plant, base, (spell, held), run)
    assert sour > 0.1
    assert 0.1 < mud < 1.0
