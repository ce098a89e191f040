"""Zones in words, beside the data base of zones that Python reads."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from pipeline.cells import LOCAL, OPEN, local_to_utc, repeated, zone_of
from pipeline.mill import offset_s


@pytest.mark.parametrize(
    ("text", "zone"),
    [
        ("UTC", "UTC"), ("GMT", "UTC"), ("Z", "UTC"), ("UTC+0", "UTC"), ("UTC-3", "-03:00"),
        ("(UTC-03:00)", "-03:00"), ("GMT+5:30", "+05:30"), ("+0545", "+05:45"), ("-03", "-03:00"),
        ("UTC−4", "-04:00"), ("utc+14", "+14:00"), ("Asia/Kolkata", "Asia/Kolkata"),
        ("UTC (Coordinated Universal Time)", "UTC"), ("local", LOCAL), ("heure locale", LOCAL),
        ("EST", OPEN), ("(UTC-03:00) Brasilia", OPEN), ("Central Standard Time", OPEN),
        ("EST5EDT", OPEN), ("UTC, no DST", OPEN), ("Eastern Time", OPEN),
        ("dd/mm/yyyy", None), ("h", None), ("m3/h", None), ("UTC+27", OPEN), ("Paris", None),
        ("start", None), ("", None), ("Nowhere/Nothing", None),
    ],
)  # fmt: skip
def test_what_a_text_says_of_a_zone(text, zone):
    said = zone_of(text)
    assert (said and said.zone) == zone


@pytest.mark.parametrize(("offset", "name"), [("-03:00", "Etc/GMT+3"), ("+05:30", "Asia/Kolkata")])
def test_a_fixed_offset_is_what_the_data_base_says(offset, name):
    local = [datetime(2025, 7, 13, 0, 30) + timedelta(hours=7 * k) for k in range(50)]  # noqa: DTZ001
    frame = pl.DataFrame({"t": pl.Series(local, dtype=pl.Datetime("us"))})
    found = frame.select(local_to_utc(pl.col("t"), offset, "refuse", "refuse", None))["t"]
    zone = ZoneInfo(name)
    assert [t.timestamp() for t in found] == [t.replace(tzinfo=zone).timestamp() for t in local]
    assert not repeated(frame["t"], offset).any()


def test_offsets_that_are_none():
    assert offset_s("-03:00") == -10_800
    assert [offset_s(z) for z in ("UTC", "-3", "+16:00", "America/Chicago", "+05:60")] == [None] * 5
