"""Rows of a pull add up, and what is no news is told from what is."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest
from pulling import FakeMill, content

from pipeline.base.errors import DataError, LostpolError
from pipeline.base.progress import silent
from pipeline.lake import days
from pipeline.lake.days import DayParts
from pipeline.lake.lake import Lake
from pipeline.lake.merge import READINGS_SCHEMA, DayMerge
from pipeline.pull.commit import Arrival, prepare
from pipeline.pull.inbox import still_arriving
from pipeline.pull.known import Pulled, keep_note, shown_lately
from pipeline.pull.ledger import SourceLedger
from pipeline.pull.pull import pull_files
from pipeline.pull.stage import Staged

NOON = datetime(2025, 10, 6, 12, tzinfo=UTC)
LEDGER = SourceLedger(
    name="tags.csv",
    sha256="ab" * 32,
    size_bytes=9,
    layout="",
    rows_read=5,
    kept=0,
    merged=1,
    conflicts=1,
    refused={"no_time": 1},
    bad={},
    tags_not_in_mill=(),
    first_utc=NOON,
    last_utc=NOON,
    notes=("its clock jumps",),
)


@pytest.mark.parametrize(("kept", "whole"), [(1, False), (2, True), (3, False)])
def test_a_row_too_many_or_too_few_is_a_fault_that_stops_the_pull(kept, whole):
    count = DayMerge(kept, 1, 0, 1)
    if whole:
        settled = LEDGER.settled(count)
        assert (settled.kept, settled.merged, settled.conflicts, settled.good_stays) == (2, 2, 1, 1)
    else:
        with pytest.raises(LostpolError, match="accounted for"):
            LEDGER.settled(count)


@pytest.fixture
def plan(tmp_path, monkeypatch):
    """Plan for an export that tells two moments twice, in two parts; and where it lies."""
    monkeypatch.setattr(days, "_MOST_HELD", 1)
    staged, incoming = tmp_path / "staged", tmp_path / "incoming"
    staged.mkdir()
    (incoming / "plan").mkdir(parents=True)
    (incoming / "plan" / "2025-10-05.parquet").write_bytes(b"of a pull that was stopped")
    with ThreadPoolExecutor(2) as pool:
        parts = DayParts(staged, pool)
        for value in (7.1, 7.2):
            rows = [(NOON + timedelta(minutes=k), "PH.1", value, False, None) for k in range(2)]
            parts.add_frame(pl.DataFrame(rows, schema=READINGS_SCHEMA, orient="row"))
        written = tuple(parts.finish())
        assert len(written) == 2
        ledger = replace(LEDGER, rows_read=4, merged=0, conflicts=0, refused={})
        source = Staged(staged, ledger, written, frozenset({"PH.1"}))
        arrivals = [Arrival(source, "", {"PH.1": ""}, frozenset())]
        lake = Lake(tmp_path / "lake")
        return prepare(lake, incoming, arrivals, pool, silent, in_full=False), incoming / "plan"


def test_conflicts_between_parts_of_one_export_are_counted(plan):
    """An export out of order is written in parts; the same moment may be in two of them."""
    (done,) = plan[0].ledgers.values()
    assert (done.kept, done.merged, done.conflicts) == (2, 2, 2)


def test_a_plan_holds_its_own_days_and_nothing_of_a_stopped_one(plan):
    assert plan[0].days_changed == (NOON.date(),)
    assert [path.name for path in plan[1].iterdir()] == ["2025-10-06.parquet"]


def test_the_same_file_read_in_another_zone_is_news(tmp_path):
    path = tmp_path / "lab.csv"
    path.write_text("time,tag,value\n2025-10-06 15:00,PH.1,7.1\n2025-10-06 16:00,PH.1,7.2\n")
    assert pull_files(FakeMill(tmp_path / "x"), [path]).read_otherwise == ()
    mill = FakeMill(tmp_path / "x", zone="America/New_York")
    assert pull_files(mill, [path]).read_otherwise == ("lab.csv",)
    assert pull_files(mill, [path]).read_otherwise == ()
    # 16:00 in New York is 15:00 in Chicago: 20:00 UTC.
    assert content(mill)["ts_utc"].dt.hour().to_list() == [19, 20, 21]
    assert content(mill)["value"].to_list() == [7.1, 7.2, 7.2]


def test_a_copy_in_the_same_pull_undoes_no_correction(tmp_path):
    old, new, copy = (tmp_path / name for name in ("a.csv", "b.csv", "c.csv"))
    for path, value in ((old, 7.1), (new, 7.2), (copy, 7.1)):
        path.write_text(f"time,tag,value\n2025-10-06 15:00,PH.1,{value}\n")
    mill = FakeMill(tmp_path / "x")
    pull_files(mill, [old, new, copy])
    assert content(mill)["value"].to_list() == [7.2]


@pytest.mark.parametrize(("unreadable", "taken"), [(2, True), (3, False)])
def test_a_file_may_have_as_many_unreadable_rows_as_the_mill_allows(tmp_path, unreadable, taken):
    """Twenty in a hundred, unless the description says otherwise."""
    path = tmp_path / "a.csv"
    good = [f"2025-10-06 15:{k:02d},PH.1,7.1\n" for k in range(10 - unreadable)]
    path.write_text("time,tag,value\n" + "".join(good) + "yesterday,PH.1,7.1\n" * unreadable)
    mill = FakeMill(tmp_path / "x")
    if taken:
        source = pull_files(mill, [path]).sources[0]
        assert (source.kept, source.refused) == (8, {"time_unreadable": 2})
    else:
        with pytest.raises(DataError, match="3 of 10 readings"):
            pull_files(mill, [path])


@pytest.mark.parametrize(("since", "told"), [(6, True), (7, False)])
def test_what_an_export_showed_is_told_while_it_reaches_the_days_asked_for(tmp_path, since, told):
    place = Lake(tmp_path / "lake").storage
    keep_note(place, Pulled(LEDGER, "", {}, ("2025-10-06",)))
    expected = ["tags.csv: its clock jumps"] if told else []
    assert shown_lately(place, date(2025, 10, since)) == expected


def test_the_first_bytes_of_a_file_are_not_its_end(tmp_path):
    """Parquet begins and ends with the same four bytes (Apache Parquet format; memory)."""
    path = tmp_path / "a.parquet"
    path.write_bytes(b"PAR1")
    assert set(still_arriving([path])) == {path}
