"""The settler's week: by hand from minutes, and in words for who has to run it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from features.base import Settling, Station, Targets, Vessel
from features.flow import EffectiveResidence, OwnSettling
from pipeline.report.settling import by_water_of, own_of, settlers_of, settling_days
from pipeline.report.week.settling import settling

START = datetime(2025, 10, 6, 5, tzinfo=UTC)


def _station(*areas, **said):
    vessels = tuple(
        Vessel(f"settler_{n}", "settler", 2, 300.0, 97.5, area_m2=a) for n, a in enumerate(areas)
    )
    return Station(vessels, (), (), Targets(265, 7.5, 6.95, 14.5), settling=Settling(**said))


def _zones(station, flows, brix=14.5, hours=3):
    times = [START + timedelta(minutes=n) for n in range(60 * hours)]
    return pl.concat(
        [
            pl.DataFrame(
                {
                    "ts_utc": times,
                    "zone": [v.name] * len(times),
                    "flow_out_m3_h": [flow] * len(times),
                    "brix_pct": [brix] * len(times),
                    "temp_degc": [97.5] * len(times),
                },
                schema_overrides={"ts_utc": pl.Datetime("us", "UTC")},
            )
            for v, flow in zip(station.vessels, flows, strict=True)
        ]
    )


def _day(*areas, flows, brix=14.5, own=None, minutes=None, **said):
    station = _station(*areas, **said)
    zones = _zones(station, flows, brix)
    return settling_days(zones, station, "UTC", minutes, own).row(0, named=True)


def test_settlers_side_by_side_count_together_and_one_out_leaves_the_rest():
    row = _day(60.0, 40.0, flows=(150.0, 100.0), rate_m_h=10.0)
    # 250 m3/h over 100 m2: 2.5 m/h against 5; over the 40 m2 that stay 6.25 m/h.
    assert row["overflow_m_h"] == pytest.approx(2.5)
    assert row["used_low"] == row["used_high"] == pytest.approx(0.5)
    assert row["out_high"] == pytest.approx(1.25)


def test_thinner_juice_is_a_range_until_turbidity_tells():
    plain = _day(100.0, flows=(250.0,), brix=14.5 / 1.1, rate_m_h=10.0)
    # By viscosity alone 1.03, by the trade's times of diluted juice 2.05 (common practice).
    assert plain["juice_low"] == pytest.approx(1.03, abs=0.01)
    assert plain["juice_high"] == pytest.approx(2.05, abs=0.03)
    told = OwnSettling(1.3, 0.1, by_water=0.0, by_water_sd=0.001, hours=600)
    own = _day(100.0, flows=(250.0,), brix=14.5 / 1.1, rate_m_h=10.0, own=told)
    assert own["juice_high"] == pytest.approx(plain["juice_low"], rel=2e-3)
    assert by_water_of(None) == (0.0, 1.0)


def test_flocculant_is_told_in_mg_for_each_kg_of_juice():
    minutes = pl.DataFrame(
        {
            "ts_utc": [START + timedelta(minutes=n) for n in range(180)],
            "flow_feed_m3_h": [250.0] * 90 + [0.0] * 90,
            "brix_feed_pct": [15.0] * 180,
            "flocculant_l_h": [900.0] * 90 + [0.0] * 90,
        },
        schema_overrides={"ts_utc": pl.Datetime("us", "UTC")},
    )
    row = _day(100.0, flows=(250.0,), minutes=minutes, flocculant_g_l=1.0)
    # 0.9 kg/h in 250 m3/h of 1,056 kg/m3 (15 Brix, 30 degC): 3.41 mg/kg; the stop does not count.
    assert row["dose_mg_kg"] == pytest.approx(3.41, abs=0.01)
    assert _day(100.0, flows=(250.0,), minutes=minutes)["dose_mg_kg"] is None


def test_a_settler_without_area_is_not_weighed_in_part():
    station = _station(100.0, None)
    assert settlers_of(station) == ()
    assert settling_days(_zones(station, (100.0, 100.0)), station, "UTC") is None
    assert own_of(_zones(station, (1.0, 1.0)), pl.DataFrame(), station) is None


def _lines(week, **changed):
    return " ".join(settling(replace(week, **changed)).lines)


def test_one_settler_out_of_service_stands_the_station(week):
    said = _lines(week)
    assert "One settler: with it out of service no juice can be clarified" in said
    assert "3.3 mg/kg juice in the mean; 3 to 4 is usual" in said


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (0.6, 0.9, "60 to 90 % in the week's hardest hour: it would still be within"),
        (0.8, 1.2, "it may be over its limit"),
        (1.1, 1.6, "it would be over its limit"),
    ],
)
def test_one_of_two_out_is_judged(week, low, high, words):
    vessels = week.report.station.vessels
    twin = replace(next(v for v in vessels if v.kind == "settler"), name="settler_two")
    station = replace(week.report.station, vessels=(*vessels, twin))
    out = week.settling.with_columns(out_low=pl.lit(low), out_high=pl.lit(high))
    report = replace(week.report, station=station)
    assert words in _lines(week, report=report, settling=out)


def test_own_turbidity_crossing_and_pumps_are_told(week):
    own = OwnSettling(1.3, 0.1, 0.05, 0.02, 644)
    said = _lines(week, own=own)
    # 1.1 to the power of 1.3 is 1.132.
    assert "(644 h): a tenth more load makes clear juice 13.2 % (11.4 to 15.0) more turbid" in said
    assert "relieves the settler by 2 to 8 % of what the same water would do" in said
    assert "doubles" not in said  # at 70 % more, far beyond what was seen
    assert "tells nothing of the settler's limit: too few" in _lines(
        week, own=OwnSettling(reason="too few")
    )
    found = EffectiveResidence(260.0, 240.0, 280.0, 3, 0.76, None)
    assert "260 m³ (240 to 280) of the settler, 76 % of what it holds" in _lines(
        week, crossing=found
    )
    pumped = replace(week.report.station, settling=Settling(pumped_after=True))
    report = replace(week.report, station=pumped)
    assert "pumps tear flocs" in _lines(week, report=report)
    assert "pumps tear flocs" not in said
