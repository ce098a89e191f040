"""A finding says what part of its loss rests on kinetics beyond their range."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import numpy as np
import pytest

from models.base.minutes import Minutes
from models.base.settings import Settings
from models.cause import extrapolation_facts

N = 120


def _minutes(temps):
    zones = {"tank": {"temp_degc": np.asarray(temps), "ph_hot": np.full(N, 6.5)}}
    return Minutes(datetime(2025, 10, 6, tzinfo=UTC), {"sucrose_feed_kg_h": np.zeros(N)}, zones)


def test_the_share_of_the_loss_outside_is_told_once():
    temps = np.where(np.arange(N) < 30, 55.0, 70.0)
    loss = {"tank": np.where(np.arange(N) < 30, 3.0, 1.0)}
    (line,) = extrapolation_facts(_minutes(temps), loss, ("tank", "elsewhere"), (0, N))
    # 30 minutes at 3 kg/h of 30 at 3 and 90 at 1: half.
    assert line["value"] == pytest.approx(50)
    assert "50 % of its loss" in line["text"] and "55 to 55 degC" in line["text"]
    assert extrapolation_facts(_minutes(temps), loss, ("tank",), (30, N)) == []


def test_unknown_temperature_and_no_loss_say_nothing():
    temps = np.full(N, np.nan)
    assert extrapolation_facts(_minutes(temps), {"tank": np.ones(N)}, ("tank",), (0, N)) == []
    assert extrapolation_facts(_minutes(temps), {"tank": np.zeros(N)}, ("tank",), (0, N)) == []


def test_a_finding_below_the_range_carries_it(plant):
    first, last = 5 * 1440 + 120, 5 * 1440 + 120 + 12 * 60
    for tag in ("CH.TI411", "EV.TI501"):
        plant.tag(tag)[first:last] += 20.0
    found = plant.search(Settings(smallest_finding_t=0.08)).findings.row(0, named=True)
    texts = [f["text"] for f in json.loads(found["evidence"])["facts"]]
    # 113 + 20 degC lies beyond the 130 to which the kinetics are stated (memory).
    assert any("outside the 60 to 130 degC" in text for text in texts)
