"""Mud that is held is found where no level of it is read, net of the room it takes."""

import json

import numpy as np
import pytest

from models.base.settings import Settings
from tests.models.conftest import Plant

FIRST, LAST = 8000, 9440
SMALL = Settings(smallest_finding_t=0.02)


@pytest.fixture
def plant(station):
    # What the balance remembers strays for a day: chance is learnt from weeks, not from days.
    return Plant(station, days=28)


def held_mud(plant):
    """Half the underflow for ten hours, then as usual, then twice as much until it is gone."""
    course = np.interp(
        np.arange(plant.n), [FIRST, FIRST + 480, LAST - 480, LAST], [0.0, 80.0, 80.0, 0.0]
    )
    plant.tag("ST.FI306")[:] -= 60.0 * np.gradient(course)
    plant.tag("ST.LI305")[:] += course / 1.4


@pytest.mark.slow
def test_the_underflow_tells_of_held_mud_as_its_level_would(plant):
    held_mud(plant)
    read = plant.search(SMALL).findings.filter(cause="mud_held")
    del plant.grid[plant.name["ST.LI305"]]
    balance = plant.search(SMALL).findings.filter(cause="mud_held")
    assert read.height == balance.height == 1
    # The slow pull back to the target takes some of it; before, none of it showed.
    assert balance["lost_t"][0] == pytest.approx(read["lost_t"][0], rel=0.45)


def test_the_reader_is_told_that_no_level_stands_behind_it(plant):
    held_mud(plant)
    kept = tuple(s for s in plant.station.signals if s.tag != "ST.LI305")
    plant.station = type(plant.station)(
        plant.station.vessels,
        kept,
        plant.station.lab,
        plant.station.targets,
        plant.station.kinetics,
    )
    row = plant.search(SMALL).findings.filter(cause="mud_held").row(0, named=True)
    texts = [f["text"] for f in json.loads(row["evidence"])["facts"]]
    assert any(t.startswith("no mud level is read") for t in texts)
