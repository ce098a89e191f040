"""Reducing sugars on solids or on pol become a share of the juice; composites are no grabs."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from features.base.lab import LAB_SCHEMA, composites, grabs, lab_results, left_out, purity_pct
from features.base.station import LabSource, Station, Targets

T0 = datetime(2025, 10, 6, 6, tzinfo=UTC)
POINT = ("settler", "out")


def source(tag, analyte, high, sd, **more):
    return LabSource(tag, analyte, *POINT, "%", 0.0, high, sd=sd, **more)


def station(**of_rs):
    return Station(
        vessels=(),
        signals=(),
        lab=(
            source("brix", "brix", 30.0, 0.1),
            source("pol", "pol", 30.0, 0.2),
            source("rs", "rs", 10.0, 0.05, **of_rs),
            source("brix day", "brix", 30.0, 0.06, period_h=24.0),
        ),
        targets=Targets(265.0, 7.5, 6.95),
    )


def readings(*rows):
    return pl.DataFrame(
        [(T0 + timedelta(hours=h), tag, value, False) for h, tag, value in rows],
        schema={
            "ts_utc": pl.Datetime("us", "UTC"),
            "tag": pl.String,
            "value": pl.Float64,
            "bad": pl.Boolean,
        },
        orient="row",
    )


def sugars(rows, **of_rs):
    frame = lab_results(readings(*rows), station(**of_rs))
    return frame.filter(pl.col("analyte") == "rs")


# By hand. Clear juice of 15.0 Brix and 12.6 pol holds 0.60 g reducing sugars in 100 g of juice:
# reducing sugars % Brix are 100 x 0.60 / 15.0 = 4.00, and the reducing sugar ratio, reducing
# sugars per 100 pol, is 100 x 0.60 / 12.6 = 4.76 (definitions: common practice of the trade's
# handbooks, from memory). Errors of 0.05 in 4.00 and 0.1 in 15.0 join to
# 0.60 x sqrt(0.0125^2 + 0.00667^2) = 0.0085; of 0.05 in 4.7619 and 0.2 in 12.6 to 0.0114.
@pytest.mark.parametrize(
    ("basis", "told", "sd"),
    [("solids", 4.00, 0.0085), ("pol", 4.761905, 0.01142), ("juice", 0.60, 0.05)],
)
def test_the_same_juice_told_on_three_bases(basis, told, sd):
    found = sugars([(0, "brix", 15.0), (0, "pol", 12.6), (0, "rs", told)], basis=basis)
    assert found["value"].to_list() == pytest.approx([0.60], abs=1e-6)
    assert found["sd"].to_list() == pytest.approx([sd], abs=5e-5)


def test_brix_is_read_off_the_line_between_two_samples():
    rows = [(0, "brix", 14.0), (8, "brix", 16.0), (2, "rs", 4.0)]
    assert sugars(rows, basis="solids")["value"].to_list() == pytest.approx([4.0 * 14.5 / 100])


@pytest.mark.parametrize(
    ("away_h", "kept"), [(0.2, True), (6.0, True), (6.5, False), (-6.0, True), (-6.5, False)]
)
def test_a_lonely_brix_stands_for_six_hours_and_what_it_lacks_is_told(away_h, kept):
    rows = [(0, "brix", 15.0), (away_h, "rs", 4.0)]
    found = sugars(rows, basis="solids")
    assert found["value"].to_list() == pytest.approx([0.60] if kept else [])
    lost = left_out(readings(*rows), station(basis="solids"))
    assert lost.select("place", "port", "basis").rows() == ([] if kept else [(*POINT, "solids")])


def test_no_line_is_drawn_over_a_long_gap():
    rows = [(0, "brix", 15.0), (20, "brix", 15.0), (10, "rs", 4.0)]
    assert sugars(rows, basis="solids").is_empty()


@pytest.mark.parametrize("point", [("liming_tank", "out"), ("settler", "in")])
def test_the_brix_of_another_point_does_not_serve(point):
    other = LabSource("brix", "brix", *point, "%", 0.0, 30.0, sd=0.1)
    known = Station((), (), (other, *station(basis="solids").lab[1:]), Targets(265.0, 7.5, 6.95))
    assert lab_results(readings((0, "brix", 15.0), (0, "rs", 4.0)), known).height == 1


def test_a_composite_takes_the_composite_of_its_hours():
    rows = [(0, "brix day", 16.0), (0, "brix", 15.0), (0, "rs", 4.0)]
    found = sugars(rows, basis="solids", period_h=24.0)
    assert found["value"].to_list() == pytest.approx([0.64])
    assert found["period_h"].to_list() == [24.0]


def test_a_composite_takes_the_mean_of_the_grabs_in_its_hours():
    grabs_of_day = [(h, "brix", b) for h, b in ((2, 14.0), (10, 15.0), (18, 16.0))]
    found = sugars([*grabs_of_day, (30, "brix", 29.0), (0, "rs", 4.0)], basis="solids", period_h=24)
    assert found["value"].to_list() == pytest.approx([0.60])
    # Half of the day without a grab: nobody knows the Brix of what was gathered then.
    assert sugars([*grabs_of_day[:1], (0, "rs", 4.0)], basis="solids", period_h=24).is_empty()


def test_a_grab_does_not_take_a_composite():
    assert sugars([(0, "brix day", 16.0), (1, "rs", 4.0)], basis="solids").is_empty()


def purity_samples(*rows):
    return pl.DataFrame(
        [(T0 + timedelta(hours=h), a, "mixed_juice", "", v, 0.1, p) for h, a, v, p in rows],
        schema=LAB_SCHEMA,
        orient="row",
    )


def hours(*values):
    return pl.Series([T0 + timedelta(hours=h) for h in values], dtype=pl.Datetime("us", "UTC"))


def test_a_composite_tells_the_purity_of_its_hours_where_no_grab_is_near():
    lab = purity_samples(
        *((0, "brix", 15.0, 24.0), (0, "pol", 12.0, 24.0)),
        *((2, "brix", 15.0, 0.0), (2, "pol", 12.9, 0.0)),
    )
    found = purity_pct(hours(-1, 0, 3, 14, 15, 23.9, 24), lab, "mixed_juice")
    assert found.to_list() == pytest.approx([None, 80.0, 86.0, 86.0, 80.0, 80.0, None])


def test_the_shorter_composite_tells_more_and_a_week_tells_no_hour():
    lab = purity_samples(
        *((0, "brix", 10.0, 24.0), (0, "pol", 8.0, 24.0)),
        *((8, "brix", 10.0, 8.0), (8, "pol", 9.0, 8.0)),
        *((24, "brix", 10.0, 168.0), (24, "pol", 7.0, 168.0)),
    )
    found = purity_pct(hours(4, 8, 20, 30), lab, "mixed_juice")
    assert found.to_list() == pytest.approx([80.0, 90.0, 80.0, None])


def test_grabs_and_composites_part():
    lab = purity_samples((0, "brix", 15.0, 24.0), (0, "brix", 14.0, 0.0))
    assert grabs(lab)["value"].to_list() == [14.0]
    assert composites(lab)["value"].to_list() == [15.0]
    old = lab.drop("period_h")
    assert (grabs(old).height, composites(old).height) == (2, 0)
