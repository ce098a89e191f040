"""What a derived feature gains over its raw signal, on a station that stands still."""

import math

import numpy as np
import pytest


def ratio_of(found, feature):
    row = found.sharpness.filter(found.sharpness["feature"] == feature)
    return row["ratio"].item()


def test_dividing_by_a_signal_that_shares_nothing_only_adds_noise(plant):
    # Independent noise of lime (60 of 2600 L/h) and juice (6 of 265 m3/h) adds up in their
    # quotient: with a, b the squared relative spreads the ratio is a / (a + b) = 0.51 (computed);
    # twelve days know it to about two fifths, and a second flow meter halves b.
    found = plant.search()
    assert 0.3 < ratio_of(found, "lime per juice") < 0.95
    table = found.sharpness
    assert {"ph", "heat", "hold", "mud", "throughput"} <= set(table["feature"])
    # The limit L d**2 / LRV = 4 log n for 32 quarter-hours among those of 12 days.
    row = table.row(0, named=True)
    limit = math.sqrt(4 * math.log(12 * 96) * row["lrv_residual"] / 32)
    assert row["smallest_8h"] == pytest.approx(limit)
    assert row["ratio"] == pytest.approx(row["lrv_raw"] / row["lrv_residual"])


def test_lime_that_follows_the_juice_shows_only_after_division(plant):
    swing = 1 + 0.1 * np.sin(np.arange(plant.n) / 300.0)
    for tag in ("LT.FI211", "MJ.FI101", "ST.FI301"):
        plant.tag(tag)[:] *= swing
    assert ratio_of(plant.search(), "lime per juice") > 2.0
