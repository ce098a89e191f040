"""What the laboratory's series promise of the level: worked out, and never the same for all."""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.special import ndtri
from scipy.stats import norm

from models.worth import level, nominal
from models.worth.level import outlook_of
from models.worth.nominal import nominal_of
from models.worth.planned import swings
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


SUGARS = ("rs", "brix", "pol")


def only(station, *points):
    """The station whose sugars are analysed at some points alone."""
    kept = {f"LAB {point} {a}" for point in points for a in SUGARS}
    lab = tuple(s for s in station.lab if s.tag in kept or s.analyte not in SUGARS)
    return replace(station, lab=lab)


def test_both_series_one_and_none_are_told_apart(station):
    both = outlook_of(only(station, "LJ", "CJ"))
    one = outlook_of(without(only(station, "LJ", "CJ"), "LAB CJ rs"))
    none = outlook_of(only(station))
    assert both.promising and not one.promising and not none.promising
    assert both.told_at == one.told_at == ("limed", "clear") and none.told_at == ()
    assert one.cure.add == (("rs", "clear"),)
    assert none.cure.analyses > one.cure.analyses > 0
    # Pol and Brix alone can be compared, and say next to nothing.
    assert one.enough_factor > 0.9 * one.prior_factor
    assert both.enough_factor < both.prior_factor
    assert both.enough_factor == pytest.approx(one.cure.factor)


def test_mixed_and_clear_juice_alone_tell_the_level(station):
    told = outlook_of(only(station, "MJ", "CJ"))
    assert told.promising and told.told_at == ("mixed", "clear")


def test_the_further_apart_two_points_the_better_they_tell(station):
    assert (
        outlook_of(only(station, "MJ", "EJ")).enough_factor
        < outlook_of(only(station, "MJ", "CJ")).enough_factor
        < outlook_of(only(station, "MJ", "LJ")).enough_factor
    )


def test_reducing_sugars_alone_can_be_compared_nowhere():
    # Without a tracer nothing says whether the juice was thinned: the balance is per tracer.
    station = load_mill(CONFIGS / "template.toml").station
    station = replace(station, lab=tuple(s for s in station.lab if s.analyte in ("rs", "ph")))
    told = outlook_of(station)
    assert told.enough_samples == 0 and told.told_at == () and not told.promising
    assert {a for a, _ in told.cure.add} == {"brix"}


def test_a_better_laboratory_leaves_the_level_known_better(station):
    fine = replace(
        station, lab=tuple(replace(s, sd=s.sd / 4, rel_sd=s.rel_sd / 4) for s in station.lab)
    )
    told, rough = outlook_of(fine), outlook_of(station)
    # Better samples also tell better apart what a method is off by.
    assert 1.0 < told.enough_factor < rough.enough_factor


def test_a_description_that_knows_better_than_any_laboratory_needs_no_cure(station):
    known = replace(station, kinetics=replace(station.kinetics, multiplier_log_sd=0.05))
    told = outlook_of(without(known, "LAB CJ rs"))
    assert told.cure is None and not told.promising
    assert told.prior_factor == pytest.approx(1.086, abs=0.001)  # exp(1.645 x 0.05), computed


def test_composites_are_compared_too_and_tell_less_in_the_same_time(station):
    grabs = only(station, "MJ", "CJ")
    lab = tuple(replace(s, period_h=24.0) if s.analyte in SUGARS else s for s in grabs.lab)
    told = outlook_of(replace(grabs, lab=lab))
    assert told.told_at == ("mixed", "clear")
    assert told.enough_factor > outlook_of(grabs).enough_factor


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


@pytest.mark.parametrize(
    ("pairs", "log_sd", "rests"),
    [(0, 0.1, True), (40, 0.59, True), (40, 0.43, True), (40, 0.42, False), (8, 0.1, False)],
)
def test_a_level_is_the_laboratorys_when_it_outweighs_the_prior(pairs, log_sd, rests):
    # Inverse variances weigh alike at 0.6 / sqrt(2) = 0.424.
    assert rests_on_prior(pairs, log_sd, 0.6) is rests


def test_results_in_the_store_are_counted_and_narrow_the_level(station):
    none, few, many = (results_seen(results(np.arange(n) * 6.0), station) for n in (0, 6, MANY))
    assert (none.samples, none.rests_on_prior) == (0, True)
    assert few.samples == 6 and few.rests_on_prior
    assert many.samples == MANY and not many.rests_on_prior
    assert many.factor < few.factor < factor_of(0.6)
    assert many.apart_h == pytest.approx(6.0)


def test_samples_once_a_day_count_too(station):
    day = results_seen(results(np.arange(60) * 24.0), station)
    assert day.samples == 60 and day.apart_h == pytest.approx(24.0)


def test_reducing_sugars_of_one_point_leave_pol_to_tell(station):
    seen = results_seen(results(np.arange(MANY) * 6.0, skip=(("rs", "settler"),)), station)
    assert seen.rests_on_prior


def test_a_station_is_worked_out_once_for_promise_results_and_cure(station, monkeypatch):
    asked = []

    def derive(grid, other):
        asked.append(other)
        return real(grid, other)

    real = nominal.derive
    monkeypatch.setattr(nominal, "derive", derive)
    nominal._worked_out.cache_clear()
    outlook_of(without(station, "LAB LJ rs"))
    results_seen(results(np.arange(0.0, 480.0, 6.0)), station)
    results_seen(results([]), replace(station, targets=replace(station.targets, brix_pct=15.0)))
    assert len(asked) == 1


def test_sets_of_analyses_that_tell_the_same_are_tried_once(station, monkeypatch):
    tried = []

    def expected(samples, *rest):
        tried.append([(s.kind, s.place, s.sd_pct.tolist()) for s in samples])
        return real(samples, *rest)

    real = level.expected_log_sd
    monkeypatch.setattr(level, "expected_log_sd", expected)
    outlook_of(station)
    # All sugars are analysed everywhere: purity, potassium and chloride beside them add nothing.
    assert len(tried) <= 6
    assert all(one not in tried[:n] for n, one in enumerate(tried))


def test_weeks_of_a_station_at_its_targets_take_no_memory(station):
    minutes = nominal_of(station).minutes(START, 60_000)
    assert minutes.n == 60_000
    columns = [minutes.station, *minutes.zones.values()]
    assert {values.strides for held in columns for values in held.values()} == {(0,)}


def test_juice_swings_by_normal_quantiles():
    times_h = np.arange(3.0, 1800.0, 6.0)
    quantile = np.clip((np.floor(times_h / 6.0) * 0.6180339887498949) % 1.0, 0.005, 0.995)
    expected = np.maximum(1.0 + 0.4 * ndtri(quantile), 0.2)
    assert swings(times_h) == pytest.approx(expected, rel=1e-12)


def test_how_many_samples_suffice_hangs_on_the_laboratory(station):
    numbers = {
        outlook_of(only(station, *points)).enough_samples
        for points in (("LJ", "CJ"), ("MJ", "CJ"), ("MJ", "EJ"), ("MJ", "LJ"))
    }
    assert len(numbers) > 1
