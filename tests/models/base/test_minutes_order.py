"""Derived minutes as arrays, whatever order their rows come in."""

from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest

from models.base import in_order, to_minutes

AXIS = pl.datetime_range(
    datetime(2025, 10, 1, tzinfo=UTC), datetime(2025, 10, 3, tzinfo=UTC), "1m", closed="left",
    eager=True, time_unit="us",
)  # fmt: skip
NONE = pl.DataFrame(
    schema={"ts_utc": pl.Datetime("us", "UTC"), "analyte": str, "place": str, "port": str}
    | {"value": float}
)


def minutes_of(zone, size):
    return pl.DataFrame({"ts_utc": AXIS, "zone": zone, "loss_kg_h": size + np.arange(len(AXIS))})


def by_day(frame):
    """Rows as a lake gives them: day after day, zone after zone."""
    return frame.sort(pl.col("ts_utc").dt.date(), "zone", "ts_utc")


@pytest.mark.parametrize("shuffle", ["as in a lake", "zone by zone", "at random"])
def test_any_order_of_rows_gives_the_same_minutes(shuffle):
    station = pl.DataFrame({"ts_utc": AXIS, "sucrose_feed_kg_h": np.arange(len(AXIS)) * 2.0})
    zones = pl.concat([minutes_of("settler", 0.5), minutes_of("settler:mud", 0.25)])
    zones = pl.concat([zones, minutes_of("heater", 0.125)])
    if shuffle == "as in a lake":
        zones = by_day(zones)
    elif shuffle == "at random":
        station, zones = (f.sample(fraction=1.0, shuffle=True, seed=3) for f in (station, zones))
    station, zones, _ = in_order(station, zones, NONE, ["heater", "settler"])
    minutes = to_minutes(station, zones)
    assert list(minutes.zones) == ["heater", "settler", "settler:mud"]
    assert minutes.station["sucrose_feed_kg_h"].tolist() == (np.arange(len(AXIS)) * 2.0).tolist()
    for zone, first in (("heater", 0.125), ("settler", 0.5), ("settler:mud", 0.25)):
        expected = first + np.arange(len(AXIS))
        assert minutes.zones[zone]["loss_kg_h"].tolist() == expected.tolist()
