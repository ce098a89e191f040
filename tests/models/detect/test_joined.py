"""Two faults at once are two findings; what one makes of the other belongs to it."""

import json
from dataclasses import replace

import numpy as np
import pytest

from models.account.account import lost_kg
from models.base.minutes import Minutes
from models.base.settings import Settings
from models.detect.channels import Channel
from models.detect.joined import Candidate, join, running_only, with_company
from models.search.episodes import Residual, Span
from tests.models.conftest import START

FIRST, LAST = 5 * 1440 + 120, 5 * 1440 + 120 + 12 * 60
USUAL_KG_H = 60.0


def episode(name, kg, start=1000, end=1720, *, section="train", family="", z=9.0, sd=10.0, error=0):
    channel = Channel(name, section, (section,), np.zeros(0), error, family=family)
    bare = Residual(np.zeros(0), np.zeros(0), np.zeros(0), 1.0)
    return Candidate(channel, bare, Span(start, end, kg, sd, z))


def names(found):
    return [(c.channel.name, [p[0].name for p in c.joined]) for c in found]


@pytest.mark.parametrize(
    ("strong", "weak"),
    [
        ("ph", "heat"), ("ph", "hold"), ("heat", "mud"), ("mud", "heat"), ("ph", "mud"),
        ("throughput", "heat"), ("heat", "throughput"), ("throughput", "ph"), ("hold", "drop"),
        ("ph", "standing"), ("throughput", "standing"),
    ],
)  # fmt: skip
def test_a_fault_that_the_stronger_cannot_make_stays_a_finding(strong, weak):
    found = join([episode(strong, 900.0), episode(weak, 250.0)], USUAL_KG_H)
    assert sorted(names(found)) == sorted([(strong, []), (weak, [])])


@pytest.mark.parametrize(
    ("strong", "weak"),
    [("ph", "drop"), ("drop", "ph"), ("throughput", "drop"), ("mud", "drop"), ("heat", "drop")],
)
def test_what_the_stronger_makes_is_taken_up(strong, weak):
    found = join([episode(strong, 900.0), episode(weak, 250.0)], USUAL_KG_H)
    assert names(found) == [(strong, [weak])]
    assert found[0].kg == 1150.0


def test_slow_juice_does_not_explain_a_fall_as_costly_as_itself():
    assert len(join([episode("throughput", 900.0), episode("drop", 700.0)])) == 2
    assert len(join([episode("ph", 900.0), episode("drop", 700.0)])) == 1


def test_heat_travels_as_far_as_nothing_heats_anew():
    heaters = episode("heat", 300.0, section="secondary_heater")
    settler = episode("heat", 800.0, section="settler")
    boiling = episode("heat", 500.0, section="first_evaporator", family="evaporation")
    assert names(join([heaters, settler])) == [("heat", ["heat"])]
    assert len(join([heaters, boiling])) == 2
    assert len(join([settler, boiling])) == 2
    # Nor does the clear-juice probe see what is boiled behind it.
    assert len(join([boiling, episode("drop", 200.0)])) == 2


def test_what_drowns_in_the_error_of_the_stronger_is_no_finding():
    strong = episode("ph", 900.0, error=10.0)
    # 12 h at 10 kg/h is 120 kg, at 90 % twice as many as 130 kg can pass.
    assert names(join([strong, episode("heat", 130.0)])) == [("ph", ["heat"])]
    assert len(join([strong, episode("heat", 330.0)])) == 2


def test_noise_that_the_stronger_makes_louder_is_no_second_fault():
    # 75 kg/h on a usual 15 kg/h: everyday swings of every other factor weigh 3.5 times as much.
    weak = episode("hold", 250.0, z=6.0)
    assert names(join([episode("ph", 900.0), weak], 15.0)) == [("ph", ["hold"])]
    assert len(join([episode("ph", 900.0), weak], 600.0)) == 2


def test_sour_juice_after_a_stop_is_the_stops_doing():
    stop = episode("standing", 400.0, 1000, 1300)
    assert names(join([stop, episode("heat", 150.0, 1250, 1450)])) == [("standing", ["heat"])]
    assert len(join([stop, episode("heat", 150.0, 1450, 1700)])) == 2


def test_a_stop_is_a_finding_however_much_else_was_lost():
    assert len(join([episode("ph", 9000.0, error=50.0), episode("standing", 160.0)], 60.0)) == 2


def test_the_search_tells_how_much_is_usual_and_where_steam_heats_anew(plant, monkeypatch):
    told, families = [], {}

    def spy(found, usual_kg_h):
        told.append(usual_kg_h)
        families.update({c.channel.section: c.channel.family for c in found})
        return join(found, usual_kg_h)

    monkeypatch.setattr("models.detect.candidates.join", spy)
    for tag in ("FT.TI231", "ST.TI304", "ST.TI307", "CT.TI402", "CH.TI411", "EV.TI501"):
        plant.tag(tag)[FIRST:LAST] += 6.0
    losses = plant.search(Settings(smallest_finding_t=0.08))
    assert told[0] == pytest.approx(losses.minutes["unavoidable_kg_h"].median(), rel=0.1)
    assert families.pop("first_evaporator") == "evaporation"
    assert families
    assert set(families.values()) == {""}


def test_company_is_told_both_ways():
    low, full, later = (
        episode("ph", 900.0),
        episode("hold", 300.0),
        episode("heat", 300.0, 5000, 5600),
    )
    told = with_company([low, full, later])
    assert [[c.name for c, _ in t.beside] for t in told] == [["hold"], ["ph"], []]


def test_a_stop_is_counted_once():
    n = 3000
    stopped = np.zeros(n)
    stopped[1200:1560] = 1.0
    minutes = Minutes(START, {"stopped": stopped, "sucrose_feed_kg_h": np.ones(n)}, {})
    low = running_only(episode("ph", 720.0), minutes)
    # Half of its 12 h were the stop's.
    assert low.kg == pytest.approx(360.0)
    assert running_only(episode("standing", 200.0, 1200, 1560), minutes).kg == 200.0
    both = replace(episode("heat", 720.0), joined=low.joined)
    assert running_only(both, minutes).kg == pytest.approx(360.0)


@pytest.fixture
def sour_and_full(plant):
    for tag in ("LT.AI212", "ST.AI308"):
        plant.tag(tag)[FIRST:LAST] -= 0.4
    plant.shift_lab("liming_tank", FIRST / 60, LAST / 60, -0.4)
    plant.shift_lab("settler", FIRST / 60 + 0.5, LAST / 60 + 0.5, -0.4)
    plant.hold_tank(FIRST - 75, LAST + 75)
    return plant.search()


def test_low_ph_and_a_full_tank_are_two_findings(sour_and_full):
    found = {row["cause"]: row for row in sour_and_full.findings.iter_rows(named=True)}
    assert set(found) == {"low_limed_ph", "tank_held"}
    texts = {c: [f["text"] for f in json.loads(r["evidence"])["facts"]] for c, r in found.items()}
    assert any("finding of its own: juice held in" in t for t in texts["low_limed_ph"])
    assert any("finding of its own: limed juice too acid" in t for t in texts["tank_held"])
    # Shapley shares: both together are what the train lost in those hours above its usual.
    minutes = sour_and_full.minutes["excess_kg_h"].to_numpy()
    usual = np.median(minutes[: FIRST - 200])
    joint_t = float((minutes[FIRST - 75 : LAST + 75] - usual).sum()) / 60_000.0
    assert sum(r["lost_t"] for r in found.values()) == pytest.approx(joint_t, rel=0.12)


def test_a_low_ph_through_a_stop_does_not_count_the_stop_again(plant):
    for tag in ("LT.AI212", "ST.AI308"):
        plant.tag(tag)[FIRST : LAST + 720] -= 0.4
    plant.shift_lab("liming_tank", FIRST / 60, LAST / 60 + 12, -0.4)
    plant.shift_lab("settler", FIRST / 60 + 0.5, LAST / 60 + 12.5, -0.4)
    for tag in ("MJ.FI101", "ST.FI301", "CT.FI403", "ST.FI306"):
        plant.tag(tag)[LAST : LAST + 300] = 0.0
    losses = plant.search()
    rows = list(losses.findings.iter_rows(named=True))
    assert {"low_limed_ph", "standing_juice"} <= {row["cause"] for row in rows}
    minutes = losses.minutes["excess_kg_h"].to_numpy()
    usual = np.median(minutes[: FIRST - 200])
    # In the stop nothing is usual: all of it counts, and once.
    lost = minutes[FIRST : LAST + 900] - usual
    lost[LAST - FIRST : LAST - FIRST + 300] += usual
    joint_t = float(lost.sum()) / 60_000.0
    assert sum(row["lost_t"] for row in rows) <= 1.05 * joint_t
    for row in rows:
        assert lost_kg(json.loads(row["evidence"])["account"]) == pytest.approx(1e3 * row["lost_t"])
