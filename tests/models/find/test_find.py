"""One planted thing at a time: found where it is, named for what it is, or not claimed at all."""

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from models.account.known import KNOWN_NOTICE, Note
from models.base.settings import Settings

START = datetime(2025, 10, 6, tzinfo=UTC)

FIRST, LAST = 5 * 1440 + 120, 5 * 1440 + 120 + 12 * 60


def only(losses):
    assert losses.findings.height == 1, losses.findings.select(
        "cause", "started", "ended", "lost_t"
    )
    return losses.findings.row(0, named=True)


def assert_edges(row, minutes=75):
    assert abs(row["started"] - (START + timedelta(minutes=FIRST))) <= timedelta(minutes=minutes)
    assert abs(row["ended"] - (START + timedelta(minutes=LAST))) <= timedelta(minutes=minutes)


def test_quiet_station_has_no_finding(plant):
    assert plant.search().findings.is_empty()


def test_low_limed_ph_is_found_and_weighed(plant):
    for tag in ("LT.AI212", "ST.AI308"):
        plant.tag(tag)[FIRST:LAST] -= 0.4
    plant.shift_lab("liming_tank", FIRST / 60, LAST / 60, -0.4)
    plant.shift_lab("settler", FIRST / 60 + 0.5, LAST / 60 + 0.5, -0.4)
    losses = plant.search()
    row = only(losses)
    assert row["cause"] == "low_limed_ph"
    assert_edges(row)
    # 0.4 pH lower multiplies the rate by 10**0.4 wherever the two probes speak (first order in H+).
    usual = losses.minutes["unavoidable_kg_h"].median()
    expected_t = usual * (10**0.4 - 1) * 12 / 1000
    assert row["lost_t"] == pytest.approx(expected_t, rel=0.3)
    assert row["lost_t_low"] < expected_t < row["lost_t_high"]


def test_a_probe_reading_high_is_named_though_its_tag_looks_perfect(plant):
    plant.tag("ST.AI308")[FIRST : LAST + 1440] -= 0.35
    plant.shift_lab("liming_tank", FIRST / 60, LAST / 60 + 24, -0.35)
    plant.shift_lab("settler", FIRST / 60, LAST / 60 + 24, -0.35)
    row = plant.search().findings.row(0, named=True)
    assert row["cause"] == "ph_probe_high"


def test_a_laboratory_shift_is_a_notice(plant):
    for place in ("mixed_juice", "liming_tank", "settler"):
        plant.shift_lab(place, FIRST / 60, LAST / 60 + 24, -0.25)
    losses = plant.search()
    assert losses.findings.is_empty()
    assert "lab_ph_shift" in losses.notices["kind"].to_list()


def test_overheating(plant):
    for tag in ("CH.TI411", "EV.TI501"):
        plant.tag(tag)[FIRST:LAST] += 8.0
    row = only(plant.search(Settings(smallest_finding_t=0.08)))
    assert (row["cause"], row["section"]) == ("overheating", "first_evaporator")
    assert_edges(row, 30)


def test_a_held_tank(plant):
    plant.hold_tank(FIRST - 75, LAST + 75)
    row = only(plant.search(Settings(smallest_finding_t=0.08)))
    assert (row["cause"], row["section"]) == ("tank_held", "clear_juice_tank")
    assert_edges(row, 75)


def test_slow_throughput(plant):
    for tag in ("MJ.FI101", "ST.FI301", "CT.FI403"):
        plant.tag(tag)[FIRST:LAST] *= 0.55
    row = only(plant.search())
    assert row["cause"] == "slow_throughput"
    assert_edges(row, 30)


@pytest.mark.parametrize("emptied", [False, True])
def test_a_stop_counts_only_when_juice_stood_hot(plant, emptied):
    for tag in ("MJ.FI101", "ST.FI301", "CT.FI403", "ST.FI306"):
        plant.tag(tag)[FIRST:LAST] = 0.0
    if emptied:
        for tag in ("ST.LI303", "ST.LI305", "CT.LI401", "EV.LI502", "LT.LI213"):
            plant.tag(tag)[FIRST + 40 : LAST] = 0.5
        plant.tag("CH.TI411")[FIRST + 40 : LAST] = 70.0  # steam off
    # So small a limit that only what stood in the vessels can acquit the emptied station.
    losses = plant.search(Settings(smallest_finding_t=0.08) if emptied else None)
    if emptied:
        assert losses.findings.is_empty()
        assert "handled_stop" in losses.notices["kind"].to_list()
    else:
        row = only(losses)
        assert row["cause"] == "standing_juice"
        assert_edges(row, 5)


@pytest.mark.slow
def test_a_planned_stop_whose_settlers_were_emptied_late_is_told_as_known(plant):
    for tag in ("MJ.FI101", "ST.FI301", "CT.FI403", "ST.FI306"):
        plant.tag(tag)[FIRST:LAST] = 0.0
    for tag in ("ST.LI303", "ST.LI305"):
        plant.tag(tag)[FIRST + 240 : LAST] = 0.5
    sharp = Settings(smallest_finding_t=0.08)
    assert only(plant.search(sharp))["cause"] == "standing_juice"
    hours = (START + timedelta(minutes=m) for m in (FIRST, LAST))
    planned = plant.search(sharp, notes=[Note("a", *hours, "stop", "boiler")])
    assert planned.findings.is_empty()
    (told,) = planned.notices.filter(pl.col("kind") == KNOWN_NOTICE)["text"]
    assert told.startswith("Noted beforehand as stop: boiler. Stop of 12.0 h that lost little")


def test_over_liming_is_a_notice_not_a_loss(plant):
    for tag in ("LT.AI212", "ST.AI308"):
        plant.tag(tag)[FIRST:LAST] += 0.5
    plant.shift_lab("liming_tank", FIRST / 60, LAST / 60, 0.5)
    plant.shift_lab("settler", FIRST / 60, LAST / 60, 0.5)
    losses = plant.search()
    assert losses.findings.is_empty()
    assert "over_liming" in losses.notices["kind"].to_list()


def test_a_silent_probe_does_not_hide_a_held_tank(plant):
    plant.hold_tank(FIRST - 75, LAST + 75)
    plant.tag("LT.AI212")[FIRST + 100 : FIRST + 400] = np.nan
    row = only(plant.search(Settings(smallest_finding_t=0.08)))
    assert row["cause"] == "tank_held"
    assert_edges(row, 75)


def test_microbes_in_a_cool_tank(plant):
    plant.tag("LT.TI214")[FIRST:LAST] = 54.0
    plant.tag("PH.TI201")[FIRST:LAST] = 54.0
    rng = np.random.default_rng(2)
    for hour in np.arange(2.0, 288.0, 6.0):
        made = 800.0 if FIRST / 60 + 2 < hour < LAST / 60 else 20.0
        for place, port, value in (
            ("mixed_juice", "", 250.0),
            ("liming_tank", "out", 250.0 + made),
        ):
            noisy = value * (1 + 0.05 * rng.standard_normal())
            plant.lab_rows.append([hour, "lactic", place, port, noisy, 0.08 * noisy])
    row = only(plant.search())
    assert (row["cause"], row["section"]) == ("microbial", "liming_tank")


def test_evidence_is_plain_json_and_ranks_run_from_one(plant):
    for tag in ("CH.TI411", "EV.TI501"):
        plant.tag(tag)[FIRST:LAST] += 9.0
    plant.hold_tank(FIRST + 3000, LAST + 3000)
    found = plant.search(Settings(smallest_finding_t=0.08)).findings
    assert found["rank"].to_list() == list(range(1, found.height + 1))
    for text in found["evidence"]:
        evidence = json.loads(text)
        assert all({"text", "value", "unit"} <= set(f) for f in evidence["facts"])
    assert (found["lost_t_low"] < found["lost_t"]).all()
    assert found["confidence"].is_between(0, 1).all()


def test_the_series_says_what_was_measured(plant):
    plant.tag("LT.AI212")[2000:2500] = np.nan
    minutes = plant.search().minutes
    assert not minutes["measured"][2200]
    assert minutes["measured"][3500]
    assert minutes.select(pl.col("loss_kg_h", "unavoidable_kg_h").is_null().any()).row(0) == (
        False,
        False,
    )


def test_what_could_not_be_worked_out_is_null_in_the_evidence(plant):
    plant.tag("EV.TI501")[FIRST:LAST] += 9.0
    plant.tag("CH.TI411")[FIRST:LAST] += 9.0
    plant.tag("LT.AI212")[FIRST - 60 : LAST + 60] = np.nan
    plant.tag("ST.AI308")[FIRST - 60 : LAST + 60] = np.nan
    for row in plant.search().findings.iter_rows(named=True):
        assert "NaN" not in row["evidence"]
        json.loads(row["evidence"])
