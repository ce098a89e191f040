"""Rows of the dossier: what they say and how they are worked out."""

import math
from dataclasses import replace
from types import SimpleNamespace

import polars as pl
import pytest

from models.account.first_moves import Departure
from pipeline.dossier.chart import as_script, chart_data
from pipeline.dossier.choose import lanes_of, named_shown
from pipeline.dossier.drawing import levels, still
from pipeline.dossier.export import harmless
from pipeline.dossier.gather import gather
from pipeline.dossier.moves import Moves, chart_moves, move_rows, moves_around, moves_of
from pipeline.dossier.sections import lab_rows, sensor_rows
from pipeline.dossier.similar import similar_episodes, similar_rows
from pipeline.dossier.steps import digits


@pytest.fixture(scope="module")
def material(mill, first):
    return gather(mill, first)


@pytest.fixture(scope="module")
def lanes(material):
    return lanes_of(material)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.0, "0"),
        (1234567.8, "1,234,568"),
        (12.3456789, "12.346"),
        (-0.00123456, "-0.0012346"),
        (1.23456e-7, "1.2346 × 10^-7"),
        (math.nan, "not known"),
        (math.inf, "not known"),
    ],
)
def test_numbers_carry_five_digits(value, said):
    assert digits(value) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (0.0, 300.0, ["0", "100", "200", "300"]),
        (6.3, 7.2, ["6.5", "7.0"]),
        # By steps of 2 there would be one alone.
        (8.1, 11.9, ["9", "10", "11"]),
        (-0.02, 0.1, ["0.00", "0.05", "0.10"]),
    ],
)
def test_axis_marks_are_round_and_few(low, high, said):
    assert [words for _, words in levels(low, high)] == said


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1", "\n=1", " =1"])
def test_no_cell_is_a_formula(text):
    assert harmless(text).startswith("'")
    assert harmless("LT.AI212 [pH]") == "LT.AI212 [pH]"


def test_a_stop_is_told_by_the_clock(material, lanes):
    probe = next(lane for lane in lanes if lane.tag == "ST.AI308")
    start = material.index_of(material.finding["started"])
    move = Departure(probe.key, 7.0, 6.5, float(start), 5.0, 9.0, 4.0)
    clock, parcel = (Moves([move], [], on_clock=on) for on in (True, False))
    stop = replace(material, finding=material.finding | {"cause": "standing_juice"})
    assert move_rows(stop, lanes, clock)[0].shifted == "on the clock"
    assert "moved back" in move_rows(material, lanes, parcel)[0].shifted
    (drawn,) = chart_moves(stop, lanes, clock)
    assert drawn.onset_min == pytest.approx(start - probe.delay_min[start])
    assert chart_moves(material, lanes, parcel) == [move]
    assert chart_data(stop, lanes[:2], [])["by_clock"]
    assert not chart_data(material, lanes[:2], [])["by_clock"]
    assert still(stop, lanes) != still(material, lanes)
    assert moves_of(stop, lanes, *moves_around(stop)).on_clock
    assert not moves_of(material, lanes, *moves_around(material)).on_clock


def test_lanes_follow_the_juice_and_carry_their_travel_time(material, lanes):
    named = {lane.tag: lane for lane in lanes}
    order = [lane.tag for lane in lanes if lane.tag]
    assert order.index("MJ.FI101") < order.index("LT.AI212") < order.index("ST.AI308")
    late, early = (named[tag].delay_min.mean() for tag in ("ST.AI308", "LT.AI212"))
    # A settler holds the juice for about an hour (common practice), a liming tank for minutes.
    assert 45 < late < 200
    assert 5 < early < 30
    assert not named["ST.FI301"].carried
    assert named["LT.AI212"].target == 7.5


def test_sensors_and_results_are_told_for_what_is_shown(material, lanes):
    tags = {row.tag for row in sensor_rows(material, lanes)}
    assert tags == {lane.tag for lane in lanes if lane.shown and lane.signal}
    rows = {row.what: row for row in lab_rows(material)}
    assert "±" in rows["pH, liming tank, outlet"].inside


def test_a_composite_is_told_with_its_hours_and_drawn_nowhere(material, first):
    day = first["started"].replace(hour=0, minute=0)
    row = ("rs", "liming_tank", "out", 0.7, 0.01, 24.0)
    schema = material.lab.schema
    daily = pl.DataFrame([(day, *row)], schema=schema, orient="row")
    mixed = replace(material, lab=pl.concat([material.lab, daily]))
    rows = {row.what: row for row in lab_rows(mixed)}
    composite = rows["reducing sugars on juice, liming tank, outlet, composite of 24 h"]
    assert composite.samples == "1 and 0"  # it began before the finding and reaches into it
    before, after = ([lane.grabs for lane in lanes_of(m)] for m in (material, mixed))
    assert before == after
    assert rows.keys() >= {row.what for row in lab_rows(material)}


def test_a_second_instrument_is_drawn_and_is_no_second_witness(material):
    first = next(s for s in material.station.signals if s.tag == "LT.AI212")
    second = replace(first, tag="SECOND", beside=first.tag)
    station = replace(material.station, signals=(*material.station.signals, second))
    grid = material.grid.with_columns(pl.col(first.name).alias(second.name))
    doubled = replace(material, grid=grid, mill=replace(material.mill, station=station))
    found = {lane.tag: lane for lane in lanes_of(doubled)}
    assert found["SECOND"].what == "pH, liming tank, outlet, second instrument"
    assert found["LT.AI212"].shown
    assert not found["SECOND"].shown
    known, told = moves_around(material)
    number = len(moves_of(material, lanes_of(material), known, told).clear)
    moves = moves_of(doubled, lanes_of(doubled), known, told)
    assert found["SECOND"].key not in {move.name for move in moves.clear} | set(moves.still)
    assert len(moves.clear) == number > 0


def test_what_the_sentence_names_is_shown_first_behind_the_loss(material, lanes):
    moves = moves_of(material, lanes, *moves_around(material))
    assert moves.named[0] == "lime_per_juice"
    shown = [lane.key for lane in named_shown(lanes, moves.named) if lane.shown]
    assert shown[:2] == ["loss", "lime_per_juice"]
    assert len(shown) <= 9


def test_similar_losses_leave_out_the_finding_itself(material, first):
    found = similar_episodes(first, [first, first | {"finding_id": "twin"}])
    assert [item.episode.finding_id for item in found] == ["twin"]
    assert found[0].distance == pytest.approx(0.0)
    rows = similar_rows(
        replace(material, others=[first | {"finding_id": "twin"}]), found, {"twin": "../t"}
    )
    assert rows[0].link == "../t"
    assert rows[0].alike == "100 %"


def test_packed_numbers_come_back_within_their_step(material, lanes):
    import base64

    import numpy as np

    data = chart_data(material, lanes, [])
    first, last = (material.index_of(moment) for moment in material.drawn)
    for lane, packed in zip(lanes, data["lanes"], strict=True):
        for line, held in zip(lane.lines, packed["lines"], strict=True):
            codes = np.frombuffer(base64.b64decode(held["data"]), dtype="<u2").astype(float)
            codes[codes == data["missing"]] = np.nan
            back = held["low"] + held["scale"] * codes
            np.testing.assert_allclose(back, line.values[first:last], atol=0.51 * held["scale"])


def test_a_long_finding_is_thinned_and_stays_small(material, lanes):
    from datetime import timedelta

    end = material.finding["ended"] + timedelta(days=60)
    long = replace(material, drawn=(material.drawn[0], end))
    data = chart_data(long, lanes[:2], [])
    assert data["step_min"] > 1
    assert data["count"] <= 6000
    assert len(as_script(data)) < 200_000


def test_a_script_cannot_be_ended_from_inside():
    text = as_script({"tag": "</script><!--\u2028&"})
    assert "<" not in text
    assert ">" not in text
    assert "\u2028" not in text


def test_of_equally_bad_days_the_one_furthest_off_tells_why():
    lane = SimpleNamespace(shown=True, tag="A", what="pH", signal=SimpleNamespace(tag="A"))
    days = pl.DataFrame(
        {
            "tag": ["A"] * 3,
            "verdict": ["sick", "sick", "watch"],
            "text": ["reads 0.26 pH high", "reads 0.40 pH high", "reads 0.10 pH high"],
            "drift": [0.26, 0.40, None],
            "drift_sd": [0.04, 0.04, None],
        }
    )
    (row,) = sensor_rows(SimpleNamespace(sensors=days), [lane])
    assert str(row.why) == "reads 0.40 pH high"
    assert str(row.drift).startswith("0.40 ±")
