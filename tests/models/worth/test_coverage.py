"""Which losses can be seen, held against what the search finds with a tag and without it."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from features.base.station import Filtrate, Signal
from models.find.rows import FINDING_COLUMNS
from models.worth.coverage import CAUSES, NEEDS, coverage_of
from pipeline.mill.description import load_mill
from pipeline.words.causes import CAUSES as CAUSE_WORDS
from pipeline.words.worth import NEEDS as NEED_WORDS

ROOT = Path(__file__).resolve().parents[3]
#: Causes of a pH that falls further on the way than usual.
FALL = {
    "clear_probe_low",
    "short_circuiting",
    "late_lime_reaction",
    "settler_infection",
    "invert_destruction",
}


@pytest.fixture(scope="module")
def whole():
    return load_mill(ROOT / "configs" / "demo_mill.toml").station


def without(station, *tags):
    return replace(
        station,
        signals=tuple(s for s in station.signals if s.tag not in tags),
        lab=tuple(s for s in station.lab if s.tag not in tags),
    )


def test_a_well_measured_station_sees_every_cause(whole):
    told = coverage_of(whole)
    assert told.missing == () and told.blind == frozenset()
    assert told.unmet == dict.fromkeys(CAUSES, ())


@pytest.mark.parametrize(
    ("tags", "need", "blind", "part"),
    [
        (
            ["LT.AI212"],
            "ph_limed",
            {"low_limed_ph", "ph_probe_high", "short_circuiting", "invert_destruction"},
            set(),
        ),
        (["ST.AI308"], "ph_clear", {"unexplained", *FALL}, set()),
        (["ST.LI305"], "mud_level", set(), {"mud_held"}),
        (["CT.LI401"], "level_clear_juice_tank", set(), {"tank_held"}),
        (["EV.TI501"], "temp_evaporator", set(), {"overheating"}),
        (["ST.LI303"], "level_settler", set(), {"standing_juice"}),
        (["LAB LJ ph"], "grabs_limed", {"ph_probe_high"}, {"low_limed_ph"}),
        (["LAB CJ ph"], "grabs_clear", {"clear_probe_low"}, {"unexplained"}),
        (["LAB EJ lactic", "LAB LJ lactic"], "lactic", set(), {"microbial"}),
        (
            ["MJ.FI101", "ST.FI301", "CT.FI403"],
            "flow",
            {"standing_juice", "slow_throughput"},
            set(),
        ),
    ],
)
def test_each_missing_tag_or_result_takes_its_own_losses(whole, tags, need, blind, part):
    told = coverage_of(without(whole, *tags))
    assert told.missing == (need,)
    assert told.blind == blind
    assert {c for c, unmet in told.unmet.items() if unmet} - told.blind == part


def test_held_mud_needs_a_level_or_an_underflow(whole):
    told = coverage_of(without(whole, "ST.LI305", "ST.FI306"))
    assert told.missing == ("mud", "mud_level")
    assert "mud_held" in told.blind


def test_microbes_need_one_sign_at_least(whole):
    lactic = ["LAB EJ lactic", "LAB LJ lactic"]
    pol = [f"LAB {point} pol" for point in ("MJ", "LJ", "CJ", "EJ")]
    for left in (lactic + pol, [*lactic, "LT.FI211"]):
        assert "microbial" not in coverage_of(without(whole, *left)).blind
    assert "microbial" in coverage_of(without(whole, *lactic, *pol, "LT.FI211")).blind


def test_a_mud_meter_or_a_second_instrument_is_no_stand_in(whole):
    bare = without(whole, "MJ.FI101", "ST.FI301", "CT.FI403", "ST.LI305")
    second = replace(whole.signal("mud_level", "settler"), tag="X", beside="ST.LI305")
    told = coverage_of(replace(bare, signals=(*bare.signals, second)))
    assert set(told.missing) == {"flow", "mud_level"}


def test_vessels_that_are_not_there_are_not_missed(whole):
    vessels = tuple(v for v in whole.vessels if v.kind != "clear_juice_tank")
    told = coverage_of(replace(without(whole, "CT.LI401", "CT.TI402"), vessels=vessels))
    assert told.missing == ()


def test_every_need_and_cause_has_its_words():
    assert set(NEED_WORDS) == set(NEEDS)
    assert set(CAUSES) == set(CAUSE_WORDS)
    assert "cause" in FINDING_COLUMNS


def spoil_limed(plant):
    plant.tag("LT.AI212")[9000:9600] -= 0.5
    plant.tag("ST.AI308")[9070:9670] -= 0.4


def hold_mud(plant):
    rise = np.interp(np.arange(plant.n), [8000, 8600, 10000, 10600], [0.0, 45.0, 45.0, 0.0])
    plant.grid[plant.name["ST.LI305"]] = plant.tag("ST.LI305") + rise


@pytest.mark.slow
@pytest.mark.parametrize("measured", [True, False])
@pytest.mark.parametrize(
    ("fault", "cause", "tags"),
    [
        (spoil_limed, "low_limed_ph", ("LT.AI212",)),
        (hold_mud, "mud_held", ("ST.LI305", "ST.FI306")),
    ],
)
def test_the_search_finds_what_can_be_seen_and_nothing_else(plant, fault, cause, tags, measured):
    fault(plant)
    if not measured:
        for tag in tags:
            del plant.grid[plant.name[tag]]
        plant.station = without(plant.station, *tags)
    found = set(plant.search().findings["cause"])
    assert (cause in found) == (cause not in coverage_of(plant.station).blind) == measured


def test_a_vapour_pressure_stands_in_for_the_evaporators_thermometer(whole):
    blind = without(whole, "EV.TI501")
    vapour = Signal("EV.PI504", "steam_pressure", "first_evaporator", "inside", "kPa", 10, 400)
    steam = replace(vapour, port="in")
    told = {
        s.port: coverage_of(replace(blind, signals=(*blind.signals, s))) for s in (vapour, steam)
    }
    assert "temp_evaporator" not in told["inside"].missing
    assert "temp_evaporator" in told["in"].missing


def test_filtrate_that_nothing_tells_of_is_asked_for(whole):
    untold = replace(whole, filtrate=Filtrate())
    meter = Signal("RF.FI601", "flow", "filtrate", "", "m3/h", 0, 150)
    assert coverage_of(untold).missing == ("filtrate",)
    for told in (Filtrate(share_pct=0.0), Filtrate(share_pct=11.0)):
        assert coverage_of(replace(whole, filtrate=told)).missing == ()
    assert coverage_of(replace(untold, signals=(*untold.signals, meter))).missing == ()
