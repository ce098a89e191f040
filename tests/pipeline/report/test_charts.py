"""Charts: what is drawn, where, and the same on every machine."""

import os
import re
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from slow_case import slow

import pipeline.report
from pipeline.charts.known import Known
from pipeline.charts.season import season_chart
from pipeline.charts.shapes import NARROW, PAPER, WIDE, Panel, Series, value_range
from pipeline.report.finding_chart import finding_chart
from pipeline.report.finding_tile import finding_tile
from pipeline.report.scope import chart_window, data_bounds
from pipeline.report.tables import finding_rows
from pipeline.tongue import tongue_of

STYLE = Path(pipeline.report.__file__).parent / "templates" / "report.css.j2"
SIDES = ("width", "height")
START = datetime(2025, 10, 6, 5, tzinfo=UTC)


def draw(view, hours=(26.6, 34.8), section="settler"):
    started, ended = (START + timedelta(hours=h) for h in hours)
    return finding_chart(view, section, started, ended, "f1", "a chart")


def lactic_tile(view):
    row = replace(finding_rows(view)[0], code="microbial")
    return str(finding_tile(view, row, "t").narrow or finding_tile(view, row, "t").wide)


def test_all_panels_and_every_size(view):
    drawing = draw(view)
    for svg in (str(drawing.wide), str(drawing.narrow), str(drawing.paper)):
        for words in ("pH (cooled", "Temperature, settler", "Residence time", "Sucrose lost"):
            assert words in svg
        assert "limed, corrected" in svg
        assert "limed, laboratory" in svg
    assert drawing.note == ""


def test_what_was_noted_is_marked_and_told(view):
    hours = (START + timedelta(hours=27), START + timedelta(hours=29))
    far = (START + timedelta(hours=120), START + timedelta(hours=121))
    noted = replace(view, known=(Known(*hours, "stop: <b>boiler</b>"), Known(*far, "far")))
    tile = finding_tile(noted, finding_rows(noted)[0], "t")
    for drawing in (draw(noted), tile):
        assert drawing.note == "Noted beforehand: A stop: <b>boiler</b>."
        # Marked in every panel, lettered in the first alone.
        assert str(drawing.wide).count(">A</text>") == 1
        assert "boiler" not in drawing.wide
    # Four panels, each with a bar, and one letter.
    bars = 'fill="#0072b2"'
    assert str(draw(noted).wide).count(bars) - str(draw(view).wide).count(bars) == 5


@pytest.mark.slow
def test_a_composite_is_drawn_as_no_grab(view):
    grabs = view.lab.with_columns(period_h=pl.lit(0.0))
    daily = grabs.with_columns(value=pl.col("value") - 0.3, period_h=pl.lit(24.0))
    plain = draw(replace(view, lab=grabs))
    assert str(plain.wide) == str(draw(view).wide)
    assert str(draw(replace(view, lab=pl.concat([grabs, daily]))).wide) == str(plain.wide)
    lactic = [frame.with_columns(analyte=pl.lit("lactic")) for frame in (grabs, daily)]
    tiles = [lactic_tile(replace(view, lab=lab)) for lab in (lactic[0], pl.concat(lactic))]
    assert "Lactic acid" in tiles[0]
    assert tiles[0] == tiles[1]


@pytest.mark.slow
def test_same_drawing_whatever_the_time_zone_of_the_machine(view, monkeypatch):
    drawn = []
    for zone in ("UTC", "Asia/Tokyo", "America/Sao_Paulo"):
        monkeypatch.setenv("TZ", zone)
        time.tzset()
        drawn.append(str(draw(view).narrow))
    monkeypatch.undo()
    time.tzset()
    assert drawn[0] == drawn[1] == drawn[2]
    assert os.environ.get("TZ") != "America/Sao_Paulo"


def test_axis_shows_plant_time(view):
    """Noon UTC on 7 October is 07:00 in Chicago (tz database: CDT is UTC-5)."""
    svg = str(draw(view).wide)
    assert "Tue  7 Oct" in svg or "Tue 7 Oct" in svg
    assert "12:00" in svg


def test_points_stay_within_the_budget(view):
    drawing = draw(view)
    for svg, size in ((drawing.wide, WIDE), (drawing.narrow, NARROW), (drawing.paper, PAPER)):
        longest = max(path.count("L") for path in re.findall(r' d="([^"]+)"', str(svg)))
        assert longest <= size.points + 20


@pytest.mark.parametrize("language", [slow("en"), "es", slow("pt"), slow("fr")])
def test_letters_on_paper_can_be_read(view, language):
    """At least 6 pt where the style leaves a chart its least room (A4 less margins: 186 mm)."""
    [tallest] = re.findall(r"figure svg \{ max-height: (\d+)mm; margin", STYLE.read_text())
    svg = str(draw(replace(view, tongue=tongue_of(language))).paper)
    wide, high = (float(re.search(rf'<svg[^>]* {side}="([\d.]+)"', svg)[1]) for side in SIDES)
    px = min(1.0, int(tallest) / 25.4 * 96 / high, 186 / 25.4 * 96 / wide) * PAPER.font
    assert px * 72 / 96 >= 6.0


def test_absent_parts_are_named(view):
    bare = replace(view, zone_minutes=None, lab=None)
    note = draw(bare).note
    assert "Temperature" in note
    assert "Sucrose lost" in note
    nothing = replace(bare, station_minutes=None)
    assert draw(nothing).wide is None
    assert "no chart" in draw(nothing).note


def test_zone_without_loss_is_named(view):
    zones = view.zone_minutes.with_columns(
        loss_kg_h=pl.when(pl.col("zone") != "settler:mud").then("loss_kg_h")
    )
    assert "leaves out settler, mud" in draw(replace(view, zone_minutes=zones)).note


def test_judged_loss_is_drawn_rather_than_the_sum_over_vessels(view):
    station = view.station_minutes.with_columns(
        loss_kg_h=pl.lit(4321.0), unavoidable_kg_h=pl.lit(1234.0)
    )
    judged = str(draw(replace(view, station_minutes=station, zone_minutes=None)).wide)
    assert "Sucrose lost, whole station" in judged
    assert "4,000" in judged


def test_train_draws_the_zone_that_lost_most(view):
    assert "Temperature, settler [°C]" in str(draw(view, section="train").wide)


def test_window_stays_inside_the_data(view):
    bounds = data_bounds(view)
    assert bounds == (START, START + timedelta(days=6))
    started = START + timedelta(hours=1)
    window = chart_window(started, started + timedelta(hours=4), bounds)
    assert window == (START, started + timedelta(hours=10))


def test_one_wild_reading_does_not_flatten_the_panel():
    line = Series("x", [(0, 7.0), (1, 7.4), (2, 0.0)], usual=(6.9, 7.5))
    low, high = value_range(Panel("p", [line], levels=(7.5,), least_span=0.8))
    assert low > 6
    assert high < 9


def test_scatter_looks_like_scatter():
    low, high = value_range(Panel("t", [Series("x", [(0, 97.4), (1, 97.6)])], least_span=4.0))
    assert high - low >= 4.0


@pytest.mark.slow
def test_finding_across_the_end_of_summer_time(view, make_minutes):
    start = datetime(2025, 11, 1, 12, tzinfo=UTC)
    station, zones = make_minutes(start, 2)
    moved = replace(view, station_minutes=station, zone_minutes=zones, lab=None)
    drawing = finding_chart(
        moved, "settler", start + timedelta(hours=14), start + timedelta(hours=22), "f1", "x"
    )
    assert "keeps the time of its left edge" in drawing.note
    assert "Sun  2 Nov" in str(drawing.wide) or "Sun 2 Nov" in str(drawing.wide)


@pytest.mark.parametrize("rows", [0, 1, 56])
def test_season(view, rows):
    drawing = season_chart(view.season.head(rows), "season")
    if rows == 0:
        assert drawing.wide is None
        assert drawing.note
    else:
        assert "above the unavoidable" in str(drawing.wide)


def test_season_axis_reaches_over_every_interval(view):
    """The highest whisker must end inside the frame: 12 t needs an axis past 10 t."""
    tall = view.season.head(5).with_columns(excess_high_t=pl.lit(12.0))
    assert ">10<" in str(season_chart(tall, "season").wide)


def test_a_fall_on_the_way_is_drawn_by_the_clear_juice(view):
    for code, drawn in (("short_circuiting", "Clear juice"), ("low_limed_ph", "Limed juice")):
        row = replace(finding_rows(view)[0], code=code)
        assert f"{drawn}, pH (dots" in str(finding_tile(view, row, "t").wide)


def test_a_target_is_never_drawn_as_a_temperature(view):
    station = replace(view.station, signals=view.station.signals[:1])
    drawing = draw(replace(view, station=station))
    assert "Temperature, settler" not in str(drawing.wide)
    assert "Temperature, settler" in drawing.note
