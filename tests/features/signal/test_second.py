"""Two instruments for one thing: how far apart they read, and which of them drifts."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from features.base.station import Signal
from features.signal.health import Drift, judge_sensor
from features.signal.second import disagreement, drift_beside, second_day

DAY = datetime(2025, 10, 7, tzinfo=UTC)
PH = Signal("PH-1", "ph", "settler", "out", "pH", 3.5, 12.0)
SECOND = Signal("PH-2", "ph", "settler", "out", "pH", 3.5, 12.0, beside="PH-1")
FLOW = Signal("FI-1", "flow", "settler", "in", "m3/h", 0.0, 500.0)


def grid_of(first, second):
    times = [DAY + timedelta(minutes=n) for n in range(len(first))]
    return pl.DataFrame({"ts_utc": times, PH.name: first, SECOND.name: second}).fill_nan(None)


def compared(first, second):
    frame = second_day(grid_of(first, second), [PH, SECOND, FLOW])
    return {row["tag"]: row for row in frame.to_dicts()}


def test_the_difference_is_the_median_and_its_error_is_that_of_hours():
    rng = np.random.default_rng(3)
    truth = 7.0 + 0.2 * np.sin(np.arange(1440) / 200.0)
    by_hour = np.repeat(rng.normal(0.0, 0.05, 24), 60)
    first = truth + 0.21 + by_hour
    first[300:330] += 3.0  # half an hour of nonsense moves no median
    found = compared(first, truth)
    # Reference: the median of 24 independent hours errs by sqrt(pi/2) x 0.05 / sqrt(24) = 0.0128
    # (large-sample error of a median of normal values; textbook, memory).
    assert found["PH-1"]["beside_diff"] == pytest.approx(0.21, abs=3 * 0.0128)
    assert found["PH-1"]["beside_sd"] == pytest.approx(0.0128, rel=0.5)
    assert found["PH-1"]["beside"] == "PH-2"
    assert found["PH-2"]["beside_diff"] == -found["PH-1"]["beside_diff"]
    assert "FI-1" not in found


def test_too_few_hours_together_say_nothing():
    first = np.full(1440, 7.2)
    second = np.where(np.arange(1440) < 199, 7.0, np.nan)
    found = compared(first, second)
    assert found["PH-1"]["beside_diff"] is None
    second = np.where(np.arange(1440) < 240, 7.0, np.nan)
    assert compared(first, second)["PH-1"]["beside_diff"] == pytest.approx(0.2)


def test_words_without_the_laboratory_leave_it_open():
    grade, text = disagreement(PH, "PH-2", 0.21, 0.012)
    assert grade == 1
    assert text == (
        "reads 0.21 pH (standard error 0.012) above its second instrument PH-2; "
        "a laboratory sample would tell which drifts"
    )
    assert "below its first instrument PH-1" in disagreement(SECOND, "PH-1", -0.21, 0.012)[1]


def test_the_laboratory_tells_which_drifts():
    # The first reads 0.20 high against the laboratory and 0.21 above the second: the second is
    # 0.01 low, with the errors of both joined.
    first = Drift(0.20, 0.03)
    second = drift_beside(first, 0.21, 0.04)
    assert second.value == pytest.approx(-0.01)
    assert second.sd == pytest.approx(math.hypot(0.03, 0.04))
    grade, text = disagreement(PH, "PH-2", 0.21, 0.04, (first, second))
    assert (grade, text.split("; ")[1]) == (2, "the laboratory bears PH-2 out")
    grade, text = disagreement(SECOND, "PH-1", -0.21, 0.04, (second, first))
    assert (grade, text.split("; ")[1]) == (0, "the laboratory bears this one out")
    row = {"readings": 1440, "good": 1440, "frozen_min": 0.0, "gap_min": 0.0, "spikes": 0}
    row |= {"out_of_range": 0, "calibration_step": None}
    assert judge_sensor(row, second, "", (grade, text)) == ("good", "")
    told = disagreement(PH, "PH-2", 0.21, 0.04, (first, second))
    assert judge_sensor(row, first, "", told)[0] == "sick"
    # Half way between the two, the laboratory says nothing.
    middle = (Drift(0.10, 0.03), Drift(-0.11, 0.05))
    assert "would tell" in disagreement(PH, "PH-2", 0.21, 0.04, middle)[1]


@pytest.mark.parametrize(("diff", "sd"), [(0.05, 0.001), (0.15, 0.1)])
def test_small_or_unsure_differences_are_no_word(diff, sd):
    assert disagreement(PH, "PH-2", diff, sd) == (0, "")


def test_flows_are_judged_by_their_share():
    assert disagreement(FLOW, "FI-2", 10.0, 0.5, level=265.0) == (0, "")
    assert disagreement(FLOW, "FI-2", 20.0, 0.5, level=265.0)[0] == 1
    assert disagreement(FLOW, "FI-2", 20.0, 0.5) == (0, "")
