"""Composite samples: good for balances over their hours, never for a moment."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from features.base import LabSource
from features.base.lab import LAB_SCHEMA
from models.amount.chemical import chemical_balance
from models.amount.composite_balance import Composites
from models.amount.lab import lab_points, lab_series
from models.amount.mill_balance import Z95_ONE_SIDED, OrdinaryBalance, ordinary_balance
from models.base import Minutes
from models.detect.microbial_lactic import lactic_rise

START = datetime(2025, 10, 6, tzinfo=UTC)
DAYS = 20
LIMED, CLEAR = ("liming_tank", "out"), ("settler", "out")
#: Of the mass of sucrose inverted, reducing sugars weigh 360.31 / 342.30 (molar masses).
INVERT = 360.31 / 342.30


def source(analyte, point, period_h=0.0):
    name = f"{analyte} {point} {period_h}"
    return LabSource(name, analyte, *point, "%", 0.0, 100.0, rel_sd=0.01, period_h=period_h)


def with_lab(station, *sources):
    return replace(station, lab=sources)


@pytest.fixture
def composite_station(station):
    kinds = [source(a, p, 24.0) for a in ("rs", "pol", "brix") for p in (LIMED, CLEAR)]
    return with_lab(station, *kinds)


def minutes_of(station):
    n = DAYS * 1440
    clock = np.arange(n)
    # Little juice when much of it inverts: a plain mean over the day would say far too much.
    thin = np.sin(2 * np.pi * clock / 1440)
    level = 1.0 + 0.5 * np.sin(2 * np.pi * clock / (7.0 * 1440))
    columns = {
        "sucrose_feed_kg_h": 30_000.0 * (1.0 - 0.8 * thin),
        "inverted_pred_pct": 0.1 * level * (1.0 + 0.9 * thin),
        "rs_destroyed_pred_pct": np.zeros(n),
        "stopped": np.zeros(n),
    }
    zones = {v.name: {"residence_min": np.full(n, 30.0)} for v in station.vessels}
    return Minutes(START, columns, zones)


def lab_of(*rows):
    return pl.DataFrame(
        [(START + timedelta(hours=h), a, *p, v, sd, period) for h, a, p, v, sd, period in rows],
        schema=LAB_SCHEMA,
        orient="row",
    )


def composites_of(inverted_pct, period_h=24.0, step_h=24.0):
    """Limed and clear juice of 15 Brix, the second short of what was inverted on the way."""
    rows = []
    for number, share in enumerate(inverted_pct):
        gone = 12.6 * share / 100.0
        for point, rs, pol in ((LIMED, 0.6, 12.6), (CLEAR, 0.6 + INVERT * gone, 12.6 - 1.3 * gone)):
            for analyte, value, sd in (("rs", rs, 0.006), ("pol", pol, 0.5), ("brix", 15.0, 0.03)):
                rows.append((number * step_h, analyte, point, value, sd, period_h))
    return lab_of(*rows)


def daily_means(minutes):
    fed = minutes.station["sucrose_feed_kg_h"].reshape(DAYS, 1440)
    predicted = minutes.station["inverted_pred_pct"].reshape(DAYS, 1440)
    return (fed * predicted).sum(axis=1) / fed.sum(axis=1)


def test_composites_are_set_against_the_juice_of_their_hours(composite_station):
    minutes = minutes_of(composite_station)
    lab = composites_of(2.0 * daily_means(minutes))
    balance = chemical_balance(lab, minutes, lab_points(composite_station), composite_station)
    assert len(balance) == DAYS
    assert (balance.lasts_min == 1440).all()
    assert len(balance.grabs) == 0  # no finding's evidence takes them for samples of a moment
    predicted = balance.mean_of(minutes.station["inverted_pred_pct"], minutes)
    assert predicted == pytest.approx(daily_means(minutes))
    assert balance.seen_pct == pytest.approx(2.0 * daily_means(minutes), abs=0.02)


def test_composites_shorter_than_four_passages_are_of_other_juice(composite_station):
    minutes = minutes_of(composite_station)
    points = lab_points(composite_station, composite=True)
    short = composites_of(np.full(40, 0.2), period_h=2.0, step_h=2.0)
    assert len(chemical_balance(short, minutes, points, composite_station)) == 0


def test_a_composite_that_reaches_past_the_minutes_is_no_pair(composite_station):
    minutes = minutes_of(composite_station)
    lab = composites_of(np.full(DAYS + 3, 0.2))
    balance = chemical_balance(lab, minutes, lab_points(composite_station), composite_station)
    assert len(balance) == DAYS


def test_grabs_and_composites_are_weighed_together(station):
    both = with_lab(
        station, *(source(a, p, h) for a in ("rs", "pol", "brix") for p in (LIMED, CLEAR)
                   for h in (0.0, 24.0))
    )  # fmt: skip
    minutes = minutes_of(both)
    grabs = composites_of(np.full(100, 0.2), period_h=0.0, step_h=4.0)
    alone = chemical_balance(grabs, minutes, lab_points(both), both)
    lab = pl.concat([grabs, composites_of(np.full(DAYS, 0.2))])
    balance = chemical_balance(lab, minutes, lab_points(both), both)
    assert len(balance) == len(alone) + DAYS
    assert len(balance.grabs) == len(alone)
    assert (np.diff(balance.times_h) >= 0).all()
    assert balance.systematic_pct.shape == (len(balance), alone.systematic_pct.shape[1])
    assert balance.grabs.seen_pct == pytest.approx(alone.seen_pct, rel=1e-3)


def test_a_composite_is_no_grab_of_a_series():
    lab = lab_of((1, "ph", CLEAR, 6.9, 0.05, 0.0), (2, "ph", CLEAR, 6.5, 0.05, 24.0))
    minutes = Minutes(START, {"sucrose_feed_kg_h": np.zeros(600)}, {})
    assert lab_series(lab, minutes, "ph", CLEAR).values.tolist() == [6.9]


def test_points_of_grabs_are_not_those_of_composites_nor_of_mud(station):
    lab = (
        source("pol", ("settler", "mud")), source("ph", CLEAR), source("rs", LIMED, 24.0),
        source("rs", ("clear_juice_tank", "out"), 24.0),
    )  # fmt: skip
    points = lab_points(with_lab(station, *lab))
    assert (points.limed, points.clear, points.tank) == (None, CLEAR, None)
    points = lab_points(with_lab(station, *lab), composite=True)
    assert (points.limed, points.clear) == (LIMED, None)


def test_lactic_acid_of_a_day_is_not_set_against_a_grab(station):
    tank = next(v.name for v in station.vessels if v.kind == "clear_juice_tank")
    minutes = minutes_of(station)
    rows = [(h, "lactic", (tank, "out"), 60.0, 5.0, 0.0) for h in range(0, 48, 4)]
    rows += [(h, "lactic", CLEAR, 20.0, 5.0, 24.0) for h in (0, 24, 48)]
    described = with_lab(
        station, source("lactic", (tank, "out")), source("lactic", CLEAR, 24.0),
        source("lactic", LIMED),
    )  # fmt: skip
    assert len(lactic_rise(lab_of(*rows), minutes, described, tank)) == 0
    grabs = [(h, "lactic", LIMED, 30.0, 5.0, 0.0) for h in range(0, 48, 4)]
    rise = lactic_rise(lab_of(*rows, *grabs), minutes, described, tank)
    assert len(rise) >= 11
    assert rise.values == pytest.approx(30.0)


def test_the_daily_balance_by_composites_sees_losses_thinned_by_the_day():
    # By hand: 500 kg a minute are 720 t a day; pairs scatter by 0.2 % of sucrose, so that a
    # one-sided 95 % limit is 1.645 x 0.002 x 720 t = 2.37 t for one day, for four days half that
    # of each but four times the juice: 1.645 x 0.002 / 2 x 2880 t = 4.74 t.
    pairs = Composites(np.arange(5) * 24.0, np.full(5, 24.0), 5 * 1440, 0.2)
    balance = OrdinaryBalance(
        frozenset({"settler"}), {}, np.arange(5 * 1440 + 1) * 500.0, {"pol": pairs}
    )
    for hours in ((30, 32), (24, 48), (20, 50)):
        limit = balance.limit(hours[0] * 60, hours[1] * 60)
        assert (limit.before, limit.hours) == (1, 24.0)
        assert limit.tonnes == pytest.approx(2.369, abs=1e-3)
    assert balance.limit(0, 4 * 1440).tonnes == pytest.approx(Z95_ONE_SIDED * 0.001 * 2880.0)
    text = balance.says((30 * 60, 32 * 60), 3000.0, 1.0)
    assert "above 2.37 t in the 24 h of its composite samples. Of this loss" in text
    assert "it would have seen it" in text
    assert "composite samples: 1 before and 1 after the station" in text


def test_the_ordinary_balance_is_made_of_composites_where_there_are_no_grabs(composite_station):
    minutes = minutes_of(composite_station)
    ph = lab_of((1, "ph", LIMED, 7.5, 0.05, 0.0))  # a grab of another kind at the same point
    lab = pl.concat([ph, composites_of(np.full(DAYS, 0.2))])
    points = lab_points(composite_station)
    balance = ordinary_balance(lab, minutes, composite_station, points)
    assert balance.methods == {}
    assert set(balance.composites) == {"rs", "pol"}
    assert "settler" in balance.zones
    # By hand: 0.006 in 0.6 and in 0.6265, 0.03 in 15 twice: sqrt(0.01^2 + 0.00958^2 + 2 x 0.002^2)
    # = 1.413 %, of 0.6 / 12.6 / 1.0526 = 4.524 % of the sucrose: 0.0639 %.
    assert balance.composites["rs"].sd_pct == pytest.approx(0.0639, abs=1e-4)
    few = ordinary_balance(composites_of([0.2, 0.2]), minutes, composite_station, points)
    assert few.composites == {}
