"""Any period of a mill: its numbers, its page, and what is said where nothing is known."""

import json
import re
import shutil
from dataclasses import replace
from datetime import timedelta

import polars as pl
import pytest

from pipeline.base.errors import ConfigError, DataError
from pipeline.base.window import Window
from pipeline.cli import app
from pipeline.cli.period_show import lines_of
from pipeline.dossier.period import view_of_period, write_period
from pipeline.lake import lake_of
from pipeline.period.answered import answer, not_computed
from pipeline.period.for_programs import as_data
from pipeline.stages.stages import detect
from pipeline.store.folders import store_of

KEYS = (
    "from", "to", "lost_t", "lost_t_low", "lost_t_high", "usual_t", "target_t", "by_vessel",
    "by_driver", "moved_first", "sensors", "findings",
)  # fmt: skip


@pytest.fixture(scope="module")
def own(first):
    """Hours of the planted spell of too little lime."""
    return Window(first["started"], first["ended"])


@pytest.fixture(scope="module")
def found(mill, own):
    return answer(mill, own)


def test_the_keys_of_the_json_are_there_and_add_up(found):
    data = json.loads(json.dumps(as_data(found), allow_nan=False))
    assert set(KEYS) <= data.keys()
    assert data["lost_t_low"] < data["lost_t"] < data["lost_t_high"]
    drivers = sum(part["above_usual_t"] for part in data["by_driver"])
    assert data["usual_t"] + drivers == pytest.approx(data["lost_t"], rel=1e-6)
    assert sum(v["lost_t"] for v in data["by_vessel"]) == pytest.approx(data["lost_t"], rel=1e-6)


def test_the_order_of_moves_is_said_to_be_the_juices_where_it_is(found):
    """Further down the train a tag saw the same juice later: clock times may go backwards."""
    by_clock = replace(found, told=replace(found.told, on_clock=True))
    of_juice = replace(found, told=replace(found.told, on_clock=False))
    assert "Moved, first one first:" in list(lines_of(by_clock))
    assert any("in the order that the juice met it" in line for line in lines_of(of_juice))
    still = replace(found, told=replace(found.told, moves=()))
    assert "No signal moved clearly." in list(lines_of(still))


def test_lanes_hold_what_was_exported_and_what_of_it_was_not_used(found, mill):
    view = view_of_period(found, {})
    start, end = view.material.drawn
    wanted = {lane.signal.tag: lane.raw for lane in view.lanes if lane.raw is not None}
    assert len(wanted) == len(mill.station.signals)
    lake = lake_of(mill)
    exported = lake.read_readings(start.date(), end.date(), list(wanted)).filter(
        pl.col("ts_utc").is_between(start, end, closed="left") & pl.col("value").is_finite()
    )
    for (tag,), part in exported.partition_by("tag", as_dict=True).items():
        raw = wanted[tag]
        assert len(raw.values) + raw.left_out == part.height
        sound = raw.values[~raw.unused]
        # Lowest and highest are there whatever is left out.
        assert {part["value"].min(), part["value"].max()} <= set(raw.values)
        assert 0.0 <= raw.at_min.min() <= raw.at_min.max() <= (end - start).total_seconds() / 60.0
        # Readings that came marked as bad are crosses, not dots.
        bad = part.filter(pl.col("bad"))["value"]
        assert len(sound) + raw.left_out <= part.height - len(bad)


def test_a_long_window_shows_minutes_alone(found, mill, own):
    week = answer(mill, Window(own.start - timedelta(days=1), own.end + timedelta(days=2)))
    assert all(lane.raw is None for lane in view_of_period(week, {}).lanes)


def test_what_lostpol_worked_out_of_each_vessel_can_be_drawn(found):
    names = {lane.what for lane in view_of_period(found, {}).lanes if "(worked out)" in lane.what}
    assert "residence time, settler (worked out)" in names
    assert "mean pH, as of a cooled sample, settler, mud (worked out)" in names


def test_a_findings_own_period_is_its_tonnes_and_names_what_it_names(found, first):
    data = as_data(found)
    (mine,) = [f for f in data["findings"] if f["finding_id"] == first["finding_id"]]
    assert mine["in_period_t"] == pytest.approx(first["lost_t"], rel=1e-9)
    # Too little lime is planted there: lime per juice, of two tags, moved first.
    assert data["moved_first"][0]["tags"] == ["LT.FI211", "MJ.FI101"]
    assert data["named"]["quantity"] == "lime_per_juice"
    assert data["named"]["during"] < data["named"]["usual"]
    kept = json.loads(first["evidence"])
    assert kept["named"]["tags"] == data["named"]["tags"]
    assert kept["facts"][0]["text"].startswith(
        "Milk of lime per juice (LT.FI211 over MJ.FI101) fell"
    )
    assert re.search(r"That explains (all|about \d+ %) of the", kept["facts"][0]["text"])


def test_adjoining_periods_add_up_in_the_store(mill, own):
    start = own.start - timedelta(hours=9)
    edges = [start, own.start + timedelta(minutes=77), own.end + timedelta(hours=3)]
    whole = as_data(answer(mill, Window(edges[0], edges[2])))
    parts = [as_data(answer(mill, Window(*edges[n : n + 2]))) for n in (0, 1)]
    for key in ("lost_t", "usual_t", "target_t", "above_usual_t", "fed_t"):
        assert sum(p[key] for p in parts) == pytest.approx(whole[key], rel=1e-9)


def test_a_quiet_period_is_said_to_be_quiet(mill, own):
    quiet = answer(mill, Window(own.start - timedelta(hours=12), own.start - timedelta(hours=8)))
    assert not quiet.cause
    assert quiet.sentence.startswith("Nothing stands out")


def test_days_with_several_losses_are_not_said_to_be_quiet(mill, own):
    days = answer(mill, Window(own.start - timedelta(days=3), own.end + timedelta(days=1)))
    assert len(days.account.findings) >= 2
    assert "Nothing stands out" not in days.sentence


def test_vessels_not_measured_are_called_as_people_call_them(mill, own):
    found = answer(mill, own)
    vessels = tuple(replace(v, not_measured_h=1.0) for v in found.account.by_vessel)
    account = replace(found.account, by_vessel=vessels)
    lacking = replace(found, reckoned=replace(found.reckoned, account=account))
    told = [what for what, _ in not_computed(lacking)]
    # One thing with all of them, as a dossier of the same hours tells it.
    (what,) = [one for one in told if one.startswith("Readings behind the loss")]
    assert "liming tank (60 min)" in what
    assert not any("_" in what for what in told)


def test_hours_beyond_the_data_are_told(mill, own):
    late = answer(mill, Window(own.end, own.end + timedelta(days=6)))
    assert any("h of this period" in what for what, _ in not_computed(late))
    with pytest.raises(DataError, match="Nothing of this period") as caught:
        answer(mill, Window(own.end + timedelta(days=60), own.end + timedelta(days=61)))
    assert "worked out reaches from" in caught.value.next_step


def test_days_that_are_not_searched_name_the_command(mine, own):
    shutil.rmtree(mine.lake_path / "features" / "driven")
    with pytest.raises(DataError) as caught:
        answer(mine, own)
    assert "lostpol backfill" in caught.value.next_step
    detect(mine, "backfill", mine.local_day(own.start - timedelta(days=30)))
    assert answer(mine, own).account.lost.mid > 0.0


def test_a_damaged_account_costs_the_minutes_and_not_the_answer(mine, own, first):
    import duckdb

    with duckdb.connect(mine.database_path) as connection:
        connection.execute('UPDATE findings SET evidence = \'{"account": {"kind": 3}}\'')
    store_of(mine).published.unlink(missing_ok=True)
    found = answer(mine, own)
    (item,) = [f for f in found.account.findings if f.finding_id == first["finding_id"]]
    assert not item.by_minute
    assert item.here.mid == pytest.approx(first["lost_t"])
    assert any(first["finding_id"] in what for what, _ in not_computed(found))


def test_the_page_needs_nothing_else_and_shows_what_was_asked(mill, own, tmp_path):
    other = Window(own.start - timedelta(days=1), own.end - timedelta(days=1))
    page = write_period(answer(mill, own, other), tmp_path / "page")
    text = page.read_text(encoding="utf-8")
    for said in ("Where it was lost", "What moved first", "lime per juice", "Beside", "Laboratory",
                 "never writes to a control system", "default-src 'none'"):  # fmt: skip
        assert said in text
    assert not re.search(r"(src|href)=\"https?://", text)
    assert {p.name for p in page.parent.iterdir()} == {
        "period.html", "minutes.csv", "minutes.parquet", "laboratory.csv", "laboratory.parquet",
    }  # fmt: skip


def test_the_page_cannot_be_written_over_a_file(mill, own, tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(ConfigError, match="could not be written"):
        write_period(answer(mill, own), tmp_path / "file")


def test_the_command_answers_people_and_programs(searched, own, tmp_path, capsys):
    path = str(searched / "demo_mill.toml")
    asked = ["period", path, "--from", own.start.isoformat(timespec="minutes"), "--to",
             own.end.isoformat(timespec="minutes")]  # fmt: skip
    assert app.run([*asked, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert set(KEYS) <= data.keys()
    assert app.run([*asked, "--out", str(tmp_path / "page")]) == 0
    said = capsys.readouterr().out
    assert "Milk of lime per juice" in said.splitlines()[1]
    assert (tmp_path / "page" / "period.html").exists()


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--from", "noon", "--to", "now"], 2, "cannot be read"),
        (["--from", "2025-10-12", "--to", "2025-10-11"], 2, "ends before it begins"),
        (["--from", "2025-11-02 01:30", "--to", "05:00"], 2, "was twice"),
        (["--from", "2031-01-01", "--to", "2031-01-02"], 3, "Nothing of this period"),
        (["--from", "2025-10-12", "--to", "2025-10-12", "--beside", "x"], 2, "compare with"),
        (["--from", "2025-10-12"], 2, "--to"),
    ],
)
def test_whatever_is_typed_wrong_gives_three_lines_and_a_code(searched, capsys, words, code, said):
    assert app.run(["period", str(searched / "demo_mill.toml"), *words]) == code
    lines = capsys.readouterr().err
    assert said in lines
    assert lines.startswith("What:")
    assert "Traceback" not in lines
