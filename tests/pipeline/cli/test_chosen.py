"""Which findings are listed, and in which order."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipeline.base import ConfigError
from pipeline.cli.chosen import Chosen, choose
from pipeline.mill import load_mill

MILL = load_mill(Path(__file__).resolve().parents[3] / "configs" / "demo_mill.toml")
#: Midnight of 1 November in Chicago (tz database: CDT is UTC-5).
NOVEMBER = datetime(2025, 11, 1, 5, tzinfo=UTC)
FOUND = pl.DataFrame(
    [
        ("a", "low_limed_ph", "liming_tank", NOVEMBER - timedelta(hours=9), 4.0, 0.6, 1),
        ("b", "microbial", "liming_tank", NOVEMBER - timedelta(hours=6), 3.0, 0.9, 2),
        ("c", "mud_held", "settler:mud", NOVEMBER + timedelta(hours=9), 1.0, 0.8, 3),
    ],
    schema=["finding_id", "cause", "section", "started", "lost_t", "confidence", "rank"],
    orient="row",
).with_columns(ended=pl.col("started") + pl.duration(hours=8))


@pytest.mark.parametrize(
    ("asked", "ids"),
    [
        ({}, "abc"),
        # The second went on for two hours of that day; the first ended an hour before it.
        ({"since": date(2025, 11, 1)}, "bc"),
        ({"cause": "microbial"}, "b"),
        ({"cause": "too acid"}, "a"),
        ({"section": "mud"}, "c"),
        ({"section": "liming-tank"}, "ab"),
        ({"section": "flash_tank"}, ""),
        ({"sort": "time"}, "cba"),
        ({"sort": "sure"}, "bca"),
        ({"sort": "tonnes", "limit": 2}, "ab"),
    ],
)
def test_what_is_asked_for_is_listed(asked, ids):
    assert "".join(choose(MILL, FOUND, Chosen(**asked))["finding_id"]) == ids


@pytest.mark.parametrize("asked", [{"cause": "witchcraft"}, {"section": "x9"}, {"cause": " "}])
def test_a_name_that_nothing_has_is_told_with_those_there_are(asked):
    with pytest.raises(ConfigError, match="There are: "):
        choose(MILL, FOUND, Chosen(**asked))
