"""Replays of a mill: identity, keys of the JSON, refusals, words; read from the lake alone."""

import json

import polars as pl
import pytest

from features.replay import Change
from pipeline.base.errors import ConfigError, DataError
from pipeline.base.lock import only_run
from pipeline.base.window import ONE_DAY, Window
from pipeline.cli import app
from pipeline.lake import lake_of
from pipeline.period import answer
from pipeline.replay import SeasonRan, replay, replay_as_data
from pipeline.replay.told import replay_lines

KEYS = (
    "recorded_t", "replayed_t", "saved_t", "saved_t_low", "saved_t_high", "costs", "warnings",
)  # fmt: skip


def told(mill, hours, *said):
    return json.loads(json.dumps(replay_as_data(replay(mill, hours, said)), allow_nan=False))


def test_with_nothing_changed_it_is_the_period(mill, hours):
    data = told(mill, hours)
    assert set(KEYS) <= data.keys()
    assert data["recorded_t"] == pytest.approx(answer(mill, hours).account.lost.mid, abs=1e-9)
    assert abs(data["replayed_t"] - data["recorded_t"]) <= 1e-9
    assert (data["saved_t"], data["saved_t_low"], data["saved_t_high"]) == (0.0, 0.0, 0.0)
    assert data["warnings"] == []


def test_a_change_is_answered_with_interval_costs_and_vessels(mill, hours):
    data = told(mill, hours, "ph_limed=+0.1", "first_evaporator.temp_degc=-1")
    assert 0.0 < data["saved_t_low"] < data["saved_t"] < data["saved_t_high"]
    assert data["saved_t"] == pytest.approx(data["recorded_t"] - data["replayed_t"], abs=1e-9)
    assert data["value"] == pytest.approx(520.0 * data["saved_t"])
    costs = {cost["what"]: cost for cost in data["costs"]}
    assert {"lime, as CaO", "settling margin"} <= costs.keys()
    priced = sum(cost["value"] or 0.0 for cost in data["costs"])
    assert data["net_value"] == pytest.approx(data["value"] - priced)
    parts = sum(part["recorded_t"] - part["replayed_t"] for part in data["by_vessel"])
    assert parts == pytest.approx(data["saved_t"], abs=1e-9)
    assert [(c["key"], c["how"], c["amount"]) for c in data["set"]] == [
        ("ph_limed", "by", 0.1),
        ("first_evaporator.temp_degc", "by", -1.0),
    ]


def test_a_margin_that_stays_is_not_told_as_nought_percent(mill, hours):
    # Cooler juice in the evaporator leaves the settler as it was.
    text = "\n".join(replay_lines(replay(mill, hours, ("first_evaporator.temp_degc=-1",))))
    assert "settling margin: as before" in text
    assert "0.0 %" not in text


@pytest.mark.slow
def test_adjoining_hours_save_about_what_the_whole_does(mill, hours):
    # Not to the digit: what changes at noon still has juice of the morning in the train.
    noon = hours.start + (hours.end - hours.start) / 2
    whole = told(mill, hours, "ph_limed=+0.1")["saved_t"]
    halves = [Window(hours.start, noon), Window(noon, hours.end)]
    parts = [told(mill, half, "ph_limed=+0.1") for half in halves]
    assert sum(p["saved_t"] for p in parts) < whole
    assert sum(p["saved_t"] + p["saved_later_t"] for p in parts) == pytest.approx(
        whole + told(mill, hours, "ph_limed=+0.1")["saved_later_t"], rel=0.02
    )


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("ph_limed=8.4", "hours this mill ran at"),
        ("settler.temp_degc=+20", "hours this mill ran at"),
        ("first_evaporator.temp_degc=+30", "known"),
        ("stop_h=-3", "no stop"),
        ("settler.in_service=out", "stands alone"),
        ("filtrate_to=limed", "no filtrate"),
        ("settler.temp_degc=warm", "say a number"),
        ("setler.temp_degc=-1", "there is no vessel"),
        ("\x1b[31mph=1", "there is no key"),
    ],
)
def test_what_cannot_be_answered_is_refused_in_words(mill, hours, said, words):
    with pytest.raises(ConfigError) as refused:
        replay(mill, hours, [said])
    assert words in refused.value.where
    assert "\x1b" not in str(refused.value)
    assert refused.value.next_step


def test_hours_without_search_and_too_many_are_refused(mill, hours):
    away = Window(hours.start - 400 * ONE_DAY, hours.end - 400 * ONE_DAY)
    with pytest.raises(DataError):
        replay(mill, away, ["ph_limed=+0.1"])
    with pytest.raises(ConfigError, match="too long"):
        replay(mill, Window(hours.start, hours.start + 90 * ONE_DAY), ["ph_limed=+0.1"])


@pytest.mark.slow
def test_throughput_and_a_held_ph_come_with_a_warning(mill, hours):
    faster = told(mill, hours, "flow=+3%")["warnings"]
    assert any("same sucrose fed" in warning and "1.03" in warning for warning in faster)
    held = told(mill, hours, "ph_limed=7.5")
    assert any("no loop holds it so still" in warning for warning in held["warnings"])
    # The probe's error is not shared then: the interval is the wider for it.
    moved = told(mill, hours, "ph_limed=+0.1")
    width = [(d["saved_t_high"] - d["saved_t_low"]) / d["recorded_t"] for d in (held, moved)]
    assert width[0] > width[1]


def test_the_season_tells_what_was_run(mill):
    season = SeasonRan(mill)
    limed = season.of(Change("ph_limed", "by", 0.1))
    assert 6.5 < limed.low < limed.usual_low < limed.usual_high < limed.high < 8.5
    level = season.of(Change("level_pct", "by", -5.0, "clear_juice_tank"))
    assert 0.0 < level.low < level.high < 100.0
    assert season.of(Change("in_service", "to", 0.0, "settler")) is None


def test_a_replay_writes_nothing_and_runs_beside_a_night(mine, hours):
    lake = lake_of(mine)
    before = {str(p): p.stat().st_mtime_ns for p in lake.root.rglob("*") if p.is_file()}
    with only_run(mine):
        assert told(mine, hours, "ph_limed=+0.1")["saved_t"] > 0.0
    after = {str(p): p.stat().st_mtime_ns for p in lake.root.rglob("*") if p.is_file()}
    assert before == after


def test_the_command_answers_people_and_programs(mill, capsys):
    span = ["--from", "2025-10-10T00:00", "--to", "2025-10-11T00:00"]
    asked = ["replay", str(mill.config_path), *span, "--set", "ph_limed=+0.1"]
    assert app.run([*asked, "--set", "clear_juice_tank.level_pct=-5"]) == 0
    text = capsys.readouterr().out
    assert "limed-juice pH 0.1 higher; level in the clear-juice tank 5 points lower" in text
    assert "of sucrose would have been saved, 90 % interval" in text
    assert "lime, as CaO:" in text
    assert "never writes to a control system" in text
    assert app.run([*asked, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["saved_t"] > 0.0
    assert app.run(["replay", str(mill.config_path), *span, "--set", "ph_limed=9.9"]) == 2
    assert "hours this mill ran at" in capsys.readouterr().err


def test_more_lost_is_said_as_more_lost(mill, hours, capsys):
    span = ["--from", "2025-10-10T00:00", "--to", "2025-10-11T00:00"]
    assert app.run(["replay", str(mill.config_path), *span, "--set", "ph_limed=-0.1"]) == 0
    assert "more would have been lost" in capsys.readouterr().out
    frame = pl.DataFrame(told(mill, hours, "ph_limed=-0.1")["by_vessel"])
    assert (frame["replayed_t"] >= frame["recorded_t"] - 1e-12).all()
