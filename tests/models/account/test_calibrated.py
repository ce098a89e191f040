"""Which probes a noted calibration is of, and what it changed is told."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from features.base import polars_schema
from features.base.station import Signal, Station, Targets, Vessel
from models.account.calibrated import calibrations, hours_of, with_calibrations
from models.account.known import KNOWN_NOTICE, Note
from models.amount.probes import ProbeBias
from models.base.minutes import Minutes
from models.cause.notices import NOTICE_COLUMNS

START = datetime(2025, 11, 4, tzinfo=UTC)
HOUR = timedelta(hours=1)
STATION = Station(
    vessels=(
        Vessel("liming_tank", "liming_tank", 1, 90, 72),
        Vessel("settler", "settler", 2, 340, 97.5),
    ),
    signals=(
        Signal("LT.AI2", "ph", "liming_tank", "out", "pH", 3, 11),
        Signal("ST.AI3", "ph", "settler", "out", "pH", 3, 11),
        Signal("LT.AI21", "temperature", "liming_tank", "inside", "degC", 0, 130),
    ),
    lab=(),
    targets=Targets(265, 7.5, 6.95),
)
MINUTES = Minutes(START, {"sucrose_feed_kg_h": np.ones(48 * 60)}, {})


def note(text, ended=20.0, kind="calibration"):
    return Note("a", START + (ended - 0.5) * HOUR, START + ended * HOUR, kind, text)


@pytest.mark.parametrize(
    ("text", "points"),
    [
        ("LT.AI2 calibrated", {"limed"}),
        ("calibrated lt.ai2.", {"limed"}),
        ("LT.AI21 checked", set()),  # a thermometer, whose tag begins like the probe's
        ("both: LT.AI2, ST.AI3", {"limed", "clear"}),
        ("all pH loops", {"limed", "clear"}),  # no tag is named: any may have stepped
    ],
)
def test_a_note_is_of_the_probes_that_it_names(text, points):
    assert {item.point for item in calibrations([note(text)], STATION)} == points
    assert calibrations([note(text, kind="other")], STATION) == ()


def test_a_probe_is_back_when_the_note_ends():
    found = calibrations([note("LT.AI2"), note("LT.AI2", 60.0), note("LT.AI2", -3.0)], STATION)
    assert hours_of(found, "limed", MINUTES) == (20.0,)
    assert hours_of(found, "clear", MINUTES) == ()


def test_what_a_calibration_changed_is_told():
    bias = np.where(MINUTES.hours < 20.0, 0.23, 0.02)
    biases = {"limed": ProbeBias(bias, np.full(MINUTES.n, 0.05), 20)}
    none = pl.DataFrame(schema=polars_schema(NOTICE_COLUMNS))
    found = with_calibrations(none, MINUTES, biases, calibrations([note("LT.AI2 done")], STATION))
    assert found["kind"].to_list() == [KNOWN_NOTICE]
    assert "it read +0.23 pH before and +0.02 pH after" in found["text"][0]
    still = {"limed": ProbeBias(np.zeros(MINUTES.n), np.full(MINUTES.n, 0.05), 20)}
    said = calibrations([note("LT.AI2 done")], STATION)
    (text,) = with_calibrations(none, MINUTES, still, said)["text"]
    assert text.endswith("Against the laboratory LT.AI2 reads as it did before.")
