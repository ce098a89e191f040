"""Laboratory readings become results with a place and an error."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from features.base.lab import LAB_SCHEMA, LONGEST_HOLD_H, brix_pct, lab_results, purity_pct
from features.base.station import LabSource, Station, Targets

STATION = Station(
    vessels=(),
    signals=(),
    lab=(
        LabSource("LAB CJ ph", "ph", "settler", "out", "pH", 3.5, 12.0, sd=0.06),
        LabSource("LAB MJ rs", "rs", "mixed_juice", "", "%", 0.0, 5.0, sd=0.01, rel_sd=0.025),
    ),
    targets=Targets(265.0, 7.5, 6.95),
)
T0 = datetime(2025, 10, 6, 7, tzinfo=UTC)


def readings(*rows):
    return pl.DataFrame(
        [(T0 + timedelta(hours=h), tag, value, bad) for h, tag, value, bad in rows],
        schema={
            "ts_utc": pl.Datetime("us", "UTC"),
            "tag": pl.String,
            "value": pl.Float64,
            "bad": pl.Boolean,
        },
        orient="row",
    )


def test_results_get_place_and_larger_error():
    frame = lab_results(
        readings(
            (2, "LAB MJ rs", 0.8, False), (0, "LAB CJ ph", 6.9, False), (4, "LAB MJ rs", 0.2, False)
        ),
        STATION,
    )
    assert frame.schema == LAB_SCHEMA
    assert frame["place"].to_list() == ["settler", "mixed_juice", "mixed_juice"]
    assert frame["port"].to_list() == ["out", "", ""]
    assert frame["sd"].to_list() == pytest.approx([0.06, 0.02, 0.01])


def test_bad_missing_outlying_and_foreign_rows_do_not_count():
    frame = lab_results(
        readings(
            (0, "LAB CJ ph", 6.9, True),
            (1, "LAB CJ ph", None, False),
            (2, "LAB CJ ph", 13.0, False),
            (3, "ST.AI308", 6.9, False),
        ),
        STATION,
    )
    assert frame.is_empty()
    assert frame.schema == LAB_SCHEMA


def samples(*rows):
    return pl.DataFrame(
        [(T0 + timedelta(hours=h), a, "mixed_juice", "", v, 0.08, 0.0) for h, a, v in rows],
        schema=LAB_SCHEMA,
        orient="row",
    )


def hours(*values):
    return pl.Series([T0 + timedelta(hours=h) for h in values], dtype=pl.Datetime("us", "UTC"))


def test_purity_is_pol_per_brix_on_a_line_between_samples():
    # 100 pol / Brix, the definition of apparent purity (common practice): 12.18 / 14.5 = 84 %.
    lab = samples((0, "brix", 14.5), (0, "pol", 12.18), (4, "brix", 15.0), (4, "pol", 12.9))
    found = purity_pct(
        hours(-1, 0, 2, 4, 4 + LONGEST_HOLD_H, 5 + LONGEST_HOLD_H), lab, "mixed_juice"
    )
    assert found.to_list() == pytest.approx([None, 84.0, 85.0, 86.0, 86.0, None])


def test_purity_is_not_drawn_over_a_long_gap():
    lab = samples((0, "brix", 15.0), (0, "pol", 12.9), (13, "brix", 15.0), (13, "pol", 12.9))
    assert purity_pct(hours(6), lab, "mixed_juice").to_list() == [None]


@pytest.mark.parametrize("rows", [[], [(0, "pol", 12.0)], [(0, "pol", 12.0), (1, "brix", 15.0)]])
def test_purity_needs_both_results_of_one_sample(rows):
    found = purity_pct(hours(0, 1), samples(*rows), "mixed_juice")
    assert found.to_list() == [None, None]
    assert found.dtype == pl.Float64


def test_brix_of_a_place_runs_straight_between_its_grabs():
    times = pl.Series(
        [datetime(2025, 10, 6, h, tzinfo=UTC) for h in (1, 2, 3, 5)], dtype=pl.Datetime("us", "UTC")
    )
    lab = pl.DataFrame(
        {
            "ts_utc": [datetime(2025, 10, 6, h, tzinfo=UTC) for h in (2, 4, 2)],
            "analyte": ["brix", "brix", "pol"],
            "place": ["mixed_juice"] * 3,
            "port": [""] * 3,
            "value": [14.0, 15.0, 12.0],
            "sd": [0.1] * 3,
            "period_h": [0.0] * 3,
        },
        schema_overrides={"ts_utc": pl.Datetime("us", "UTC")},
    )
    assert brix_pct(times, lab, "mixed_juice").to_list() == [None, 14.0, 14.5, 15.0]
    assert brix_pct(times, lab, "syrup").null_count() == 4
