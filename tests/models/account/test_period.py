"""The account of a period adds up, over time, over vessels and drivers, and to its findings."""

import json
import math
from datetime import timedelta
from itertools import pairwise

import polars as pl
import pytest

from models.account.driven import Driven
from models.account.finding_share import share_kg
from models.account.period import MICROBES, PERIOD_DRIVERS, Touching, account_of_period
from models.account.period_error import Tonnes

FIRST, LAST = 5 * 1440 + 120, 5 * 1440 + 120 + 12 * 60


@pytest.fixture
def losses(plant):
    """Low pH for half a day, that falls further on the way; a stop on another day."""
    for tag, place, by in (("LT.AI212", "liming_tank", 0.4), ("ST.AI308", "settler", 0.65)):
        plant.tag(tag)[FIRST:LAST] -= by
        plant.shift_lab(place, FIRST / 60, LAST / 60, -by)
    for tag in ("MJ.FI101", "ST.FI301", "CT.FI403"):
        plant.tag(tag)[8 * 1440 : 8 * 1440 + 400] = 0.0
    return plant.search()


@pytest.fixture
def driven(losses):
    start = losses.minutes["ts_utc"][0]
    return losses.driven.between(start, start + timedelta(days=30))


def account(driven, station, first, last, **more):
    start = driven["ts_utc"][0]
    bounds = tuple(start + timedelta(minutes=m) for m in (first, last))
    return account_of_period(driven, bounds, station, **more)


def test_the_loss_is_the_usual_and_its_drivers_in_every_vessel(driven, plant):
    found = account(driven, plant.station, FIRST - 300, LAST + 100)
    assert {p.driver for p in found.by_driver} == set(PERIOD_DRIVERS)
    above = sum(part.above_usual.mid for part in found.by_driver)
    assert found.usual_t + above == pytest.approx(found.lost.mid, rel=1e-9)
    for vessel in found.by_vessel:
        parts = sum(vessel.by_driver.values())
        assert vessel.usual_t + parts == pytest.approx(vessel.lost.mid, rel=1e-6, abs=1e-9)
    assert sum(v.lost.mid for v in found.by_vessel) == pytest.approx(found.lost.mid, rel=1e-9)
    assert found.above_target.mid == pytest.approx(found.lost.mid - found.target_t, rel=1e-9)
    # What was planted is what drives it.
    assert found.by_driver[0].driver == "ph"


def test_the_loss_is_what_the_search_said_minute_by_minute(driven, losses, plant):
    found = account(driven, plant.station, FIRST, LAST)
    by_minute = losses.minutes["loss_kg_h"][FIRST:LAST].sum() / 60_000
    assert found.lost.mid == pytest.approx(by_minute, rel=1e-6)


def test_adjoining_periods_add_up_over_a_stop(driven, plant):
    whole = account(driven, plant.station, 7 * 1440, 9 * 1440)
    edges = [7 * 1440, 8 * 1440 + 17, 8 * 1440 + 390, 9 * 1440]
    parts = [account(driven, plant.station, a, b) for a, b in pairwise(edges)]
    for name in ("lost", "above_usual", "above_target"):
        added = sum(getattr(part, name).mid for part in parts)
        assert added == pytest.approx(getattr(whole, name).mid, rel=1e-9)
    assert sum(p.usual_t for p in parts) == pytest.approx(whole.usual_t, rel=1e-9)
    assert whole.standing_h == pytest.approx(sum(p.standing_h for p in parts))
    assert 6.0 < whole.standing_h < 7.5


def test_a_finding_and_its_shares_add_up(driven, losses):
    assert losses.findings.height >= 2
    for row in losses.findings.to_dicts():
        kept = json.loads(row["evidence"])["account"]
        own = (row["started"], row["ended"])
        middle = own[0] + (own[1] - own[0]) / 3
        middle = middle.replace(second=0, microsecond=0)
        whole, by_minute = share_kg(kept, own, own, driven)
        assert by_minute
        assert whole / 1000 == pytest.approx(row["lost_t"], rel=1e-9)
        parts = [share_kg(kept, own, b, driven)[0] for b in ((own[0], middle), (middle, own[1]))]
        assert sum(parts) == pytest.approx(whole, rel=1e-9)
        # Minutes tell: a third of the hours is no third of the loss.
        assert parts[0] != pytest.approx(whole / 3, rel=1e-4)
        outside = (own[1] + timedelta(hours=1), own[1] + timedelta(hours=2))
        assert share_kg(kept, own, outside, driven)[0] == pytest.approx(0.0, abs=1e-9)


def test_an_account_of_another_search_is_shared_by_time(driven, losses):
    row = losses.findings.row(0, named=True)
    kept = json.loads(row["evidence"])["account"]
    for part in kept["parts"]:
        part["channel_kg_h"] *= 3.0
    own = (row["started"], row["ended"])
    middle = own[0] + (own[1] - own[0]) / 2
    half, by_minute = share_kg(kept, own, (own[0], middle), driven)
    whole, _ = share_kg(kept, own, own, driven)
    assert not by_minute
    assert half == pytest.approx(whole / 2, rel=0.1)


def test_what_microbes_ate_comes_on_top(driven, plant):
    bare = account(driven, plant.station, FIRST, LAST)
    start = driven["ts_utc"][0]
    eaten = Touching(
        "x", "microbial", "liming_tank", start, start, 2.0, Tonnes(1.5, 0.7, 3.2), False
    )
    found = account(driven, plant.station, FIRST, LAST, findings=[eaten])
    assert found.lost.mid == pytest.approx(bare.lost.mid + 1.5)
    assert found.above_usual.mid == pytest.approx(bare.above_usual.mid + 1.5)
    drivers = {p.driver: p.above_usual.mid for p in found.by_driver}
    assert drivers[MICROBES] == pytest.approx(1.5)
    tank = next(v for v in found.by_vessel if v.zone == "liming_tank")
    assert tank.by_driver[MICROBES] == pytest.approx(1.5)
    # One finding and nothing else: the driver's interval is the finding's.
    (told,) = (p.above_usual for p in found.by_driver if p.driver == MICROBES)
    assert (told.low, told.high) == (pytest.approx(0.7, rel=0.01), pytest.approx(3.2, rel=0.01))
    # Independent errors join by their squares.
    sd = bare.lost.mid * math.log(bare.lost.high / bare.lost.mid)
    both = math.hypot(sd, 1.5 * math.log(3.2 / 0.7) / 2)
    assert math.log(found.lost.high / found.lost.mid) == pytest.approx(both / found.lost.mid)


def test_the_interval_is_no_narrower_than_the_level_is_known(driven, plant, losses):
    found = account(driven, plant.station, 1440, 2880)
    by_level = 1.6449 * losses.multiplier.log_sd
    assert math.log(found.lost.high / found.lost.mid) > by_level
    assert math.log(found.lost.high / found.lost.mid) == pytest.approx(
        math.log(found.lost.mid / found.lost.low)
    )


def test_what_was_not_measured_is_told_in_hours(plant):
    plant.tag("CT.TI402")[2000:2240] = math.nan
    plant.tag("ST.AI308")[3000:3090] = math.nan
    losses = plant.search()
    start = losses.minutes["ts_utc"][0]
    driven = losses.driven.between(start, start + timedelta(days=3))
    found = account(driven, plant.station, 0, 3 * 1440)
    hours = {v.zone: v.not_measured_h for v in found.by_vessel}
    assert hours["liming_tank"] == 0.0
    assert any(h > 0.5 for h in hours.values())
    assert driven.filter(~pl.col("measured")).height > 0


def test_outside_what_was_searched_nothing_is_known(losses):
    start = losses.minutes["ts_utc"][0]
    before = losses.driven.between(start - timedelta(days=3), start - timedelta(days=2))
    assert before.is_empty()
    part = losses.driven.between(start - timedelta(hours=1), start + timedelta(hours=1))
    assert part["ts_utc"].n_unique() == 60


def test_days_worked_out_at_once_are_the_same_as_one_by_one(losses):
    start = losses.minutes["ts_utc"][0]
    edges = [start + timedelta(hours=h) for h in (-30, -6, 18, 42, 66, 24 * 60)]
    days = list(pairwise(edges))
    at_once = losses.driven.by_day(days)
    for (first, last), frame in zip(days, at_once, strict=True):
        assert frame.equals(losses.driven.between(first, last))
        assert frame.schema == losses.driven.between(first, last).schema
    assert at_once[0].is_empty()
    assert not at_once[1].is_empty()
    before = losses.driven.by_day([(edges[0], edges[1]), (edges[1], start)])
    assert [frame.height for frame in before] == [0, 0]


def test_days_are_worked_out_in_one_go(losses, monkeypatch):
    asked = []
    between = Driven.between
    monkeypatch.setattr(Driven, "between", lambda *span: asked.append(span) or between(*span))
    start = losses.minutes["ts_utc"][0]
    ends = [start + timedelta(days=n) for n in range(8)]
    losses.driven.by_day(list(pairwise(ends)))
    assert len(asked) == 1
