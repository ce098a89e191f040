"""The joint level against samples drawn from equations written out anew here."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from models.level import EVERY_POINT, course_of, fit_level, level_samples, methods_of, zone_shares
from models.worth.nominal import nominal_of
from pipeline.mill import load_mill

CONFIGS = Path(__file__).resolve().parents[3] / "configs"
START = datetime(2025, 10, 6, tzinfo=UTC)
DAYS = 42
MIXED, LIMED, CLEAR = ("mixed_juice", ""), ("liming_tank", "out"), ("settler", "out")


@pytest.fixture(scope="module")
def station():
    return load_mill(CONFIGS / "demo_mill.toml").station


@pytest.fixture(scope="module")
def minutes(station):
    """Six weeks in which the rate of inversion doubles and halves, within days and over days."""
    found = nominal_of(station).minutes(START, DAYS * 1440)
    hours = np.arange(found.n) / 60.0
    swing = np.exp(0.5 * np.sin(hours / 9.0) + 0.5 * np.sin(hours / 31.0))
    for zone in found.zones.values():
        zone["inversion_1_h"] = zone["inversion_1_h"] * swing
        zone["loss_kg_h"] = zone["loss_kg_h"] * swing
    return found


def fitted(minutes, told, station, biases, spoilt=()):
    return fit_level(minutes, level_samples(minutes, told, station, biases, spoilt), station)


def vessels_to(minutes, place):
    passed = {"mixed_juice": 0, "liming_tank": 2, "settler": 5}[place]
    return [z for z in minutes.zones if not z.endswith(":mud")][:passed]


def destroyed(minutes, station, place):
    """Share of the reducing sugars destroyed up to a point, by rate times stay."""
    columns = [minutes.zones[z] for z in vessels_to(minutes, place)]
    held = [c["sucrose_held_kg"][0] * station.kinetics.rs_per_sucrose_pct / 100 for c in columns]
    return sum(
        c["rs_destroyed_kg_h"][0] / of * c["residence_min"][0] / 60.0
        for c, of in zip(columns, held, strict=True)
    )


def inverted_pct(minutes, place, at):
    """Inverted up to a point by rate times stay, every vessel by itself [% of sucrose]."""
    names = vessels_to(minutes, place)
    return 100.0 * sum(
        minutes.zones[z]["inversion_1_h"][at] * minutes.zones[z]["residence_min"][at] / 60.0
        for z in names
    )


def samples(minutes, station, multiplier, *, off=None, points=(MIXED, LIMED, CLEAR), seed=0):
    """Reducing sugars, Brix and pol every four hours, off by a share at some points."""
    rng = np.random.default_rng(seed)
    rows = []
    hours = np.arange(12.0, DAYS * 24.0 - 12.0, 4.0)
    feed = 4.0 + 0.2 * np.sin(hours / 20.0)  # inverted sucrose that came with the cane [%]
    for place, port in points:
        at = (60.0 * hours).astype(int)
        left = feed * (1.0 - destroyed(minutes, station, place))
        inverted = left + multiplier * inverted_pct(minutes, place, at)
        rs = inverted / 100.0 * 1.0526 * 12.0 * (1.0 + (off or {}).get(place, 0.0))
        rs = rs * (1.0 + 0.01 * rng.standard_normal(len(rs)))
        for analyte, values, sd in (
            ("rs", rs, 0.01 * rs),
            ("brix", np.full(len(rs), 14.5), np.full(len(rs), 0.01)),
            ("pol", np.full(len(rs), 12.0), np.full(len(rs), 0.08)),
        ):
            rows += [
                (START + timedelta(hours=float(h)), analyte, place, port, float(v), float(s))
                for h, v, s in zip(hours, values, sd, strict=True)
            ]
    schema = {
        "ts_utc": pl.Datetime("us", "UTC"), "analyte": pl.String(), "place": pl.String(),
        "port": pl.String(), "value": pl.Float64(), "sd": pl.Float64(),
    }  # fmt: skip
    return pl.DataFrame(rows, schema=schema, orient="row").sort("ts_utc")


@pytest.mark.parametrize("truth", [0.7, 1.5, 3.0])
def test_the_level_is_recovered_within_its_interval(minutes, station, truth):
    found = fitted(minutes, samples(minutes, station, truth), station, {}).multiplier
    assert found.low < truth < found.high
    assert found.value == pytest.approx(truth, rel=0.35)
    assert found.log_sd < 0.4 < station.kinetics.multiplier_log_sd


def test_a_method_that_is_off_at_one_point_is_not_taken_for_inversion(minutes, station):
    # Clear juice reads 4 % too much reducing sugars: as much as all that is inverted on the way.
    told = samples(minutes, station, 1.5, off={"settler": 0.04})
    level = fitted(minutes, told, station, {})
    assert level.multiplier.value == pytest.approx(1.5, rel=0.35)
    off = {place: value for (kind, place), (value, _) in level.off_pct.items() if kind == "rs"}
    assert off["settler"] - off["liming_tank"] > 0.08


def test_mixed_and_clear_juice_alone_tell_the_level(minutes, station):
    told = samples(minutes, station, 2.5, points=(MIXED, CLEAR))
    found = fitted(minutes, told, station, {}).multiplier
    assert found.pairs > 200
    assert found.low < 2.5 < found.high
    assert found.log_sd < 0.4


def test_one_point_alone_leaves_the_prior(minutes, station):
    found = fitted(minutes, samples(minutes, station, 3.0, points=(CLEAR,)), station, {})
    assert found.multiplier.pairs == 0
    assert found.multiplier.value == pytest.approx(station.kinetics.multiplier)
    # What is not known of volumes and temperatures comes on top of the multiplier's own error.
    prior = station.kinetics.multiplier_log_sd
    assert prior < found.multiplier.log_sd < 1.1 * prior


def test_samples_behind_microbes_are_left_out(minutes, station):
    told = samples(minutes, station, 1.5)
    first, last = 15 * 1440, 18 * 1440
    spell = pl.col("ts_utc").is_between(
        START + timedelta(minutes=first), START + timedelta(minutes=last)
    )
    eaten = spell & (pl.col("analyte") == "rs") & (pl.col("place") != "mixed_juice")
    infected = told.with_columns(
        value=pl.when(eaten).then(1.15 * pl.col("value")).otherwise(pl.col("value"))
    )
    clean = fitted(minutes, told, station, {}, [("liming_tank", first, last)])
    kept = fitted(minutes, infected, station, {}, [("liming_tank", first, last)])
    assert kept.multiplier.value == pytest.approx(clean.multiplier.value, rel=0.005)
    assert kept.multiplier.pairs < fitted(minutes, told, station, {}).multiplier.pairs


def test_errors_of_one_finding_are_those_of_its_zones_and_minutes(minutes, station):
    level = fitted(minutes, samples(minutes, station, 1.5), station, {})
    settler = level.log_sd({"settler": 1.0}, 1000, 2000)
    by_minute = level.log_sds({"settler": 1.0}, 1000, 2000)
    assert by_minute == pytest.approx(settler, rel=0.02)
    # No analysis tells of the evaporator: its volume and temperature are known less well.
    assert level.log_sd({"first_evaporator": 1.0}, 1000, 2000) > settler


def test_the_same_results_give_the_same_level(minutes, station):
    told = samples(minutes, station, 1.5)
    one, two = (fitted(minutes, told, station, {}) for _ in range(2))
    assert one.multiplier == two.multiplier


def test_samples_of_juice_that_stood_do_not_outweigh_all_others(minutes, station):
    # Six samples of juice that was worked out to have lost thirty times the usual, and had not.
    told = samples(minutes, station, 1.5)
    stood = {zone: {n: v.copy() for n, v in col.items()} for zone, col in minutes.zones.items()}
    for start in range(6 * 1440, 36 * 1440, 5 * 1440):
        stood["settler"]["inversion_1_h"][start : start + 240] *= 30.0
    usual = fitted(minutes, told, station, {}).multiplier
    found = fitted(replace(minutes, zones=stood), told, station, {}).multiplier
    assert found.value == pytest.approx(usual.value, rel=0.15)


def test_another_reagent_in_mid_season_hardly_moves_the_level(minutes, station):
    """From day 21 on the reagent finds 4 % more in every juice: so much more seems inverted."""
    told = samples(minutes, station, 1.5)
    later = (pl.col("analyte") == "rs") & (pl.col("ts_utc") >= START + timedelta(days=21))
    stronger = told.with_columns(
        pl.when(later).then(1.04 * pl.col("value")).otherwise("value").alias("value")
    )
    shares = zone_shares(minutes)
    calm, moved = (
        course_of(fitted(minutes, lab, station, {}), minutes.start_utc, shares)
        for lab in (told, stronger)
    )
    for course in (calm, moved):
        assert ((course["low"] < 1.5) & (course["high"] > 1.5)).all()
    apart = (moved["multiplier"] / calm["multiplier"]).to_numpy()
    assert np.all((apart > 0.97) & (apart < 1.06))


@pytest.mark.parametrize("by", [0.75, 1.4])
def test_a_noted_reagent_is_told_with_its_step_and_not_taken_for_inversion(minutes, station, by):
    """From noon of day 21 on all reducing sugars read a quarter less, or two fifths more."""
    told = samples(minutes, station, 1.5)
    at_h = 21 * 24.0 + 12.0
    later = (pl.col("analyte") == "rs") & (pl.col("ts_utc") >= START + timedelta(hours=at_h))
    other = told.with_columns(
        pl.when(later).then(by * pl.col("value")).otherwise("value").alias("value")
    )
    heard = level_samples(minutes, other, station, {})
    level = fit_level(minutes, heard, station, [at_h])
    row = methods_of(level, heard, START).filter(pl.col("place") == EVERY_POINT).to_dicts()[0]
    assert row["since_utc"] == START + timedelta(hours=at_h)
    assert row["high_pct_low"] < 100.0 * (by - 1.0) < row["high_pct_high"]
    assert row["high_pct_high"] - row["high_pct_low"] < 20.0
    calm = fitted(minutes, told, station, {})
    assert np.abs(level.log_course - calm.log_course).max() < 0.05


def test_a_note_of_a_reagent_that_changed_nothing_changes_nothing(minutes, station):
    told = samples(minutes, station, 1.5)
    heard = level_samples(minutes, told, station, {})
    plain, level = (fit_level(minutes, heard, station, noted) for noted in ([], [500.0]))
    (step,) = level.steps
    assert plain.steps == ()
    assert abs(step.log) < 1.645 * step.log_sd
    assert level.multiplier.value == pytest.approx(plain.multiplier.value, rel=0.05)
    # None at an end of the season, where nothing stands to one side of it.
    assert fit_level(minutes, heard, station, [0.5]).steps == ()


@pytest.mark.slow
def test_restless_cane_is_not_taken_for_another_reagent(minutes, station):
    """Cane that swings by a quarter within a day: a note tells no step where there was none."""
    told = samples(minutes, station, 1.5)
    rng = np.random.default_rng(23)
    hours = np.arange(0.0, DAYS * 24.0, 4.0)
    fading = np.exp(-4.0 / 30.0)
    swing = [0.0]
    for shock in rng.standard_normal(len(hours) - 1):
        swing.append(fading * swing[-1] + 0.25 * np.sqrt(1.0 - fading**2) * shock)
    at = (told["ts_utc"] - START).dt.total_seconds().to_numpy() / 3600.0
    by = pl.Series(np.exp(np.interp(at, hours, swing)))
    restless = told.with_columns(
        pl.when(pl.col("analyte") == "rs")
        .then(pl.col("value") * by)
        .otherwise("value")
        .alias("value")
    )
    heard = level_samples(minutes, restless, station, {})
    sizes = []
    for at_h in (250.0, 410.0, 570.0, 730.0):
        (step,) = fit_level(minutes, heard, station, [at_h]).steps
        sizes.append(step.log / step.log_sd)
    assert abs(np.mean(sizes)) < 1.0
    assert np.abs(sizes).max() < 2.5


def test_a_multiplier_that_wanders_is_followed(minutes, station):
    """It doubles over six weeks, in a straight line of its logarithm."""
    hours = np.arange(minutes.n) / 60.0
    true = 1.2 * 2.0 ** (hours / hours[-1])
    zones = {
        name: {**col, "inversion_1_h": col["inversion_1_h"] * true}
        for name, col in minutes.zones.items()
    }
    told = samples(replace(minutes, zones=zones), station, 1.0)
    found = course_of(fitted(minutes, told, station, {}), minutes.start_utc, zone_shares(minutes))
    inside = found.filter(pl.col("ts_utc") < START + timedelta(days=42))
    known = pl.Series([true[int((t - START).total_seconds() // 60)] for t in inside["ts_utc"]])
    assert inside.select((pl.col("low") < known) & (known < pl.col("high"))).to_series().all()
    assert inside["multiplier"].is_sorted()


def test_a_method_is_told_in_percent_of_its_result(minutes, station):
    told = samples(minutes, station, 1.5, off={"settler": 0.04})
    heard = level_samples(minutes, told, station, {})
    rows = methods_of(fit_level(minutes, heard, station), heard, START)
    # Pol is set against its own usual at each point: nothing can be told of it.
    assert set(rows["analyte"]) == {"rs"}
    high = dict(rows.select("place", "high_pct").iter_rows())
    # 4 % more than the juice beside it; how that is shared between the two nobody can tell.
    assert high["settler"] - high["liming_tank"] == pytest.approx(4.0, abs=2.0)
    assert set(rows["samples"]) == {len(told.filter(pl.col("analyte") == "rs")) // 3}
