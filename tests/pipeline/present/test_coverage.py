"""A thin description says what it cannot see; a whole one says nothing."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import polars as pl
import pytest

from pipeline.mill.description import load_mill
from pipeline.present.coverage import gaps_of_chance, gaps_of_coverage
from pipeline.report.season import gaps_of

ROOT = Path(__file__).resolve().parents[3]
PARTS = (
    *("station_minutes", "zone_minutes", "lab", "season", "multiplier", "notices"),
    *("sources", "tags"),
)
LAB = pl.DataFrame({"analyte": ["ph", "rs", "lactic"]})
START = datetime(2025, 11, 30, 9, tzinfo=UTC)


def judged(measured):
    times = [START + timedelta(minutes=n) for n in range(len(measured))]
    return pl.DataFrame({"ts_utc": times, "measured": measured})


WHOLE = judged([True] * 100)


@pytest.fixture(scope="module")
def station():
    return load_mill(ROOT / "configs" / "demo_mill.toml").station


def said(station, lab=LAB, losses=WHOLE):
    gaps = gaps_of_coverage(station, lab, losses, "America/Chicago")
    return " ".join(f"{g.what}: {g.why}" for g in gaps)


def test_a_well_measured_station_has_nothing_to_confess(station):
    assert said(station) == ""


@pytest.mark.parametrize(
    ("tag", "words"),
    [
        ("LT.AI212", "pH of limed juice"),
        ("ST.AI308", "pH of clear juice"),
        ("ST.LI305", "how much mud is held follows from the underflow"),
        ("CT.LI401", "how full the clear-juice tank is"),
        ("EV.TI501", "temperature of the first evaporator vessel"),
    ],
)
def test_a_missing_tag_is_told(station, tag, words):
    kept = tuple(s for s in station.signals if s.tag != tag)
    assert words in said(replace(station, signals=kept))


@pytest.mark.parametrize(
    ("analyte", "words"),
    [("ph", "probe that drifts"), ("rs", "its interval is wide"), ("lactic", "Loss to microbes")],
)
def test_a_missing_analysis_is_told(station, analyte, words):
    assert words in said(station, LAB.filter(pl.col("analyte") != analyte))


def test_minutes_without_readings_are_told(station):
    told = said(station, losses=judged([True] * 90 + [False] * 10))
    # 90 minutes after 09:00 UTC is 04:30 in Chicago (tz database: CST is UTC-6).
    assert "in 10 min of this report a reading behind the loss is missing" in told
    assert "all of them Sun 30 Nov 2025 04:30 to 04:40" in told


def test_of_several_search_windows_without_readings_the_longest_is_named(station):
    told = said(station, losses=judged([False] * 5 + [True] * 60 + [False] * 30 + [True] * 5))
    assert "in 35 min of this report a reading behind the loss is missing" in told
    assert "the longest stretch Sun 30 Nov 2025 04:05 to 04:35" in told


def test_what_the_report_says_at_its_head_is_not_said_again(station):
    lab = LAB.filter(pl.col("analyte") != "rs")
    whats = [[g.what for g in gaps_of_coverage(station, lab, WHOLE, level_told=told)]
             for told in (False, True)]  # fmt: skip
    assert whats == [["Level of the loss"], []]


def test_the_longest_list_of_what_rests_on_targets_is_not_cut_short(station):
    bare = replace(station, signals=())
    (gap,) = [g for g in gaps_of_coverage(bare, LAB, WHOLE) if "target" in g.what]
    view = SimpleNamespace(not_computed=(gap,), **dict.fromkeys(PARTS, ()))
    assert gaps_of(view) == [(gap.what, gap.why)]


def test_composites_check_no_probe_and_no_tank_but_tell_the_level_of_the_loss(station):
    mixed = LAB.with_columns(period_h=pl.lit(24.0))
    text = said(station, mixed)
    assert "no laboratory pH in this period (composite samples do not tell it)" in text
    assert "no lactic acid by the laboratory in this period (composite" in text
    assert "its interval is wide" not in text


def test_results_left_out_for_want_of_brix_are_counted(station):
    lost = pl.DataFrame({"place": ["settler"] * 3, "basis": ["solids"] * 3})
    gaps = gaps_of_coverage(station, LAB, WHOLE, "UTC", lost)
    assert [g.what for g in gaps] == ["Reducing sugars that could not be used"]
    assert gaps[0].why.startswith("3 results of settler, told on solids, have no Brix of the same")
    assert gaps_of_coverage(station, LAB, WHOLE, "UTC", lost.clear()) == ()


def test_each_channel_that_cannot_be_calibrated_is_a_line_with_what_is_shown_instead(station):
    rows = [("heat", "first_evaporator", "periods"), ("hold", "clear_juice_tank", "spells")]
    channels = pl.DataFrame(rows, schema=["channel", "section", "kind"], orient="row")
    one, two = gaps_of_chance(station, channels)
    assert one.what.endswith("makes a loss by higher temperature (first evaporator)")
    assert "over three days at most" in one.why and "0.01 at least" in one.why
    assert two.what.endswith("makes a loss by fuller vessel (clear-juice tank)")
    assert "come and go" in two.why
    assert gaps_of_chance(station, channels.clear()) == ()


def test_tags_that_lacked_longest_are_named(station):
    gaps = gaps_of_coverage(
        station,
        LAB,
        judged([True] * 90 + [False] * 10),
        lacking=[("MJ.AI103", 114), ("A", 19), ("B", 4), ("C", 1)],
    )
    told = " ".join(gap.why for gap in gaps)
    lacked = "; missing longest, all minutes added up: MJ.AI103 (1.9 h), A (19 min), B (4 min)"
    assert lacked + " and 1 more. There" in told
