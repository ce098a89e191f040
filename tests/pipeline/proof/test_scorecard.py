"""One mill from exports to marks, several side by side, and what the command says."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from models.judge.naive_rules import report_nothing
from models.judge.scorecard import score
from models.simulator import Habits, HardMill, PlantParameters, Season, draw_any_plant
from pipeline.base import cores
from pipeline.base.errors import DataError
from pipeline.cli import app
from pipeline.mill.description import load_mill
from pipeline.proof import one_mill, scorecard
from pipeline.proof.one_mill import CONFIDENT, LISTED, MillMarks, Plan

ROOT = Path(__file__).resolve().parents[3]
START, END = datetime(2025, 10, 8, 5, tzinfo=UTC), datetime(2025, 10, 11, 5, tzinfo=UTC)
METHODS = ["nothing", "everything", "random", "pH limit", "fixed limits", "3 sigma", "forest"]


def short_season(*_, **__):
    """Three days of the sample season, with one planted overheating and one look-alike."""
    folder = ROOT / "sample_parquet"
    inside = pl.col("time").is_between(START, END, closed="left")
    tags = pl.read_parquet(folder / "tags_week1.parquet").filter(inside)
    sampled = pl.col("sampled").is_between(pl.lit("2025-10-08"), pl.lit("2025-10-11"))
    truth = pl.read_parquet(folder / "planted.parquet").filter(pl.col("end_utc") < END)
    return Season(
        tags=tags,
        lab=pl.read_parquet(folder / "lab.parquet").filter(sampled),
        truth=truth,
        planted=pl.DataFrame({"ts_utc": [START, END]}),
        events=(),
        parameters=PlantParameters(),
        balance_kg={},
    )


@pytest.fixture(scope="module")
def marked():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(one_mill, "simulate_season", short_season)
        (mill,) = scorecard.mark_mills(Plan((7,), weeks=1, any_mill=False, nightly=True))
    return mill


def test_one_mill_from_exports_to_marks(marked):
    assert [name for name in marked.cards if name != CONFIDENT] == [LISTED, *METHODS]
    card = marked.cards[LISTED]
    assert (card.loss_events, card.confusers, card.weeks) == (1, 1, 1.0)
    assert card.events["cause"].to_list() == ["overheating"]
    assert card.found_events == 1
    assert card.is_nightly
    # It began at 21:50 and was under way for seven hours when the night's run looked.
    assert card.events["listed_d"].item() == pytest.approx(7.17 / 24, abs=0.01)
    assert marked.loss_share == pytest.approx(15.417 / 168, abs=1e-4)
    assert marked.event_share == pytest.approx((15.417 + 25.0) / 168, abs=1e-4)


def test_every_simple_rule_is_marked_beside_it(marked):
    for name in METHODS:
        assert marked.cards[name].loss_events == 1
        assert marked.cards[name].is_nightly
    assert marked.cards["nothing"].findings == 0
    # Nine kelvin too hot is beyond the limit of five.
    assert marked.cards["fixed limits"].found_events == 1


def test_a_described_mill_knows_its_volumes_roughly_and_its_sampling_exactly():
    mill = load_mill(ROOT / "configs" / "demo_mill.toml")
    plant = draw_any_plant(412)
    told = one_mill.believed(mill, plant, 412)
    volumes = {vessel.name: vessel.volume_m3 for vessel in told.station.vessels}
    assert volumes["settler"] != plant.settler_m3
    assert volumes["settler"] == pytest.approx(plant.settler_m3, rel=0.35)
    every_s = {signal.tag: signal.every_s for signal in told.station.signals}
    assert every_s["LT.AI212"] == 10 * plant.sampling
    assert told == one_mill.believed(mill, plant, 412)


def test_unseen_seeds_begin_where_tuning_never_looked():
    assert scorecard.proof_seeds(2, any_mill=True) == (501, 502)
    assert scorecard.proof_seeds(1, any_mill=False) == (201,)
    assert scorecard.proof_seeds(2, any_mill=True, hard=True) == (9001, 9002)


def made_up(seed, plan, progress=None):
    truth = pl.read_parquet(ROOT / "sample_parquet" / "planted.parquet")
    cards = {name: score(truth, report_nothing(), float(plan.weeks)) for name in (LISTED, *METHODS)}
    return MillMarks(seed, PlantParameters(), cards, 0.3, 0.35, 12.0)


def threads(jobs, *_, **__):
    return ThreadPoolExecutor(jobs)


def test_mills_side_by_side(monkeypatch):
    monkeypatch.setattr(cores, "ProcessPoolExecutor", threads)
    monkeypatch.setattr(scorecard, "mark_mill", made_up)
    told = []
    mills = list(scorecard.mark_mills(Plan((4, 3, 2), jobs=2), lambda *step: told.append(step[1:])))
    assert sorted(mill.seed for mill in mills) == [2, 3, 4]
    assert told[-1] == (3, 3)


def test_a_worker_that_is_stopped_is_told(monkeypatch):
    def stopped(seed, plan):
        raise BrokenProcessPool

    monkeypatch.setattr(cores, "ProcessPoolExecutor", threads)
    monkeypatch.setattr(scorecard, "mark_mill", stopped)
    with pytest.raises(DataError, match="fewer --jobs"):
        list(scorecard.mark_mills(Plan((1, 2), jobs=2)))


def test_without_the_template_nothing_is_simulated(tmp_path):
    with pytest.raises(DataError, match="checkout"):
        list(scorecard.mark_mills(Plan((1,), template=tmp_path / "none.toml")))


def test_the_command_says_all_and_writes_all(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(scorecard, "mark_mill", made_up)
    file = tmp_path / "marks.json"
    words = ["scorecard", "--seeds", "9", "8", "--weeks", "8", "--json", str(file)]
    assert app.run(words) == 0
    said = capsys.readouterr().out
    for word in ("mill 8", "mill 9", *METHODS, "NDCG", "2 mills drawn from a wide range"):
        assert word in said
    written = json.loads(file.read_text(encoding="utf-8"))
    assert [mill["seed"] for mill in written["mills"]] == [8, 9]
    assert written["together"][LISTED]["tonnes_found_share"] == 0.0
    assert written["together"]["forest"]["events"] == 48
    assert written["mills"][0]["plant"]["kinetics_multiplier"] == 1.9
    assert len(written["mills"][0]["events"]) == 24


def hard_one(seed, plan, progress=None):
    assert plan.hard
    mill = made_up(seed, plan)
    habits = Habits(lactic=seed % 2 == 0)
    return replace(mill, habits=habits, traits=("filtrate", *habits.present()))


def test_hard_mills_are_told_by_shape_trait_and_lactic_acid(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(scorecard, "mark_mill", hard_one)
    file = tmp_path / "marks.json"
    words = ["scorecard", "--hard-mill", "--seeds", "8", "9", "--weeks", "8", "--json", str(file)]
    assert app.run(words) == 0
    said = capsys.readouterr().out
    for word in ("with bad manners", "shape", "filtrate", "without lactic acid: 0 of", "tank_held"):
        assert word in said
    written = json.loads(file.read_text(encoding="utf-8"))
    assert written["hard_mill"] is True
    assert set(written["microbial_over_half_t"]) == {"with_lactic_acid", "without_lactic_acid"}
    assert written["by_trait"]["filtrate"]["listed"]["without"] is None
    assert written["by_trait"]["no lactic acid"]["forest"]["with"]["events"] == 24
    assert written["by_shape"]["listed"]["step"]["events"] == 48
    assert written["by_cause"]["nothing"]["microbial"]["events_found"] == 0
    assert [mill["habits"]["lactic"] for mill in written["mills"]] == [True, False]
    assert written["mills"][1]["traits"] == ["filtrate", "no lactic acid"]


@pytest.mark.slow
def test_a_hard_mill_goes_through_the_same_stages(monkeypatch):
    """A station with its own description of fewer tags, from files to marks."""
    habits = Habits(lacks=("ST.LI305",), lab_plan="mixed_clear")
    hard = HardMill(PlantParameters(), habits)
    season = short_season()
    less = pl.col("tag") != "ST.LI305"
    shaped = season.truth.with_columns(shape=pl.lit("ramp"), kin=pl.lit(""))
    few = replace(season, tags=season.tags.filter(less), truth=shaped, habits=habits)
    monkeypatch.setattr(one_mill, "draw_hard_mill", lambda seed: hard)
    monkeypatch.setattr(one_mill, "simulate_season", lambda *_, **__: few)
    (mill,) = scorecard.mark_mills(Plan((7,), weeks=1, hard=True))
    assert mill.habits == habits
    assert mill.traits == habits.present()
    assert mill.cards[LISTED].found_events == 1
    assert mill.cards[LISTED].events["shape"].to_list() == ["ramp"]


def test_the_command_refuses_what_makes_no_sense(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(scorecard, "mark_mill", made_up)
    assert app.run(["scorecard", "--seeds", "-3"]) == 2
    assert app.run(["scorecard", "--mills", "0"]) == 2
    assert app.run(["scorecard", "--hard-mill", "--usual-mill"]) == 2
    assert app.run(["scorecard", "--seeds", "3", "--json", str(tmp_path / "no" / "x.json")]) == 2
    assert "does not exist" in capsys.readouterr().err
    assert app.run(["scorecard", "--seeds", "3", "--json", str(tmp_path)]) == 2
    assert "could not be written" in capsys.readouterr().err
