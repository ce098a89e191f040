"""What was noted beforehand is used by the search, and hides no loss."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from features.base import polars_schema
from features.base.station import Station, Targets, Vessel
from models.account.calibrated import Calibration
from models.account.known import Note
from models.base.minutes import Minutes
from models.detect.channels import Channel
from models.detect.joined import Candidate
from models.find.noted import with_unexplained, without_planned
from models.find.rows import FINDING_COLUMNS
from models.search import Span

START = datetime(2025, 11, 4, tzinfo=UTC)
N, FIRST, LAST = 2000, 600, 1080
STATION = Station(
    vessels=(
        Vessel("liming_tank", "liming_tank", 1, 90, 72),
        Vessel("settler", "settler", 2, 340, 97.5),
    ),
    signals=(),
    lab=(),
    targets=Targets(265, 7.5, 6.95),
)


def note(first=FIRST, last=LAST, kind="stop"):
    hours = (START + timedelta(minutes=m) for m in (first, last))
    return Note("a", *hours, kind, "boiler")


def stop(joined=()):
    channel = Channel("standing", "settler", ("liming_tank", "settler"), np.zeros(N))
    return Candidate(channel, None, Span(FIRST, LAST, 200.0, 10.0, 9.0), joined)


def minutes(left_m3):
    held = np.full(N, 340.0)
    held[FIRST + 90 : LAST] = left_m3
    zones = {"settler": {"volume_m3": held}, "liming_tank": {"volume_m3": np.full(N, 60.0)}}
    return Minutes(START, {"sucrose_feed_kg_h": np.ones(N)}, zones)


@pytest.mark.parametrize(
    ("left_m3", "notes", "goes"),
    [
        (40.0, [note()], True),
        (40.0, [note(kind="cleaning")], True),
        (40.0, [], False),
        (40.0, [note(kind="trial")], False),
        (40.0, [note(last=LAST - 120)], False),  # two hours longer than planned
        (330.0, [note()], False),  # the settlers stayed full: juice stood
        (float("nan"), [note()], False),  # nobody measured what they held
    ],
)
def test_a_planned_stop_is_no_finding_where_the_settlers_were_emptied(left_m3, notes, goes):
    kept = without_planned([stop()], minutes(left_m3), STATION, notes)
    assert (kept == []) is goes


def test_what_a_planned_stop_had_taken_up_stands_on_its_own():
    lesser = (Channel("heat", "settler", ("settler",), np.zeros(N)), None, Span(700, 800, 50, 5, 4))
    (kept,) = without_planned([stop((lesser,))], minutes(40.0), STATION, [note()])
    assert (kept.channel.name, kept.span.kg) == ("heat", 50)


def findings(*hours):
    rows = [
        {"started": START + timedelta(hours=a), "ended": START + timedelta(hours=b),
         "lost_t": 1.0, "confidence": 0.5, "cause": "low_limed_ph"}
        for a, b in hours
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=polars_schema(FINDING_COLUMNS))


def test_only_what_begins_or_ends_near_a_calibration_is_explained_by_it():
    done = Calibration("limed", "LT.AI2", note(5940, 6000, "calibration"))  # at hour 100
    plain = findings((10, 20), (85, 99), (130, 150))
    found = with_unexplained(findings((12, 21)), plain, [done])
    hours = [(r["started"] - START) / timedelta(hours=1) for r in found.to_dicts()]
    # The first is there already; the second ends with the calibration; the third would be hidden.
    assert sorted(hours) == [12, 130]
    assert sorted(found["rank"]) == [1, 2]
