"""Laboratory readings become results with a place and an error."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from features.lab import LAB_SCHEMA, lab_results
from features.station import LabSource, Station, Targets

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
            (2, "LAB MJ rs", 0.8, False),
            (0, "LAB CJ ph", 6.9, False),
            (4, "LAB MJ rs", 0.2, False),
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
