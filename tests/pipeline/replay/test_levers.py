"""Levers of a mill: kept by week, made anew where minutes changed, shown by command and report."""

import json

import polars as pl
import pytest

from pipeline.base.errors import DataError
from pipeline.base.lock import only_run
from pipeline.base.window import Window
from pipeline.cli import app
from pipeline.lake import DRIVEN, GRID, LEVERS, data_bounds, lake_of
from pipeline.present import season_levers, write_season_report, write_week_report
from pipeline.replay import levers_of, replay, work_out_levers
from pipeline.run.order import week_of
from pipeline.words import day_words


@pytest.fixture(scope="module")
def worked(tmp_path_factory, searched):
    import shutil

    from pipeline.mill.description import load_mill

    folder = tmp_path_factory.mktemp("levers") / "mill"
    shutil.copytree(searched, folder)
    mill = load_mill(folder / "demo_mill.toml")
    assert levers_of(mill) is None
    with only_run(mill):
        assert work_out_levers(mill) == len(lake_of(mill).feature_days(LEVERS)) > 0
    return mill


@pytest.mark.slow
def test_weeks_that_did_not_change_are_not_worked_out_again(worked):
    with only_run(worked):
        assert work_out_levers(worked) == 0


def test_levers_are_replays_of_the_season_best_first(worked):
    found = levers_of(worked)
    assert found.missing_weeks == 0
    worths = [step.net_value for step in found.steps]
    assert worths == sorted(worths, reverse=True)
    assert len(found.steps) >= 4
    (cooler,) = [s for s in found.steps if s.change.key == "first_evaporator.temp_degc"]
    said = f"first_evaporator.temp_degc={cooler.change.amount:+g}"
    whole = replay(worked, found.window, [said]).saving
    # Week by week the juice that straddles midnight on Sunday counts a little otherwise.
    assert cooler.saved.mid == pytest.approx(whole.saved.mid, rel=0.03)
    assert cooler.recorded_t == pytest.approx(whole.recorded_t, rel=1e-6)


def test_the_days_told_are_those_of_the_mill_that_hold_readings(worked):
    lake = lake_of(worked)
    begin, end = data_bounds(worked, lake, lake.feature_days(DRIVEN))
    found = levers_of(worked)
    assert (found.window.start, found.window.end) == (begin, end)
    # The first UTC day begins in the evening before by the mill's clock: no day of its own.
    assert season_levers(worked).days.startswith(day_words(worked.local_day(begin), end.year))


def test_the_ph_that_leads_is_a_range_where_juice_settles_well(worked):
    ph = levers_of(worked).ph
    assert 7.2 <= ph.low <= ph.high <= 7.8
    assert sum(s.change.what == "ph_limed" for s in levers_of(worked).steps) <= 1


def test_changed_minutes_leave_a_week_out_until_it_is_worked_out_again(worked):
    lake = lake_of(worked)
    day = lake.feature_days(GRID)[2]
    whole = lake.read_features(GRID, day, day)
    try:
        lake.write_features(GRID, day, whole.with_columns(pl.col("temp_settler_inside_degc") + 0.5))
        stale = levers_of(worked)
        assert stale is None or stale.missing_weeks > 0
    finally:
        lake.write_features(GRID, day, whole)
    assert levers_of(worked).missing_weeks == 0


def test_the_command_shows_them_and_says_who_may_act(worked, capsys):
    assert app.run(["levers", str(worked.config_path)]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "What each change would have saved" in text
    assert "of what settles well" in text or "is sure to cost less" in text
    assert "licensed and authorised people" in text
    assert "never writes to a control system" in text
    assert app.run(["levers", str(worked.config_path), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["levers"][0].keys() >= {"key", "saved_t", "certain_share", "net_value"}
    assert data["ph_limed"]["from_ph"] <= data["ph_limed"]["to_ph"]


def test_while_another_run_holds_the_store_what_is_kept_is_shown(worked, mine, capsys):
    with only_run(worked):
        assert app.run(["levers", str(worked.config_path)]) == 0
        assert "Another run holds the store" in capsys.readouterr().out
    with only_run(mine):
        assert app.run(["levers", str(mine.config_path)]) == DataError.exit_code
        assert "No levers of this season" in capsys.readouterr().err


@pytest.mark.slow
def test_week_and_season_reports_show_them_and_a_season_without_them_none(worked, mine):
    found = levers_of(worked)
    title = "What would have saved most"
    weekly = write_week_report(worked, week_of(worked, found.window))
    season = write_season_report(worked, found.window)
    for page in (weekly, season):
        text = page.read_text(encoding="utf-8")
        assert title in text
        assert "licensed and authorised people" in text
    assert title.upper() in weekly.with_suffix(".txt").read_text(encoding="utf-8")
    assert season_levers(mine) is None
    bare = write_season_report(mine, Window(found.window.start, found.window.end))
    assert title not in bare.read_text(encoding="utf-8")
