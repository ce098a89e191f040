"""Course of growth, and what is believed of it after the evidence."""

import math
import sys
from datetime import UTC, datetime

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.signal import lfilter
from scipy.stats import norm

from models.base import Minutes
from models.detect.microbial_growth import (
    BEST_DEGC,
    EATEN_KG_M3_H,
    EATEN_LOG_SD,
    Belief,
    Reading,
    believe,
    eaten_course_pct,
    growth,
    mixed,
)
from models.detect.microbial_weigh import against


def test_growth_follows_the_logistic_curve_at_its_best_temperature():
    rate, seed = 1.2, 0.005
    minutes = np.arange(12 * 60)
    # Two hot days first: what a tank usually holds counts as nothing.
    temp = np.concatenate([np.full(2880, 90.0), np.full(len(minutes), BEST_DEGC)])
    # Closed form of logistic growth (any textbook of ecology; computed).
    film = 1.0 / (1.0 + (1.0 / seed - 1.0) * np.exp(-rate * (minutes / 60.0)))
    found = growth(temp, rate, seed)[2880:]
    assert np.abs(found - film).max() < 0.06
    assert found[-1] == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("degc", [20.0, 76.0, 95.0])
def test_nothing_grows_in_cold_or_in_hot_juice(degc):
    # Thermophiles of juice: hardly any growth above 75 degC, none near room temperature (memory).
    temp = np.concatenate([np.full(2880, 90.0), np.full(24 * 60, degc)])
    assert growth(temp, 2.1, 0.005).max() < 0.02


def test_juice_leaves_as_a_mean_over_the_tank_and_no_filters_are_loaded_for_it(monkeypatch):
    n, temp = 600, np.concatenate([np.full(400, 90.0), np.full(200, BEST_DEGC)])
    zone = {"volume_m3": np.full(n, 10.0), "residence_min": np.full(n, 20.0)}
    station = {"sucrose_feed_kg_h": np.full(n, 1000.0)}
    minutes = Minutes(datetime(2025, 10, 6, tzinfo=UTC), station, {"clear_juice_tank": zone})
    monkeypatch.setitem(sys.modules, "scipy.signal", None)  # half a second of a night
    found = eaten_course_pct(minutes, "clear_juice_tank", temp, 2.1, 0.2)
    keep = math.exp(-1.0 / 20.0)
    inside = 100.0 * 10.0 / 1000.0 * growth(temp, 2.1, 0.2)
    expected = lfilter([1.0 - keep], [1.0, -keep], inside)
    assert found == pytest.approx(expected, rel=1e-12, abs=1e-15)
    assert found.max() > 0.0


def reading(eaten, sd, **more):
    return Reading("pol", eaten, sd, more.get("on_acid", False), more.get("scale", 1e-6), 5)


def test_the_odds_are_those_of_the_integral():
    found = believe([reading(3.0, 1.0)])
    prior = norm(math.log(EATEN_KG_M3_H), EATEN_LOG_SD)
    with_growth = quad(lambda x: norm.pdf(3.0, math.exp(x), 1.0) * prior.pdf(x), -4.0, 6.0)[0]
    assert found.log_odds == pytest.approx(math.log(with_growth / norm.pdf(3.0)), abs=0.01)


def test_evidence_moves_the_belief_and_no_evidence_leaves_it():
    nothing = believe([])
    assert nothing.log_odds == pytest.approx(0.0, abs=1e-9)
    assert nothing.log_mean == pytest.approx(math.log(EATEN_KG_M3_H), abs=1e-6)
    # Every size within 3.5 deviations is as likely: a uniform law's (computed).
    assert nothing.log_sd == pytest.approx(7.0 * EATEN_LOG_SD / math.sqrt(12.0), rel=0.02)
    sharp = believe([reading(4.0, 0.05)])
    assert math.exp(sharp.log_mean) == pytest.approx(4.0, rel=0.02)
    assert believe([reading(-0.2, 0.3)]).probability < 0.2


def test_the_amount_is_not_drawn_to_what_was_judged_usual():
    # The acid is sharp; sucrose per acid is not, and errs to either side alike.
    for eaten in (0.4, EATEN_KG_M3_H, 10.0):
        found = believe([reading(eaten, 0.05 * eaten, on_acid=True)])
        assert math.exp(found.log_mean) == pytest.approx(eaten, rel=0.05)
    assert believe([reading(2.0, 0.5)]).log_odds > believe([reading(60.0, 15.0)]).log_odds


def test_acid_leaves_the_sucrose_per_acid_open_and_pol_closes_it():
    acid = believe([reading(4.0, 0.05, on_acid=True)])
    both = believe([reading(4.0, 0.05, on_acid=True), reading(6.0, 0.3)])
    assert acid.log_sd > 0.3
    assert both.log_sd < 0.15
    assert math.exp(both.log_mean) == pytest.approx(6.0, rel=0.1)


def test_courses_are_mixed_by_their_odds():
    one = mixed([Belief(1.0, 0.1, 8.0), Belief(0.0, 0.1, -8.0)])
    assert one.log_mean == pytest.approx(1.0, abs=0.01)
    assert one.log_odds == pytest.approx(8.0 - math.log(2.0), abs=0.01)
    apart = mixed([Belief(1.0, 0.1, 2.0), Belief(0.0, 0.1, 2.0)])
    assert apart.log_sd == pytest.approx(math.hypot(0.1, 0.5), rel=1e-6)


def test_strength_is_held_against_calm_hours():
    rng = np.random.default_rng(5)
    calm = rng.normal(0.4, 2.0, 400)
    z, chance = against(6.4, calm, 1.0)
    # Three spreads above the median of what calm hours give (normal tail; computed).
    assert z == pytest.approx(3.0, abs=0.3)
    assert chance == pytest.approx(norm.sf(z), rel=1e-6)
    assert against(6.4, rng.normal(0.4, 1.0, 400), 1.0)[1] < chance
    # Answers that rest on the same hours are worth less.
    narrow = rng.normal(0.35, 1.1, 400)
    assert against(4.0, narrow, 40.0)[1] > 2.0 * against(4.0, narrow, 1.0)[1]


def test_what_calm_hours_show_as_often_is_no_rarer():
    calm = np.where(np.arange(100) % 6 == 0, 12.0, 0.1 * np.sin(np.arange(100)))
    assert against(10.0, calm, 1.0)[1] >= 0.16
