"""Figures beside common practice, worked out by hand on an hour of an invented station."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from features.base import LabSource, Station, Targets, Vessel
from models.account import plausible_figures, undetermined_band

START = datetime(2025, 10, 6, tzinfo=UTC)


def _source(analyte, place, port):
    return LabSource(f"{place} {analyte}", analyte, place, port, "%", 0.0, 30.0)


STATION = Station(
    (
        Vessel("liming_tank", "liming_tank", 1, 50.0, 75.0),
        Vessel("settler", "settler", 2, 300.0, 97.0),
        Vessel("evaporator", "evaporator_vessel", 3, 20.0, 113.0),
    ),
    (),
    tuple(
        _source(a, place, port)
        for a in ("pol", "brix")
        for place, port in (("mixed_juice", ""), ("settler", "out"))
    ),
    Targets(250.0, 7.5, 6.95),
)


def _minutes(**changed):
    n = 60
    columns = {
        "sucrose_feed_kg_h": [30_000.0] * n,
        "stopped": [False] * n,
        "ph_limed": [7.5] * n,
        "ph_clear": [7.0] * n,
        "ph_limed_at_clear": [7.6] * n,
        "loss_kg_h": [100.0] * n,
        "ph_limed_true": [7.5] * n,
        "ph_clear_true": [7.0] * n,
    }
    return pl.DataFrame(columns | changed)


def _zones():
    losses = {"liming_tank": 5.0, "settler": 40.0, "settler:mud": 15.0, "evaporator": 20.0}
    rows = [
        {
            "zone": zone,
            "loss_kg_h": loss,
            "rs_destroyed_kg_h": 12.0,
            "sucrose_held_kg": 30_000.0,
            "ph_cold": 7.1,
            "temp_degc": 97.0,
        }
        for zone, loss in losses.items()
        for _ in range(60)
    ]
    return pl.DataFrame(rows)


def _lab(sd=0.06, scatter=0.0, count=12):
    rng = np.random.default_rng(3)
    rows = []
    for n in range(count):
        for place, port in (("mixed_juice", ""), ("settler", "out")):
            when = START + timedelta(hours=n)
            pol = 12.0 * math.exp(rng.normal(0.0, scatter)) if scatter else 12.0
            rows += [
                (when, "pol", place, port, pol, sd, 0.0),
                (when, "brix", place, port, 15.0, 0.05, 0.0),
            ]
    names = ["ts_utc", "analyte", "place", "port", "value", "sd", "period_h"]
    return pl.DataFrame(rows, schema=names, orient="row")


NO_LAB = _lab(count=0)


def test_inversion_is_that_of_clarification_in_percent_of_the_sucrose():
    found = plausible_figures(_minutes(), _zones(), NO_LAB, STATION, 0.2)
    # 60 of 80 kg/h at multiplier 1 lie before clear juice; of 100 kg/h and 30 t/h, by hand.
    assert found.inverted_pct == pytest.approx(100.0 * 100.0 * 0.75 / 30_000.0)
    spread = math.exp(1.645 * math.sqrt(0.2**2 + 0.2**2 + (0.04 * math.log(10.0)) ** 2))
    assert found.inverted_high_pct == pytest.approx(found.inverted_pct * spread, rel=1e-3)
    assert found.inverted_low_pct == pytest.approx(found.inverted_pct / spread, rel=1e-3)


def test_fall_of_ph_leaves_out_stops_and_the_errors_of_the_probes():
    stopped = [False] * 30 + [True] * 30
    clear = [7.0] * 30 + [5.0] * 30
    found = plausible_figures(
        _minutes(
            stopped=stopped, ph_clear_true=clear, ph_limed=[7.7] * 60, ph_limed_at_clear=[7.8] * 60
        ),
        _zones(),
        NO_LAB,
        STATION,
        0.2,
    )
    # The limed probe reads 0.2 high: 7.8 of that parcel was 7.6.
    assert found.ph_limed == pytest.approx(7.6)
    assert found.ph_fall == pytest.approx(0.6)


def test_reducing_sugars_are_told_as_a_share_of_themselves_an_hour():
    found = plausible_figures(_minutes(), _zones(), NO_LAB, STATION, 0.2)
    # 12 kg/h of 4 % of 30 t: 1 %/h, the common practice near pH 7.
    assert found.destroyed_pct_h == pytest.approx(1.0)
    assert (found.ph_settler, found.temp_settler_degc) == (
        pytest.approx(7.1),
        pytest.approx(97.0),
    )


def test_undetermined_loss_by_stated_errors_alone():
    band = undetermined_band(_lab(), STATION, 700.0)
    # By hand: 0.06 of 12 and 0.05 of 15 are 0.5 and 0.333 %, 0.601 % together; over 12 and 12
    # samples 1.645 * 0.601 * sqrt(2/12) = 0.404 %.
    assert band.pct == pytest.approx(0.4036, rel=1e-3)
    assert band.t == pytest.approx(700.0 * 0.004036, rel=1e-3)
    assert (band.before, band.after, band.sampling_pct) == (12, 12, 0.0)


def test_scatter_beyond_the_stated_errors_is_sampling():
    band = undetermined_band(_lab(scatter=0.02, count=200), STATION, 700.0)
    # Juice that scatters by 2 %: less the 0.60 % that pol and refractometer are said to make.
    assert band.sampling_pct == pytest.approx(math.sqrt(2.0**2 - 0.601**2), rel=0.15)


def test_what_is_not_known_stays_unknown():
    assert undetermined_band(NO_LAB, STATION, 700.0) is None
    assert undetermined_band(_lab(), STATION, 0.0) is None
    nothing = plausible_figures(_minutes().clear(), _zones().clear(), NO_LAB, STATION, 0.2)
    assert nothing.inverted_pct is None and nothing.ph_fall is None
    unread = _minutes(ph_clear_true=[None] * 60)
    assert plausible_figures(unread, _zones(), NO_LAB, STATION, 0.2).ph_fall is None
