"""A level that moves the loss has a channel that speaks for it, in every vessel."""

import json

import numpy as np
import pytest

from models.amount.drivers import split_excess
from models.base.minutes import to_minutes
from models.base.settings import Settings
from models.detect.channels import loss_channels

FIRST, LAST = 8000, 9440
SMALL = Settings(smallest_finding_t=0.02)


def test_an_evaporator_run_too_full_is_found_and_named(plant):
    course = np.interp(
        np.arange(plant.n), [FIRST, FIRST + 60, LAST - 60, LAST], [0.0, 33.0, 33.0, 0.0]
    )
    plant.tag("EV.LI502")[:] += course
    found = plant.search(SMALL).findings.filter(section="first_evaporator")
    assert found.height == 1
    row = found.row(0, named=True)
    assert row["cause"] == "tank_held"
    facts = {f["text"]: f for f in json.loads(row["evidence"])["facts"]}
    held = facts["juice in the first evaporator"]
    assert held["value"] - held["usual"] == pytest.approx(0.33 * 28.0, rel=0.1)


def test_a_level_nobody_reads_has_no_channel(plant):
    for tag, there in (("EV.LI502", True), (None, False)):
        if tag is None:
            del plant.grid[plant.name["EV.LI502"]]
        derived = plant.derived()
        minutes = to_minutes(derived.station_minutes, derived.zone_minutes)
        zero = np.zeros(plant.n)
        excess = split_excess(minutes, plant.station, zero, zero)
        channels = loss_channels(minutes, excess, plant.station, 1.5, 0.05)
        named = [c.section for c in channels if c.name == "hold"]
        assert ("first_evaporator" in named) is there
