"""Frames that are told again as a table, an export or a report agree with what makes them."""

from __future__ import annotations

import pytest

from features.base.frames import STATION_COLUMNS, ZONE_COLUMNS
from features.base.lab import LAB_COLUMNS
from models.account.sums import SUM_COLUMNS
from models.cause.lab_check import DAILY_COLUMNS
from models.cause.notices import NOTICE_COLUMNS
from models.find.rows import FINDING_COLUMNS
from pipeline.report.view import REQUIRED_COLUMNS
from pipeline.store.export import EXPORT_COLUMNS
from pipeline.store.tables import table_schema

#: What the export calls otherwise than the table.
RENAMED = {
    "started": "started_utc",
    "ended": "ended_utc",
    "value": "worth",
    "first_seen": "first_seen_utc",
    "last_seen": "last_seen_utc",
}


def test_the_table_has_a_place_for_all_that_a_search_says_of_a_finding():
    table = table_schema("findings")
    assert set(FINDING_COLUMNS) - set(table) == {"open"}  # it is the status there
    for name, column in FINDING_COLUMNS.items():
        if name == "rank":
            assert table[name].is_integer()
        elif name in ("started", "ended"):
            assert table[name].is_temporal()
        elif name != "open":
            assert table[name] == column.dtype, name


def test_the_export_leaves_nothing_of_the_table_out():
    told = {RENAMED.get(name, name) for name in table_schema("findings")}
    assert told - set(EXPORT_COLUMNS) == {"evidence"}  # its facts and alternatives are


@pytest.mark.parametrize(
    ("frame", "made"),
    [
        ("findings", table_schema("findings")),
        ("verdicts", table_schema("verdicts")),
        ("station_minutes", STATION_COLUMNS),
        ("zone_minutes", ZONE_COLUMNS),
        ("lab", LAB_COLUMNS),
        ("notices", NOTICE_COLUMNS),
        ("balance", DAILY_COLUMNS),
        ("season", {*SUM_COLUMNS, "day_local", "excess_low_t", "excess_high_t"}),
    ],
)
def test_a_report_asks_for_nothing_that_is_not_made(frame, made):
    assert set(REQUIRED_COLUMNS[frame]) <= set(made)
