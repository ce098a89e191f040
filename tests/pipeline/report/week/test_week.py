"""The weekly review: its sums by hand, its control charts, and what it says when things lack."""

import math
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from importlib import import_module

import polars as pl
import pytest
from pages import Words

from features.base.station import Targets
from models.account import added_findings
from pipeline.charts import control_chart
from pipeline.charts.control_chart import Titled, control, multiplier_days, rolling
from pipeline.charts.svg import Drawing
from pipeline.report.pages import page_of, text_of
from pipeline.report.season_head import level_log_sd
from pipeline.report.sensor_groups import gathered_sensors
from pipeline.report.settling import settling_days
from pipeline.report.shifts import shift_lengths, shift_sums
from pipeline.report.week import control as week_control
from pipeline.report.week.fixes import check_fix
from pipeline.report.week.keeper import compose_keeper
from pipeline.report.week.week import compose_week
from pipeline.report.write import write_week
from pipeline.words import tonnes


@pytest.fixture(autouse=True)
def quick(request, monkeypatch):
    """Charts take a second a page: without `drawn` there are none."""
    if "drawn" not in request.fixturenames:
        # By name, as the package calls a function of its own `compose` too.
        compose = import_module("pipeline.report.season")
        monkeypatch.setattr(compose, "season_chart", lambda *_: Drawing(note="not drawn"))
        monkeypatch.setattr(control_chart, "draw", lambda *_: None)


def told(week) -> str:
    return " ".join(text_of("week", compose_week(week)).split())


def test_week_and_season_by_hand(week):
    # Kinetics 7 x 0.5 = 3.5 t; half of the microbial finding (0.4 t) lies in the week: 3.7 t.
    # Kinetics: level 0.2 x 3.5 = 0.70 t, pH ln(10) x 0.045 x 16.8 t x sqrt(2 x 8 h / 156 h) =
    # 0.558 t; 1.6449 x their root is 1.472 t. Microbes 0.1 and 0.2 t: sqrt gives 1.48 and 1.49.
    lines = compose_week(week)["lines"]
    assert lines[0]["mass"] == "3.7 t (2.2 to 5.2)"
    assert lines[0]["worth"] == "USD 1,900 (1,200 to 2,700)"
    # The week before: 7 x 0.3 = 2.1 t and the other half of the microbes.
    assert lines[1]["mass"] == "2.3 t (1.2 to 3.4)"
    # The season: 21 x 0.3 + 7 x 0.5 = 9.8 t and 0.4 t of microbes.
    assert lines[2]["mass"].startswith("10 t") or lines[2]["mass"].startswith("10.2 t")


def test_causes_are_ordered_and_add_up_with_what_no_finding_holds(week):
    rows = compose_week(week)["causes"]
    assert [row.name for row in rows[:3]] == [
        "Limed juice too acid",
        "Juice hotter than its target",
        "Sugar eaten by microbes",
    ]
    # 1.2 + 0.6 + 0.2 = 2.0 t of 3.7 t; 1.7 t lie in no finding.
    # The week before: the tank held too full (2.0 t), limed juice (0.8 t) and the other half of
    # the microbes (0.2 t) of 2.3 t: it did 0.7 t better than at the targets outside them.
    here = [row for row in rows if row.role != "gone"]
    assert [row.mass.split(" (")[0] for row in here] == [
        *("1.2 t", "0.60 t", "0.20 t", "1.7 t", "3.7 t")
    ]
    assert [row.before for row in rows] == [
        *("0.80 t", "none", "0.20 t", "2.0 t", "0.70 t better", "2.3 t")
    ]
    assert rows[-2].name.startswith("In no finding")
    assert [row.share for row in here] == ["32 %", "16 %", "5.4 %", "46 %", ""]
    assert "url(#hatch)" in rows[-2].bar
    assert "url(#hatch)" not in rows[0].bar


def test_a_week_better_than_its_findings_says_so(make_week):
    little = make_week().report.season.with_columns(excess_t=0.1)
    rows = compose_week(make_week(season=little))["causes"]
    # 0.7 t by kinetics and 0.2 t of microbes, of which 2.0 t lie in findings.
    assert rows[-2].mass == "1.1 t better"
    assert rows[-1].mass.startswith("0.9")


def test_a_day_better_than_at_its_targets_is_no_negative_loss(make_week):
    better = pl.when(pl.col("day_local") == date(2025, 10, 8)).then(-0.4).otherwise("excess_t")
    season = make_week().report.season.with_columns(
        excess_t=better, excess_low_t=better - 0.1, excess_high_t=better + 0.1
    )
    row = compose_week(make_week(season=season))["days"][2]
    assert row.whole.mass == "0.40 t better (0.30 to 0.50)"
    # Open, and left of the line at zero.
    assert 'fill="#fff"' in row.whole.bar and "<line" in row.whole.bar
    season = make_week(season=season)
    assert not re.search(r"-[\d.]+ t|[( ]-[\d.]+ to", told(season).split("DOES THE MODEL")[0])


def test_days_and_shifts(week):
    parts = compose_week(week)
    monday = parts["days"][0]
    assert [cell.mass for cell in monday.cells] == [
        # With a sixth of 0.4 t (0.2 to 0.8) of microbes in eight hours, and two hours at night.
        "0.17 t (0.04 to 0.31)",
        "0.27 t (0.11 to 0.43)",
        "0.32 t (0.13 to 0.50)",
    ]
    assert monday.whole.mass == "0.70 t (0.31 to 1.12)"
    assert parts["days"][-1].whole.thin == "50 % of its hours"
    assert parts["shift_totals"][0] == "0.77 t (0.26 to 1.27)"
    assert parts["week_total"] == parts["lines"][0]["mass"]
    assert len(parts["days"]) == 7


def test_a_shift_over_midnight_belongs_to_the_day_it_began_on():
    # 03:30 local on 7 October is 08:30 UTC (tz database: CDT is UTC-5).
    times = [datetime(2025, 10, 7, 8, 30, tzinfo=UTC), datetime(2025, 10, 7, 11, 0, tzinfo=UTC)]
    minutes = pl.DataFrame(
        {
            "ts_utc": times,
            "sucrose_feed_kg_h": [0.0, 0.0],
            "unavoidable_kg_h": [60.0, 60.0],
            "excess_kg_h": [60.0, 120.0],
            "measured": [True, True],
            "level_log_sd": [0.1, 0.1],
            "ph_sd": [0.04, 0.04],
            "ph_memory_h": [8.0, 8.0],
        }
    )
    sums = shift_sums(minutes, "America/Chicago", ("06:00", "14:00", "22:00"))
    assert sums.select("day", "order", "excess_t").rows() == [
        (date(2025, 10, 6), 2, pytest.approx(0.001)),
        (date(2025, 10, 7), 0, pytest.approx(0.002)),
    ]


def test_lengths_of_shifts_fill_the_day():
    assert shift_lengths(("06:00", "14:00", "22:00")) == [480, 480, 480]
    assert shift_lengths(("07:00", "19:30")) == [750, 690]
    assert shift_lengths(()) == [1440]


def test_control_charts_mark_the_day_that_is_off_and_nothing_else(week, drawn):
    charts = compose_week(week)["controls"]
    assert [chart.name for chart in charts] == ["Kinetic multiplier", "Unexplained term"]
    # The multiplier is 2.31; 3.5 t of 1.0 t by kinetics asks for 8.1, five of its sd 1.155 away.
    assert "Three standard errors or more away: Sun 5 Oct." in " ".join(charts[0].text)
    assert "No day lies three" in " ".join(charts[1].text)
    assert "It cannot be told from zero." in charts[1].text
    assert charts[0].drawing.wide is not None
    assert charts[0].drawing.narrow is not None


def test_a_level_that_moved_is_warned_of(week):
    high = week.report.balance.with_columns(chemical_t=2.4)
    chart = week_control.controls(replace(week.report, balance=high))[0]
    assert chart.moved
    assert "tonnes of these days are off by the same factor" in " ".join(chart.text)


def test_mean_of_seven_days_weighs_by_what_is_known():
    days = pl.DataFrame(
        {"day": [date(2025, 10, 1), date(2025, 10, 2)], "value": [1.0, 4.0], "sd": [1.0, 2.0]}
    )
    # Weights 1 and 1/4: (1 + 4/4) / 1.25 = 1.6, standard error 1.25 ** -0.5.
    last = rolling(days).row(-1)
    assert last[1] == pytest.approx(1.6)
    assert last[2] == pytest.approx(1.25**-0.5)


def test_days_without_laboratory_are_left_out():
    days = pl.DataFrame(
        {
            "day": [date(2025, 10, 1), date(2025, 10, 2), date(2025, 10, 3)],
            "kinetic_t": [1.0, 1.0, 0.0],
            "chemical_t": [1.5, None, 1.0],
            "chemical_sd_t": [0.3, None, 0.3],
        }
    )
    assert multiplier_days(days, 2.0).rows() == [(date(2025, 10, 1), 3.0, 0.6)]
    none = control(multiplier_days(days.clear(), 2.0), 2.0, Titled("m", "t", "l"))
    assert none.drawing.note
    assert none.days == 0


def test_verdicts_due_and_given(week):
    parts = compose_week(week)
    assert [row.finding_id for row in parts["due"].rows] == ["f2", "f3", "f5"]
    said = told(week)
    assert "confirmed by Ivo Tannercroft, Wed 8 Oct 2025: “Strainer blocked”" in said


def test_what_keeps_coming_back(week):
    (row,) = compose_week(week)["offenders"]
    assert (row.what, row.times, row.mass) == ("Limed juice too acid", "2", "2.0 t (1.3 to 3.2)")
    # Added as the desk adds them, level shared: never wider than all ends added.
    level = level_log_sd(week.report)
    of_cause = week.known.filter(pl.col("cause") == "low_limed_ph", pl.col("status") != "withdrawn")
    assert row.mass == tonnes(*added_findings(of_cause, level))
    assert row.this_week


def test_a_fix_that_held_by_hand(week):
    (row,) = compose_week(week)["fixes"]
    # The swing of 4 kg/h about 10 and 90 nearly leaves the means: it fell by 80 kg/h.
    assert row.before.startswith("10")
    assert row.during.startswith("90")
    assert row.after.startswith("10")
    assert row.fell.startswith("79.9 kg/h (")
    assert row.outcome == "The loss stopped"
    assert row.text.endswith("it has not come back as a finding.")


def test_interval_of_a_fix_by_hand(week, week_rows):
    checked = check_fix(
        week_rows[3],
        week.report.verdicts["given_at"][0],
        week.minutes,
        week.known,
        week.run.data_end,
    )
    # Six-hour means start on the hour of the clock, so each holds 1 h of one swing and 5 h of the
    # next: +-4 * 4/6 about the mean, sd 8/3 and a little. One of 24 h has 4 such means.
    half = 1.645 * (8 / 3) / math.sqrt(4)
    assert checked.during.high - checked.during.value == pytest.approx(half, rel=0.06)


@pytest.mark.parametrize(
    ("after", "outcome"), [(10.0, "stopped"), (90.0, "goes on"), (45.0, "fell"), (88.0, "goes on")]
)
def test_outcomes_follow_what_is_left_of_the_rise(week, week_rows, after, outcome):
    since = week.report.verdicts["given_at"][0]
    changed = week.minutes.with_columns(
        excess_kg_h=pl.when(pl.col("ts_utc") >= since)
        .then(after + pl.col("excess_kg_h") - 10.0)
        .otherwise("excess_kg_h")
    )
    found = replace(week, minutes=changed)
    assert _checked(found, week_rows[3], since).outcome == outcome


def _checked(week, row, since):
    return check_fix(row, since, week.minutes, week.known, week.run.data_end)


def test_fixed_an_hour_ago_is_too_early_to_tell(week, week_rows):
    row = week_rows[3] | {"ended": week.run.data_end - timedelta(hours=1)}
    assert _checked(week, row, week.run.data_end).outcome == "too early"


def test_microbes_are_not_judged_by_kinetics(week, week_rows):
    row = week_rows[4]
    assert _checked(week, row, row["ended"]).outcome == "not seen by kinetics"


def test_a_fix_that_came_back_is_said(make_week, week_rows):
    week_rows[0] |= {"cause": "tank_held", "section": "clear_juice_tank"}
    (row,) = compose_week(make_week(week_rows))["fixes"]
    assert row.outcome == "The loss stopped, then came back"


def test_settling_margin_by_hand(view):
    settler = replace(view.station.vessels[1], area_m2=100.0)
    station = replace(
        view.station,
        vessels=(view.station.vessels[0], settler),
        targets=Targets(265, 7.5, 6.95, brix_pct=14.5),
    )
    start = datetime(2025, 10, 6, 5, tzinfo=UTC)
    zones = pl.DataFrame(
        {
            "ts_utc": [start + timedelta(minutes=n) for n in range(120)],
            "zone": ["settler"] * 120,
            "flow_out_m3_h": [200.0] * 60 + [300.0] * 60,
            "brix_pct": [14.5] * 120,
            "temp_degc": [97.5] * 120,
        },
        schema_overrides={"ts_utc": pl.Datetime("us", "UTC")},
    )
    (row,) = settling_days(zones, station, "America/Chicago").to_dicts()
    # 200 and 300 m3/h over 100 m2: 2.5 m/h in the mean, 3.0 in the highest hour; against half of
    # 12 and of 8 m/h that is 0.5 and 0.75. Juice at its targets settles at its usual speed.
    assert (row["overflow_m_h"], row["top_m_h"]) == (2.5, 3.0)
    assert (row["juice_low"], row["juice_high"]) == (pytest.approx(1.0), pytest.approx(1.0))
    # Half of 8 and of 12 m/h over 100 m2 are 400 and 600 m3/h, of which 300 flow.
    assert (row["spare_low_m3_h"], row["spare_high_m3_h"]) == (
        pytest.approx(100.0),
        pytest.approx(300.0),
    )
    assert row["out_high"] is None and row["dose_mg_kg"] is None
    assert (row["used_low"], row["used_high"]) == (pytest.approx(0.5), pytest.approx(0.75))


def test_missing_parts_are_said_in_words(make_week):
    bare = make_week(
        season=None,
        balance=None,
        verdicts=None,
        sensors=None,
        sources=None,
        tags=None,
        shifts=None,
        settling=None,
    )
    bare = replace(bare, known=bare.known.drop("verdict"))
    said = told(bare)
    for words in (
        "This week: what was lost could not be computed.",
        "no sums by shift were given",
        "no daily sums were given",
        "no days with laboratory balances were given",
        "This store keeps no verdicts yet",
        "nothing is known of fixes",
        "No flow, Brix and temperature of the settler",
        "nobody judged it for this report",
    ):
        assert words in said
    page = Words(page_of("week", compose_week(bare))).text
    assert "no sums by shift were given" in page
    assert "What was lost this week could not be computed." in page


def test_settler_without_area_is_named(make_week, view):
    said = told(make_week(station=view.station))
    assert "no settler with its area (area_m2)" in said


def test_tags_silent_in_company_speak_of_the_historian(week):
    many = pl.DataFrame(
        {
            "tag": [f"T{n}" for n in range(8)] + ["LT.AI212"],
            "verdict": ["watch"] * 8 + ["sick"],
            "days": [1] * 9,
            "text": ["silent for 62 min"] * 7 + ["silent for 1.2 h", "reads 0.3 high"],
        }
    )
    rows = gathered_sensors(replace(week.report, sensors=many))
    assert [row.tag for row in rows] == ["LT.AI212", "8 tags"]
    assert "silent for 62 min to 1.2 h" in rows[-1].why
    few = gathered_sensors(replace(week.report, sensors=many.tail(3)))
    assert [row.tag for row in few] == ["T6", "T7", "LT.AI212"]


def test_hostile_text_stays_text(make_week, week_rows, hostile_view):
    bad = hostile_view.findings.to_dicts()
    for row, other in zip(week_rows, bad, strict=False):
        row |= {name: other[name] for name in ("section", "cause", "evidence")}
    notes = pl.DataFrame(
        {
            "finding_id": ["f4", "f1"],
            "verdict": ["fixed", "confirmed"],
            "note": ["<img src=x onerror=alert(1)>", "=cmd|'/C calc'!A0\u202e" + "x" * 5000],
            "author": ["<script>alert(1)</script>", "\x00"],
            "given_at": make_week().report.verdicts["given_at"],
        }
    )
    week = make_week(
        week_rows,
        mill=hostile_view.mill,
        verdicts=notes,
        tags=hostile_view.tags,
        missing_tags=hostile_view.missing_tags,
        not_computed=hostile_view.not_computed,
    )
    week = replace(week, shift_names=("<i>", "=1+1", "\u202enight"))
    parts = compose_week(week)
    page, text = page_of("week", parts), text_of("week", parts)
    words = Words(page)
    assert not {"script", "img", "i", "u"} & set(words.tags)
    assert not [name for name in words.attributes if name.startswith("on")]
    assert "4840 more characters" not in page
    assert "more characters)" in words.text
    assert not set("\x00\u202e\x07") & set(page + text)
    assert max(len(line) for line in text.splitlines()) <= 78


def test_three_forms_lie_side_by_side(week, tmp_path):
    out = write_week(tmp_path / "weekly.html", week)
    names = ["keeper.html", "weekly.html", "weekly.pdf", "weekly.txt"]
    assert sorted(p.name for p in tmp_path.iterdir()) == names
    assert out.with_suffix(".pdf").read_bytes().startswith(b"%PDF-")


def test_page_and_text_say_the_same(week):
    parts = compose_week(week)
    page = Words(page_of("week", parts)).text
    for row in parts["causes"]:
        assert row.mass in page
    for row in parts["days"]:
        assert row.whole.mass in page
    assert parts["run"] in page
    assert parts["week"] in page


def test_what_the_physics_buys_stands_in_plain_words(make_week):
    rows = [
        ("throughput", "train", "kg/h", 100.0, 25.0, 4.0, 2.13),
        ("ph", "settler", "kg/h", 25.0, 36.0, 0.694, 0.52),
        ("hold", "liming_tank", "kg/h", 1.0, 1e-6, 1e6, 0.001),
        ("lime per juice", "train", "log", 0.0004, 0.00036, 1.11, 0.031),
        ("<b>x", "<i>", "u", None, 0.2, None, 1.0),
    ]
    names = ("feature", "section", "unit", "lrv_raw", "lrv_residual", "ratio", "smallest_8h")
    kept = pl.DataFrame(rows, schema=names, orient="row")
    week = make_week(sharpness=kept)
    said = " ".join(Words(page_of("keeper", compose_keeper(week))).text.split())
    # It tells how lostpol sees, not what was lost: not in the review itself.
    assert "wanders" not in told(week)
    # 10 kg/h is the root of 100, 5 kg/h that of 25; 2 % is the root of 0.0004 in logarithms.
    assert (
        "loss by slower flowwhole station± 10 kg/h± 5.0 kg/hcalmer: 4.0 times less variance2.1 kg/h"
    ) in said
    assert "less calm: 1.4 times the variance" in said
    assert "calmer: over 100 times less variance" in said
    assert "lime per juicewhole station± 2.0 %" in said
    assert "no calmer than the raw signal" in said
    assert "not computed: too few quiet hours" in said
    # The answer first: two of five by 1.25 times and more, and the loss with the largest least.
    assert "2 of 5 things watched are calmer" in said
    assert (
        "Hardest to see: loss by slower flow, whole station; in 8 h it shows from 2.1 kg/h" in said
    )
    page = Words(page_of("keeper", compose_keeper(week)))
    assert "i" not in page.tags
    assert "<b>x" in page.text
    none = Words(page_of("keeper", compose_keeper(make_week()))).text
    assert "the search of these days kept none" in none


def test_a_level_by_the_description_is_said(week):
    text = "The level of the loss rests on the description: off by 2.7 either way."
    held = replace(week.report.multiplier, beware=text)
    doubted = replace(week, report=replace(week.report, multiplier=held))
    assert text in told(doubted)
    assert text in Words(page_of("week", compose_week(doubted))).text
    assert text not in told(week)
