"""Habits of laboratories and recorders of hard mills, and how mills are drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from models.simulator import cells as c
from models.simulator import draw_habits, draw_hard_mill, simulate_season
from models.simulator import parameters as p
from models.simulator.habits import LAB_PLANS, OFTEN_LACKING, RECORDERS, SHAPES, STOPS, Habits
from models.simulator.lab_customs import Customs, Errors, gathered
from models.simulator.laboratory import lab_results
from models.simulator.recorders import averages, snapshots, swinging

HOUR = int(1 / p.STEP_H)
EVERY = Habits(shapes=SHAPES, stops=STOPS, odd_spells=True)


# Laboratories.


@pytest.fixture(scope="module")
def hard_season():
    mill = draw_hard_mill(17)
    habits = replace(
        EVERY,
        lab_plan="clear_syrup",
        lactic=False,
        composite_h=8.0,
        lacks=("ST.LI305", "EV.TI501"),
        recorder="averages",
        fewer_digits=1,
        quality_told=False,
    )
    plant = replace(mill.plant, sampling=1, manners=replace(mill.plant.manners, filtrate_share=0.1))
    plant = replace(plant, manners=replace(plant.manners, filtrate_metered=True))
    return simulate_season(17, 1, parameters=plant, habits=habits)


@pytest.mark.slow
def test_a_laboratory_analyses_what_its_plan_says(hard_season):
    series = set(hard_season.lab["point_analyte"])
    sugars = {f"LAB {point} {a}" for point in ("CJ", "EV") for a in ("brix", "pol", "rs")}
    assert series == {"LAB LJ ph", "LAB CJ ph"} | sugars
    counts = dict(hard_season.lab.group_by("point_analyte").len().rows())
    # Three composites a day at most, and no pH in them.
    assert 10 < counts["LAB CJ rs"] <= 21
    assert counts["LAB CJ ph"] > 30
    times = hard_season.lab.filter(pl.col("point_analyte") == "LAB CJ rs")["sampled"]
    assert set(times.str.slice(11)) <= {"00:00", "08:00", "16:00"}


def test_every_plan_names_points_of_the_laboratory():
    for plan in LAB_PLANS:
        customs = Customs(Habits(lab_plan=plan, lactic=False), 168.0)
        assert all(customs.grabs(point) for point in customs.points)
    assert Customs(Habits(), 168.0).grabs("LJ") == ("ph", "brix", "pol", "rs", "lactic")
    assert Customs(Habits(), 168.0).grabs("CJ") == ("ph", "brix", "pol", "rs")
    # Without mixed juice lactic acid says nothing of what was made in the station.
    assert Customs(Habits(lab_plan="clear_syrup"), 168.0).grabs("LJ") == ("ph",)
    assert "no lactic acid" in Habits(lab_plan="clear_syrup").present()


def test_juice_is_gathered_in_proportion_to_the_flow():
    contents = np.repeat([[1.0] * 7, [4.0] * 7, [9.0] * 7], [HOUR, HOUR, 2 * HOUR], axis=0)
    running = np.repeat([1.0, 0.5, 0.0], [HOUR, HOUR, 2 * HOUR])
    from_h, mixed = gathered(contents, running, 2.0)
    # (1 x 1 + 0.5 x 4) / 1.5; nothing is gathered of a standing station.
    assert from_h.tolist() == [0.0]
    assert mixed.ravel().tolist() == pytest.approx([2.0] * 7)


def analysed(habits):
    """Medians of a week's results of juice that never changes, by an exact laboratory."""
    juice = np.array([128.0, 5.0, 19.0, 0.0, 0.0, 0.2, 35.0])
    steps = 168 * HOUR
    feed = np.broadcast_to(juice, (steps, c.SPECIES))
    contents = np.broadcast_to(juice[None, :, None], (steps, c.SPECIES, c.CELLS))
    customs = Customs(habits, 168.0, None, Errors().scaled(1e-6))
    lab = lab_results(
        np.random.default_rng(2),
        feed,
        contents,
        np.full((steps, c.CELLS + 1), 7.0),
        np.ones(steps),
        (),
        customs,
    )
    value = pl.col("result").cast(pl.Float64, strict=False)
    return dict(lab.group_by("point_analyte").agg(value.median()).rows())


def test_a_method_is_off_by_what_the_mill_is_given():
    off = Habits(
        rs_bias=(0.0, 0.03, -0.02, 0.0, 0.0),
        brix_bias=(0.0, 0.1, 0.0, 0.0, 0.0),
        pol_bias=(0.0, 0.0, -0.2, 0.0, 0.0),
    )
    plain, biased = (analysed(habits) for habits in (Habits(), off))
    assert biased["LAB LJ rs"] / plain["LAB LJ rs"] == pytest.approx(1.03, abs=0.001)
    assert biased["LAB CJ rs"] / plain["LAB CJ rs"] == pytest.approx(0.98, abs=0.0015)
    assert biased["LAB MJ rs"] == pytest.approx(plain["LAB MJ rs"], rel=0.001)
    assert biased["LAB LJ brix"] - plain["LAB LJ brix"] == pytest.approx(0.1, abs=0.01)
    assert biased["LAB CJ pol"] - plain["LAB CJ pol"] == pytest.approx(-0.2, abs=0.01)
    assert biased["LAB CJ ph"] == plain["LAB CJ ph"]


def test_reagents_step_every_two_to_four_weeks():
    habits = Habits(reagent_rel_sd=0.03, reagent_days=21.0)
    customs = Customs(habits, 26 * 168.0, np.random.default_rng(5))
    hours = np.arange(0.0, 26 * 168.0)
    levels = customs.off("CJ", hours).rs
    changes = np.flatnonzero(np.diff(levels)) / 24.0
    assert 7 <= changes.size <= 12
    assert np.diff(changes).min() >= 14.0 - 0.1
    assert np.diff(changes).max() <= 28.0 + 0.1
    assert 0.01 < np.std(np.unique(levels)) < 0.06
    # All juices move together.
    assert np.array_equal(levels, customs.off("MJ", hours).rs)


# Recorders.


@pytest.mark.slow
def test_a_mill_exports_only_the_tags_it_has(hard_season):
    tags = hard_season.tags
    assert not set(tags["tag"]) & {"ST.LI305", "EV.TI501"}
    assert "RF.FI601" in set(tags["tag"])
    assert set(tags["quality"]) == {"good"}
    flow = tags.filter(pl.col("tag") == "RF.FI601")["value"]
    # A tenth of 265 m3/h, warm.
    assert 15.0 < flow.median() < 40.0


@pytest.mark.slow
def test_averages_and_digits(hard_season):
    limed = hard_season.tags.filter(pl.col("tag") == "LT.AI212")
    assert set(limed["time"].dt.second()) == {0}
    # Two digits instead of three.
    assert (limed["value"] - limed["value"].round(2)).abs().max() < 1e-9
    assert (limed["value"] - limed["value"].round(1)).abs().max() > 0.01
    kept, means = averages(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 9.0, 7.0]), 10)
    assert (kept.tolist(), means.tolist()) == ([0], [4.0])
    kept, means = averages(np.array([1.0, 2.0]), 120)
    assert (kept.tolist(), means.tolist()) == ([0, 1], [1.0, 2.0])


def test_snapshots_see_every_five_minutes():
    assert snapshots(70, 10).tolist() == [0, 30, 60]
    assert snapshots(4, 120).tolist() == [0, 2]


def test_a_swinging_recorder_draws_lines_within_its_band():
    rng = np.random.default_rng(3)
    # Steps beyond the exception limit are all looked at: the slopes' band holds exactly.
    wild = np.cumsum(0.3 * rng.choice([-1.0, 1.0], size=4000))
    kept = swinging(wild, 0.5, 400)
    drawn = np.interp(np.arange(wild.size), kept, wild[kept])
    assert np.abs(drawn - wild).max() <= 0.5 + 1e-9
    # What is not looked at lies within half a band of what was, at either of its ends.
    value = np.cumsum(rng.normal(0.0, 0.1, size=4000))
    kept = swinging(value, 0.5, 400)
    drawn = np.interp(np.arange(value.size), kept, value[kept])
    assert np.abs(drawn - value).max() <= 1.0 + 1e-9
    assert 0.002 < kept.size / value.size < 0.1
    assert np.diff(kept).max() <= 401
    # A straight line needs its two ends alone.
    assert swinging(np.linspace(0.0, 50.0, 200), 0.5, 1000).tolist() == [0, 199]
    assert swinging(np.array([]), 0.5, 10).size == 0


# Drawing.


def test_mills_differ_and_one_seed_gives_one_mill():
    drawn = [draw_habits(seed) for seed in range(60)]
    assert draw_habits(7) == draw_habits(7)
    assert {h.recorder for h in drawn} == set(RECORDERS)
    assert {h.lab_plan for h in drawn} == set(LAB_PLANS)
    assert {s for h in drawn for s in h.shapes} == set(SHAPES)
    assert {s for h in drawn for s in h.stops} == set(STOPS)
    assert {t for h in drawn for t in h.lacks} == set(OFTEN_LACKING)
    assert 0.3 < np.mean([h.lactic for h in drawn]) < 0.7
    assert 0.2 < np.std([h.rs_bias[1] for h in drawn]) / 0.03 < 1.3
    mill = draw_hard_mill(7)
    assert mill.plant.manners is not None
    assert set(mill.habits.present()) <= set(mill.present())


def test_habits_refuse_words_that_nothing_knows():
    with pytest.raises(ValueError, match="recorder cannot be 'paper'"):
        Habits(recorder="paper")
    with pytest.raises(ValueError, match="shapes cannot be 'wave'"):
        Habits(shapes=("wave",))


@pytest.mark.slow
def test_truth_tells_shape_and_company(hard_season):
    truth = hard_season.truth
    assert truth.columns[-2:] == ["shape", "kin"]
    assert truth.height == len(hard_season.events)
    assert truth["shape"].to_list() == [e.shape for e in hard_season.events]
    assert hard_season.habits.as_dict()["lab_plan"] == "clear_syrup"
