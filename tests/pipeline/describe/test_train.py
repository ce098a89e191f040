"""The drafted train and its targets: volumes from the flow, and nothing that cannot be."""

import tomllib

import pytest
from drafts import point_at, tag

from pipeline.describe.lists import Size
from pipeline.describe.train import (
    drafted_train,
    feed_m3_h,
    missing_points,
    target_lines,
    train_lines,
)
from pipeline.places.guess import Guess


def guess(spot, middle, unit="", role="measured"):
    return Guess(tag(" ".join(spot), unit, middle=middle), point_at(*spot), "likely", "x", role)


FLOW = ("flow", "mixed_juice", "")


def loaded(guesses, sizes=None):
    vessels = drafted_train(guesses, (), sizes or {})
    text = "\n".join([*target_lines(guesses), *train_lines(vessels, guesses)])
    return tomllib.loads(text), text


def test_a_volume_is_the_flow_times_a_usual_residence():
    """75 min of 240 m3/h are 300 m3; 240 m3/h over 2.8 m/h are 85.7 m2 (computed)."""
    raw, text = loaded([guess(FLOW, 240.0, "m3/h")])
    (settler,) = raw["train"]
    assert settler["volume_m3"] == pytest.approx(300.0, rel=0.005)
    assert settler["area_m2"] == pytest.approx(85.7, rel=0.005)
    assert "CONFIRM: 75 min of juice flow" in text
    assert raw["targets"]["flow_feed_m3_h"] == pytest.approx(240.0, rel=0.005)


def test_a_volume_that_the_mill_gave_is_not_to_be_confirmed():
    sizes = {"settler": Size(520.0, 140.0), "liming_tank": Size(0.04)}
    raw, text = loaded([guess(FLOW, 240.0, "m3/h")], sizes)
    found = {v["name"]: v for v in raw["train"]}
    assert (found["settler"]["volume_m3"], found["settler"]["area_m2"]) == (520.0, 140.0)
    assert found["liming_tank"]["volume_m3"] == 0.04
    assert not [line for line in text.splitlines() if "= 520.0" in line and "CONFIRM" in line]


@pytest.mark.parametrize("flow", [0.0, 1e-12, 0.9, -5.0])
def test_a_meter_that_stands_makes_no_train(flow):
    guesses = [guess(FLOW, flow, "m3/h")]
    assert feed_m3_h(guesses) is None
    assert drafted_train(guesses, (), {}) == []
    assert "No juice flow" in target_lines(guesses)[0]


@pytest.mark.parametrize("flow", [1.0, 3.0, 40.0])
def test_small_vessels_are_not_rounded_to_nothing(flow):
    raw, _ = loaded(
        [guess(FLOW, flow, "m3/h"), guess(("temperature", "primary_heater", "out"), 70.0, "degC")]
    )
    assert all(v["volume_m3"] > 0.0 for v in raw["train"])


def test_a_target_is_the_set_point_else_the_usual_level():
    limed = ("ph", "liming_tank", "out")
    assert loaded([guess(FLOW, 240.0), guess(limed, 7.6)])[0]["targets"][
        "ph_limed"
    ] == pytest.approx(7.6, abs=0.02)
    both = [guess(FLOW, 240.0), guess(limed, 7.6), guess(limed, 7.8, role="set_point")]
    assert loaded(both)[0]["targets"]["ph_limed"] == pytest.approx(7.8, abs=0.02)
    raw, text = loaded([guess(FLOW, 240.0), guess(limed, 70.0)])
    assert raw["targets"]["ph_limed"] == 7.5
    assert "cannot be" in text


def test_what_is_missing_is_told_with_its_cost():
    told = {m.what for m in missing_points([guess(FLOW, 240.0)], ())}
    assert "flow of the mixed juice" not in told
    assert {"pH of the clear juice", "laboratory pH of limed or clear juice"} <= told


def test_an_area_that_nobody_gave_stays_to_be_confirmed():
    _, text = loaded([guess(FLOW, 240.0, "m3/h")], {"settler": Size(520.0)})
    (line,) = [line for line in text.splitlines() if line.startswith("area_m2")]
    assert "CONFIRM" in line
    _, text = loaded([guess(FLOW, 240.0, "m3/h")], {"settler": Size(520.0, 140.0)})
    (line,) = [line for line in text.splitlines() if line.startswith("area_m2")]
    assert "CONFIRM" not in line


def test_the_mud_zone_that_is_shown_is_the_one_that_is_written():
    """Two fifths of 300 m3 are 120 m3 (common practice for the share; computed)."""
    guesses = [guess(FLOW, 240.0, "m3/h")]
    (settler,) = drafted_train(guesses, (), {})
    raw, _ = loaded(guesses)
    assert settler.mud_volume_m3 == pytest.approx(120.0, rel=0.005)
    assert raw["train"][0]["mud_volume_m3"] == pytest.approx(settler.mud_volume_m3, abs=0.05)
