"""Readings of an export in any order, parted by day; then in place, for good."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest
from power_cut import watched_disk

from pipeline.lake.columns import write_frame
from pipeline.lake.days import DayParts
from pipeline.lake.merge import READINGS_SCHEMA
from pipeline.lake.storage import storage_at

LATE = datetime(2025, 10, 6, 23, 58, tzinfo=UTC)
NAME = "readings/date=2025-10-06/readings.parquet"


def readings(*rows):
    """Rows of (minutes after two minutes to midnight, tag, value, reason)."""
    return pl.DataFrame(
        [(LATE + timedelta(minutes=m), tag, v, r is not None, r) for m, tag, v, r in rows],
        schema=READINGS_SCHEMA,
        orient="row",
    )


ROWS = [
    (0, "A", 1.0, None),
    (1, "A", None, "n.d."),
    (3, "A", 3.0, None),
    (1, "B", 4.0, "bad_quality"),
    (2, "B", 5.0, None),
    (4, "C", None, "above"),
]


def parted(folder, *frames):
    folder.mkdir()
    with ThreadPoolExecutor(2) as pool:
        parts = DayParts(folder, pool)
        for frame in frames:
            parts.add_frame(frame)
        return parts.finish(), parts.span()


@pytest.mark.parametrize("order", [[0, 1, 2, 3, 4, 5], [5, 1, 3, 0, 2, 4], [2, 0, 4, 3, 5, 1]])
def test_every_reading_comes_to_its_own_day_with_its_own_reason(tmp_path, order):
    written, span = parted(tmp_path / "parts", readings(*(ROWS[k] for k in order)))
    assert [part.day for part in written] == [date(2025, 10, 6), date(2025, 10, 7)]
    whole = readings(*ROWS).sort("tag", "ts_utc")
    for part in written:
        stored = pl.read_parquet(tmp_path / "parts" / part.name)
        assert stored.equals(whole.filter(pl.col("ts_utc").dt.date() == part.day))
        assert part.rows == stored.height
    assert span == (LATE, LATE + timedelta(minutes=4))


def test_the_order_of_meeting_words_does_not_show(tmp_path):
    files = []
    for name, rows in (("forth", ROWS), ("back", ROWS[::-1])):
        written, _ = parted(tmp_path / name, *(readings(row) for row in rows))
        files.append([(tmp_path / name / part.name).read_bytes() for part in written])
    assert files[0] == files[1]


def test_the_span_holds_the_first_and_the_last_reading_of_all(tmp_path):
    pieces = [readings((m, "A", 1.0, None)) for m in (2, 4, 0, 3)]
    assert parted(tmp_path / "parts", *pieces)[1] == (LATE, LATE + timedelta(minutes=4))


def test_a_moment_told_twice_in_one_export_is_merged_and_counted(tmp_path):
    rows = [(0, "A", 7.1, None), (0, "A", 7.2, None), (1, "A", 7.1, None), (1, "A", 7.1, None)]
    (part,), _ = parted(tmp_path / "parts", readings(*rows))
    assert (part.rows, part.merged, part.conflicts) == (2, 2, 1)


def test_a_power_cut_takes_nothing_that_is_in_place(tmp_path):
    """POSIX: a file may be empty and a name gone until fsync of the file and of its folder."""
    place = storage_at(tmp_path / "lake")
    with watched_disk() as disk:
        write_frame(tmp_path / "day.parquet", readings(*ROWS[:2]))
        place.take(tmp_path / "day.parquet", NAME)
    assert disk.early == []
    assert disk.kept()
    with watched_disk() as disk:
        place.write(NAME, lambda file: file.write(b"a day"))
    assert disk.early == []
    assert disk.kept()
