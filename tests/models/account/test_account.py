"""The account of a finding, followed by hand, gives the tonnes and the interval of its row."""

import json
import math

import pytest

from models.account.account import interval_kg, lost_kg, part_kg

FIRST, LAST = 5 * 1440 + 120, 5 * 1440 + 120 + 12 * 60


def account_of_only(losses):
    row = losses.findings.row(0, named=True)
    return row, json.loads(row["evidence"])["account"]


@pytest.fixture
def sour(plant):
    """Low pH for half a day, that falls further on the way."""
    for tag, place, by in (("LT.AI212", "liming_tank", 0.4), ("ST.AI308", "settler", 0.65)):
        plant.tag(tag)[FIRST:LAST] -= by
        plant.shift_lab(place, FIRST / 60, LAST / 60, -by)
    return plant.search()


def test_the_parts_add_up_to_the_reported_tonnes(sour):
    row, account = account_of_only(sour)
    assert {part["channel"] for part in account["parts"]} == {"ph", "drop"}
    by_hand = sum((p["channel_kg_h"] - p["baseline_kg_h"]) * p["hours"] for p in account["parts"])
    assert by_hand / 1000 == pytest.approx(row["lost_t"], rel=1e-9)
    assert lost_kg(account) / 1000 == pytest.approx(row["lost_t"], rel=1e-9)
    for part in account["parts"]:
        if part["channel"] != "mud":
            assert sum(part["by_zone_kg_h"].values()) == pytest.approx(part["channel_kg_h"])
    assert sum(map(part_kg, account["parts"])) == pytest.approx(
        sum(p["lost_kg"] for p in account["parts"]), rel=1e-9
    )


def test_the_errors_join_to_the_reported_interval(sour):
    row, account = account_of_only(sour)
    # Errors that multiply join by their squares; those that add make a factor of 1 + r.
    squares = {
        adds: sum(e["log_sd"] ** 2 for e in account["errors"] if e["adds"] is adds)
        for adds in (True, False)
    }
    joined = math.sqrt(squares[False] + math.log1p(squares[True]))
    assert joined == pytest.approx(account["log_sd"], rel=1e-9)
    bounds = [kg / 1000 for kg in interval_kg(account)]
    assert bounds == pytest.approx([row["lost_t_low"], row["lost_t_high"]], rel=1e-9)


def test_a_microbial_spell_is_juice_times_acid_times_sucrose_per_acid(plant):
    plant.tag("LT.TI214")[FIRST:LAST] -= 20
    for hour in range(1, 12 * 24, 3):
        inside = FIRST / 60 + 1 <= hour < LAST / 60
        plant.lab_rows.append([hour, "lactic", "mixed_juice", "", 100.0, 8.0])
        plant.lab_rows.append([hour, "lactic", "liming_tank", "out", 400.0 if inside else 110.0, 8])
    losses = plant.search()
    row = next(r for r in losses.findings.to_dicts() if r["cause"] == "microbial")
    account = json.loads(row["evidence"])["account"]
    assert lost_kg(account) / 1000 == pytest.approx(row["lost_t"], rel=1e-9)
    bounds = [kg / 1000 for kg in interval_kg(account)]
    assert bounds == pytest.approx([row["lost_t_low"], row["lost_t_high"]], rel=1e-9)
    # Twelve hours of about 265 m3/h, a little over a tonne a cubic metre (common practice).
    assert account["juice_kg"] == pytest.approx(12 * 265 * 1040, rel=0.1)


def test_a_stop_is_set_against_no_usual(plant):
    for tag in ("MJ.FI101", "ST.FI301", "CT.FI403", "ST.FI306", "ML.WI001", "LT.FI211"):
        plant.tag(tag)[FIRST : FIRST + 480] = 0.0
    row, account = account_of_only(plant.search())
    assert row["cause"] == "standing_juice"
    assert [part["baseline_kg_h"] for part in account["parts"]] == [0.0]
    assert lost_kg(account) / 1000 == pytest.approx(row["lost_t"], rel=1e-9)
