"""A fall of pH on the way: each cause by its own marks, and none where nothing shows."""

import json
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from models.base.minutes import Minutes
from models.base.settings import Settings
from models.cause.causes import judge
from models.cause.corroboration import _CHECKS
from models.cause.episode import Clue
from models.cause.fall import LEAST_UNEXPLAINED_PH, clear_probe_fault, judge_fall, share_out
from models.cause.sensor_fault import Case
from models.detect.channels import Channel
from models.detect.context import Context
from models.detect.joined import Candidate
from models.search.episodes import Residual, Span
from tests.models.conftest import START

N, FIRST, LAST = 8 * 1440, 4 * 1440, 5 * 1440
EPISODE = slice(FIRST, LAST)


class Hours:
    """Eight days of minutes; in one of them the clear juice fell 0.3 pH further."""

    def __init__(self, station, fall=0.3):
        self.station_described = station
        self.rng = np.random.default_rng(5)
        self.station = {
            "stopped": np.zeros(N),
            "sucrose_feed_kg_h": np.full(N, 35_000.0),
            "flow_feed_m3_h": np.full(N, 265.0),
            "ph_mixed": np.full(N, 5.2),
            "ph_limed": np.full(N, 7.5),
            "ph_clear": np.full(N, 6.95),
            "turbidity_clear": np.full(N, 25.0),
        }
        self.station["ph_clear"][EPISODE] -= fall
        self.zones = {
            "liming_tank": {"residence_min": np.full(N, 14.0), "temp_degc": self.noisy(72.0)},
            "settler": {
                "residence_min": np.full(N, 75.0),
                "temp_degc": self.noisy(97.0),
                "volume_m3": np.full(N, 280.0),
            },
        }
        self.rows = []

    def noisy(self, level):
        return level + 0.2 * self.rng.standard_normal(N)

    def grabs(self, place, port, analyte, usual, in_episode, sd=0.03):
        for hour in np.arange(1.0, N / 60.0, 4.0):
            level = in_episode if FIRST <= hour * 60 < LAST else usual
            value = level + sd * self.rng.standard_normal()
            self.rows.append(
                (START + timedelta(hours=float(hour)), analyte, place, port, value, sd)
            )

    def case(self, channel="drop"):
        drop = self.station["ph_limed"] - self.station["ph_clear"]
        minutes = Minutes(START, self.station | {"ph_drop_settler": drop}, self.zones)
        quiet = np.ones(N, dtype=bool)
        quiet[EPISODE] = False
        schema = ["ts_utc", "analyte", "place", "port", "value", "sd"]
        lab = pl.DataFrame(self.rows, schema=schema, orient="row") if self.rows else None
        context = Context(minutes, self.station_described, {}, quiet, lab)
        bare = Residual(np.zeros(0), np.zeros(0), np.zeros(0), 1.0)
        span = Span(FIRST, LAST, 500.0, 20.0, 9.0)
        item = Candidate(Channel(channel, "settler", ("settler",), np.zeros(N)), bare, span)
        return Case(item, minutes, None, self.station_described, context)

    def judge(self, channel="drop"):
        case = self.case(channel)
        return (judge if channel != "drop" else judge_fall)(case.item, case.context)


@pytest.fixture
def hours(station):
    return Hours(station)


def texts(verdict):
    return [f["text"] for f in verdict.facts]


def test_a_fall_that_nothing_explains_stays_unexplained(hours):
    verdict = hours.judge()
    assert verdict.cause == "unexplained"
    assert verdict.weights["unexplained"] > 0.95
    assert len(verdict.facts) == 1
    assert verdict.facts[0]["value"] == pytest.approx(0.85, abs=0.001)


@pytest.mark.parametrize("gone", [slice(None), EPISODE])
def test_without_limed_juice_the_clear_juice_tells_its_own_fall(hours, gone):
    hours.station["ph_limed"][gone] = np.nan
    hours.grabs("settler", "out", "ph", 6.95, 6.95)
    verdict = hours.judge()
    assert sum(verdict.weights.values()) == pytest.approx(1.0)
    assert all(np.isfinite(f["value"]) for f in verdict.facts)
    assert verdict.cause == "clear_probe_low"
    assert "limed juice not measured" in verdict.facts[0]["text"]
    assert verdict.facts[0]["value"] == pytest.approx(0.3)


def test_a_clear_juice_probe_that_left_the_grabs_is_named(hours):
    hours.grabs("settler", "out", "ph", 6.95, 6.95)
    verdict = hours.judge()
    assert verdict.cause == "clear_probe_low"
    assert any("(ST.AI308) stands below 6 grabs" in text for text in texts(verdict))
    weights = verdict.weights
    assert weights["clear_probe_low"] == pytest.approx((0.3 - 0.02) / 0.3, abs=0.1)


@pytest.mark.parametrize(("level", "blamed"), [(6.95, True), (6.80, False), (6.65, False)])
def test_a_fall_that_all_grabs_deny_is_a_fault_of_the_probe(hours, level, blamed):
    hours.grabs("settler", "out", "ph", 6.95, level)
    fault = clear_probe_fault(hours.case())
    assert (fault is not None) == blamed
    if fault is not None:
        assert (fault.tag, fault.start, fault.end) == ("ST.AI308", FIRST, LAST)
        assert "6 grabs of the laboratory" in fault.why


def test_without_grabs_no_probe_is_blamed(hours):
    assert clear_probe_fault(hours.case()) is None
    assert "drop" in _CHECKS


def test_grabs_that_fell_with_the_probe_acquit_it(hours):
    hours.grabs("settler", "out", "ph", 6.95, 6.65)
    assert hours.judge().weights.get("clear_probe_low", 0.0) < 0.15


def test_a_laboratory_that_shifts_at_all_points_convicts_no_probe(hours):
    hours.grabs("settler", "out", "ph", 6.95, 6.95)
    hours.grabs("liming_tank", "out", "ph", 7.5, 7.8)
    hours.grabs("mixed_juice", "", "ph", 5.2, 5.5)
    assert hours.judge().weights.get("clear_probe_low", 0.0) < 0.2


def test_a_limed_juice_probe_above_its_grabs_is_named(hours):
    hours.grabs("settler", "out", "ph", 6.95, 6.65)
    hours.grabs("liming_tank", "out", "ph", 7.5, 7.2)
    assert hours.judge().cause == "ph_probe_high"


def test_a_short_stay_in_a_cool_liming_tank_is_a_late_reaction(hours):
    hours.zones["liming_tank"]["residence_min"][EPISODE] = 4.0
    hours.zones["liming_tank"]["temp_degc"][EPISODE] -= 12.0
    verdict = hours.judge()
    assert verdict.cause == "late_lime_reaction"
    told = next(f for f in verdict.facts if "residence time in the liming tank" in f["text"])
    assert (told["value"], told["unit"]) == (pytest.approx(4.0), "min")


def test_more_phosphate_reacts_for_longer(hours):
    plain = hours.judge().weights.get("late_lime_reaction", 0.0)
    hours.grabs("mixed_juice", "", "phosphate", 250.0, 600.0, sd=10.0)
    assert hours.judge().weights["late_lime_reaction"] > plain + 0.2


def test_lactic_acid_made_in_the_settler_is_an_infection(hours):
    # 8 meq/kg/pH x 90.08 g/mol: 200 mg/kg of lactic acid lower the pH by 0.28 (computed).
    hours.grabs("liming_tank", "out", "lactic", 250.0, 250.0, sd=5.0)
    hours.grabs("settler", "out", "lactic", 260.0, 460.0, sd=5.0)
    verdict = hours.judge()
    assert verdict.cause == "settler_infection"
    assert verdict.weights["settler_infection"] == pytest.approx(200 / 720.6 / 0.3, abs=0.06)


@pytest.mark.parametrize(("degc", "named"), [(62.0, True), (73.0, False), (90.0, False)])
def test_without_lactic_acid_a_cool_settler_speaks(hours, degc, named):
    hours.zones["settler"]["temp_degc"][EPISODE] += degc - 97.0
    verdict = hours.judge()
    assert (verdict.weights.get("settler_infection", 0.0) > 0.8) == named


def test_juice_limed_high_and_hot_destroys_its_invert(hours):
    hours.station["ph_limed"][EPISODE] += 0.9
    hours.zones["settler"]["temp_degc"][EPISODE] += 6.0
    hours.station["ph_clear"][EPISODE] += 0.9
    verdict = hours.judge()
    assert verdict.cause == "invert_destruction"
    assert any("reducing sugars destroyed" in text for text in texts(verdict))


def crossing(hours, volume_in_m3, *, turbid):
    """Swings of the limed pH that the clear juice follows through so much of the settler."""
    swing = 0.25 * np.sign(np.sin(np.arange(N) * 2.0 * np.pi / 397.0))
    limed = hours.station["ph_limed"] + swing
    out = np.zeros((3, N))
    for i in range(1, N):
        volume = volume_in_m3 if FIRST <= i < LAST else 280.0
        share = 265.0 / 60.0 / (volume / 3.0)
        inflow = swing[i]
        for k in range(3):
            out[k, i] = out[k, i - 1] + share * (inflow - out[k, i - 1])
            inflow = out[k, i]
    hours.station["ph_limed"] = limed
    hours.station["ph_clear"] = (
        hours.station["ph_clear"] + out[2] + 0.01 * hours.rng.standard_normal(N)
    )
    hours.station["turbidity_clear"][EPISODE] *= 2.0 if turbid else 1.0
    # The drop that matters compares a parcel with itself.
    return hours


def test_transients_that_arrive_early_are_short_circuiting(station):
    verdict = crossing(Hours(station), 140.0, turbid=True).judge()
    assert verdict.cause == "short_circuiting"
    told = next(f for f in verdict.facts if "juice passes through" in f["text"])
    assert told["value"] == pytest.approx(140.0, rel=0.15)
    clear = crossing(Hours(station), 140.0, turbid=False).judge()
    assert clear.weights["short_circuiting"] < 0.6
    assert "short_circuiting" not in {
        c
        for c, w in crossing(Hours(station), 280.0, turbid=True).judge().weights.items()
        if w > 0.2
    }


def test_causes_share_a_fall_and_never_more_than_it():
    sized = [Clue("a", 0.4, 0.1), Clue("b", 0.2, 0.05)]  # alike in what their errors leave
    weights = share_out(0.3, [*sized, Clue("c", chance=1.0)])
    assert sum(weights.values()) == pytest.approx(1.0)
    assert weights["unexplained"] == pytest.approx(LEAST_UNEXPLAINED_PH / 0.3)
    assert weights["a"] == pytest.approx(2.0 * weights["b"])
    assert weights.get("c", 0.0) == pytest.approx(0.0)
    # A size as large as its error claims half of itself, and one below nothing claims nothing.
    assert share_out(0.3, [Clue("a", 0.1, 0.1)])["a"] == pytest.approx(0.05 / 0.3)
    assert set(share_out(0.3, [Clue("a", -0.1, 0.1)])) == {"unexplained"}
    assert share_out(0.3, [Clue("c", chance=0.5)])["c"] == pytest.approx(0.5 * 0.28 / 0.3)
    assert share_out(0.0, [Clue("a", 0.4, 0.1)]) == {"unexplained": 1.0}


def test_readings_within_the_probes_everyday_error_are_no_fact(hours):
    hours.station["ph_limed"][EPISODE] -= 0.3
    hours.station["ph_clear"][EPISODE] += 0.28
    verdict = hours.judge("ph")
    assert texts(verdict) == ["limed juice (LT.AI212)"]


def test_lactic_acid_that_came_with_the_limed_juice_is_no_infection_of_the_settler(hours):
    hours.grabs("liming_tank", "out", "lactic", 250.0, 450.0, sd=5.0)
    hours.grabs("settler", "out", "lactic", 260.0, 460.0, sd=5.0)
    assert hours.judge().weights.get("settler_infection", 0.0) < 0.1


def test_the_search_hands_the_laboratory_on(plant):
    first, last = 5 * 1440, 6 * 1440
    plant.tag("ST.AI308")[first:last] -= 0.3
    plant.shift_lab("settler", first / 60, last / 60, -0.3)
    for hour in np.arange(2.0, 288.0, 6.0):
        level = 700.0 if first / 60 <= hour < last / 60 else 250.0
        plant.lab_rows.append([hour, "phosphate", "mixed_juice", "", level, 0.08 * level])
    row = plant.search(Settings(smallest_finding_t=0.08)).findings.row(0, named=True)
    assert row["cause"] == "late_lime_reaction"
    assert any(
        f["text"] == "phosphate in mixed juice" and f["usual"] == pytest.approx(250.0)
        for f in json.loads(row["evidence"])["facts"]
    )
