"""What the laboratory's series promise of the level: worked out, and never the same for all."""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.stats import norm

from models.amount.reconcile import LEAST_PAIRS, expected_fit
from models.worth.level import outlook_of
from models.worth.nominal import nominal_of
from models.worth.seen import factor_of, rests_on_prior, results_seen
from pipeline.mill.description import load_mill

CONFIGS = Path(__file__).resolve().parents[3] / "configs"
START = datetime(2025, 10, 6, tzinfo=UTC)
#: A third of a year, four samples a day.
MANY = 480


@pytest.fixture(scope="module")
def station():
    return load_mill(CONFIGS / "demo_mill.toml").station


def without(station, *tags):
    return replace(station, lab=tuple(s for s in station.lab if s.tag not in tags))


def results(hours, *, inverted_pct=0.2, skip=()):
    """Results of limed and clear juice at these hours, without error; the clear 80 min later."""
    pol, rs = 12.18, 0.4872
    gone = inverted_pct / 100.0
    clear = {"brix": 14.5, "pol": pol * (1 - 1.315 * gone), "rs": rs + 1.0526 * pol * gone}
    rows = [
        (START + timedelta(hours=h + late), analyte, place, "out", value, 0.025 * value)
        for h in hours
        for place, late, juice in (
            ("liming_tank", 0.0, {"brix": 14.5, "pol": pol, "rs": rs}),
            ("settler", 80 / 60, clear),
        )
        for analyte, value in juice.items()
        if (analyte, place) not in skip
    ]
    names = ["ts_utc", "analyte", "place", "port", "value", "sd"]
    return pl.DataFrame(rows, schema=names, orient="row").with_columns(
        pl.col("ts_utc").cast(pl.Datetime("us", "UTC"))
    )


def test_both_series_one_and_none_are_told_apart(station):
    both = outlook_of(station)
    one = outlook_of(without(station, "LAB CJ rs"))
    none = outlook_of(without(station, "LAB CJ rs", "LAB LJ rs"))
    assert both.promising and not one.promising and not none.promising
    assert both.cure.add == ()
    assert one.cure.add == (("rs", "clear"),)
    assert set(none.cure.add) == {("rs", "clear"), ("rs", "limed")}
    assert none.cure.analyses == 2 * one.cure.analyses > 0
    # Pol and Brix alone still pair up, and say next to nothing (compare the weights that
    # tests/models/amount/test_reconcile.py finds on drawn analyses).
    assert one.enough_factor > 0.9 * one.prior_factor
    assert both.enough_factor < both.least_factor < both.prior_factor
    assert both.enough_factor == pytest.approx(one.cure.factor)


def test_reducing_sugars_alone_are_no_pair():
    # Without pol nothing says what share of the sucrose the reducing sugars were, and without a
    # tracer nothing says whether the juice was thinned: the balance is per sucrose and tracer.
    station = load_mill(CONFIGS / "template.toml").station
    station = replace(station, lab=tuple(s for s in station.lab if s.analyte in ("rs", "ph")))
    told = outlook_of(station)
    assert told.enough_pairs == 0 and told.least_factor is None and not told.promising
    assert set(told.cure.add) == {(a, e) for a in ("brix", "pol") for e in ("limed", "clear")}


def test_a_better_laboratory_leaves_the_level_known_better(station):
    fine = replace(
        station, lab=tuple(replace(s, sd=s.sd / 4, rel_sd=s.rel_sd / 4) for s in station.lab)
    )
    told, rough = outlook_of(fine), outlook_of(station)
    assert told.least_factor < rough.least_factor
    # Better samples also tell better apart what a method is off by.
    assert 1.0 < told.enough_factor < rough.enough_factor


def test_a_description_that_knows_better_than_any_laboratory_needs_no_cure(station):
    known = replace(station, kinetics=replace(station.kinetics, multiplier_log_sd=0.05))
    told = outlook_of(without(known, "LAB CJ rs"))
    assert told.cure is None and not told.promising
    assert told.prior_factor == pytest.approx(1.086, abs=0.001)  # exp(1.645 x 0.05), computed


def test_a_composite_is_no_half_of_a_pair(station):
    lab = tuple(replace(s, period_h=24.0) if s.tag == "LAB CJ rs" else s for s in station.lab)
    assert outlook_of(replace(station, lab=lab)).cure.add == (("rs", "clear"),)


def test_without_a_settler_nothing_can_be_sampled(station):
    vessels = tuple(v for v in station.vessels if v.kind != "settler")
    told = outlook_of(replace(station, vessels=vessels))
    assert not told.points and told.cure is None
    assert told.enough_factor == told.prior_factor


def test_a_factor_either_way_is_half_of_a_90_percent_interval():
    # 5 % and 95 % quantiles of the normal distribution, scipy 1.x.
    assert factor_of(0.6) == pytest.approx(math.exp(0.6 * norm.ppf(0.95)), rel=1e-4)


def test_the_station_at_its_targets_holds_juice_as_long_as_volume_over_flow(station):
    # Mean residence in a stirred tank is volume over flow: textbook (memory). 90 m3, 70 % full,
    # 265 m3/h measured at 30 degC, 72 degC in the tank: densities of water by IAPWS-95 (computed).
    nominal = nominal_of(station)
    assert nominal.zones["liming_tank"]["residence_min"] == pytest.approx(
        60 * 63 / 265 * 976.6 / 995.65, rel=1e-3
    )
    assert 0.0 < nominal.inverted_pct < 1.0


def test_what_is_expected_is_what_drawn_results_give():
    # Slope beside an offset of known spread, by ridge regression on drawn results.
    rng = np.random.default_rng(8)
    n, sd, off = 200, 0.14, 0.05
    x = 0.12 * (1.0 + 0.4 * norm.ppf((np.arange(n) + 0.5) / n))
    design = np.column_stack([x, np.full(n, off)])
    slopes = []
    for _ in range(2000):
        seen = 1.5 * x + off * rng.standard_normal() + sd * rng.standard_normal(n)
        normal = design.T @ design / sd**2 + np.diag([1e-9, 1.0])
        slopes.append(np.linalg.solve(normal, design.T @ seen / sd**2)[0])
    told = expected_fit(x, np.full(n, sd), 1.5, 3.0, np.full((n, 1), off))
    assert told.log_sd == pytest.approx(np.std(slopes) / 1.5, rel=0.1)
    assert told.pairs == (x > 0.0).sum()


def test_expected_errors_follow_the_propagation_of_uncertainty():
    # JCGM 100:2008, 5.1.2 (memory): independent errors of n pairs divide by the root of n, a
    # shared one does not divide. A prior this vague adds nothing.
    x, sd, shared = np.full(400, 0.5), np.full(400, 0.1), np.full((400, 1), 0.01)
    told = expected_fit(x, sd, 2.0, 3.0, shared)
    relative = math.hypot(0.1 / 0.5 / 20.0, 0.01 / 0.5) / 2.0
    assert told.log_sd == pytest.approx(relative, rel=0.02)


def test_too_few_pairs_leave_the_prior():
    n = LEAST_PAIRS - 1
    told = expected_fit(np.full(n, 0.1), np.full(n, 0.01), 1.5, 0.6, np.zeros((n, 1)))
    assert (told.pairs, told.log_sd) == (0, 0.6)


@pytest.mark.parametrize(
    ("pairs", "log_sd", "rests"),
    [(0, 0.1, True), (40, 0.59, True), (40, 0.43, True), (40, 0.42, False), (8, 0.1, False)],
)
def test_a_level_is_the_laboratorys_when_it_outweighs_the_prior(pairs, log_sd, rests):
    # Inverse variances weigh alike at 0.6 / sqrt(2) = 0.424.
    assert rests_on_prior(pairs, log_sd, 0.6) is rests


def test_pairs_in_the_store_are_counted_and_narrow_the_level(station):
    none, few, many = (
        results_seen(results(np.arange(n) * 6.0), station) for n in (0, LEAST_PAIRS - 2, MANY)
    )
    assert (none.pairs, none.rests_on_prior) == (0, True)
    assert 0 < few.pairs < LEAST_PAIRS
    assert few.rests_on_prior and few.factor == pytest.approx(factor_of(0.6))
    # The first clear sample lies between two limed ones; the last has none behind it.
    assert MANY - 2 <= many.pairs <= MANY
    assert not many.rests_on_prior and many.factor < 1.8
    assert many.apart_h["rs", "clear"] == pytest.approx(6.0)


def test_samples_too_far_apart_make_no_pair(station):
    # features.base.LONGEST_HOLD_H: 12 h.
    assert results_seen(results(np.arange(60) * 11.0), station).pairs > 50
    day = results_seen(results(np.arange(60) * 24.0), station)
    assert day.pairs == 0 and day.rests_on_prior
    assert day.apart_h["rs", "limed"] == pytest.approx(24.0)


def test_results_of_one_point_make_pairs_of_pol_alone(station):
    seen = results_seen(results(np.arange(MANY) * 6.0, skip=(("rs", "settler"),)), station)
    assert seen.rests_on_prior
    assert ("rs", "clear") not in seen.apart_h
