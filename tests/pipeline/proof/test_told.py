"""What a simulated mill with habits writes of itself, and what is written of its truth."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from models.simulator import Habits, PlantParameters, Season, draw_hard_mill
from pipeline.mill.description import load_mill
from pipeline.proof.sample import HIDDEN, write_sample
from pipeline.proof.told import described, guessed_volumes

TEMPLATE = Path(__file__).resolve().parents[3] / "configs" / "demo_mill.toml"
SERIES = ["LAB LJ ph", "LAB CJ ph", "LAB CJ rs", "LAB CJ brix", "LAB EV rs", "LAB EV brix"]


def hard_mill(**habits):
    mill = draw_hard_mill(3)
    manners = replace(mill.plant.manners, filtrate_share=0.1, filtrate_metered=True)
    plant = replace(mill.plant, sampling=2, manners=manners)
    return replace(mill, plant=plant, habits=Habits(**habits))


def test_a_mill_describes_the_tags_and_analyses_it_has(tmp_path):
    hard = hard_mill(lacks=("ST.LI305", "EV.TI501"), composite_h=24.0)
    mill = described(TEMPLATE, hard, 3, SERIES, tmp_path)
    tags = {signal.tag: signal for signal in mill.station.signals}
    assert not {"ST.LI305", "EV.TI501"} & set(tags)
    assert tags["LT.AI212"].every_s == 20
    assert (tags["RF.FI601"].place, tags["RF.FI601"].quantity) == ("filtrate", "flow")
    lab = {source.tag: source for source in mill.station.lab}
    assert set(lab) == set(SERIES)
    assert (lab["LAB EV rs"].place, lab["LAB EV rs"].port) == ("first_evaporator", "out")
    assert (lab["LAB CJ rs"].period_h, lab["LAB CJ ph"].period_h) == (24.0, 0.0)
    assert mill.database_path.parent == tmp_path / "store"


def test_all_else_is_as_in_the_template(tmp_path):
    usual = load_mill(TEMPLATE)
    series = [source.tag for source in usual.station.lab]
    hard = hard_mill()
    plain = replace(hard, plant=PlantParameters())
    mill = described(TEMPLATE, plain, 3, series, tmp_path)
    assert mill.station.targets == usual.station.targets
    assert {s.tag: s for s in mill.station.signals} == {s.tag: s for s in usual.station.signals}
    assert {s.tag: s for s in mill.station.lab} == {s.tag: s for s in usual.station.lab}
    assert mill.exports == usual.exports
    for told, known in zip(mill.station.vessels, usual.station.vessels, strict=True):
        volumes = {"volume_m3": known.volume_m3, "mud_volume_m3": known.mud_volume_m3}
        assert replace(told, **volumes) == known


def test_a_recorder_that_looks_seldom_is_known_to(tmp_path):
    mill = described(TEMPLATE, hard_mill(recorder="snapshots"), 3, SERIES, tmp_path)
    assert {signal.every_s for signal in mill.station.signals} == {300}


def test_volumes_are_believed_roughly():
    plant = PlantParameters()
    told = [guessed_volumes(plant, seed)["settler"] for seed in range(40)]
    assert guessed_volumes(plant, 5) == guessed_volumes(plant, 5)
    assert 0.03 < pl.Series(told).log().std() < 0.13
    assert sum(told) / 40 == pytest.approx(332.0, rel=0.05)


def test_the_written_truth_tells_manners_and_habits(tmp_path):
    start = datetime(2025, 10, 6, tzinfo=UTC)
    hard = hard_mill(lactic=False)
    empty = pl.DataFrame({"time": [start]})
    season = Season(
        tags=empty,
        lab=empty,
        truth=empty,
        planted=pl.DataFrame({"ts_utc": [start]}),
        events=(),
        parameters=hard.plant,
        balance_kg={},
        habits=hard.habits,
    )
    files = write_sample(tmp_path / "hard", season)
    hidden = {file.stem: file for file in files if file.stem in HIDDEN}
    assert set(hidden) == {"planted", "hidden"}
    told = json.loads(hidden["hidden"].read_text(encoding="utf-8"))
    assert told["habits"]["lactic"] is False
    assert told["plant"]["manners"]["filtrate_share"] == 0.1
    # A mill without habits is written as ever.
    plain = write_sample(tmp_path / "plain", replace(season, habits=None))
    assert {file.stem for file in plain} == {"tags_week1", "lab", "planted"}
