"""What a reading must be to be stored, and what counts when it is told again."""

from datetime import UTC, datetime

import polars as pl
import pytest

from pipeline.lake.columns import write_frame
from pipeline.lake.merge import READINGS_SCHEMA, conform, import_readings, merge_readings

NOON = datetime(2025, 10, 6, 12, tzinfo=UTC)


def one(value, reason=None, tag="A"):
    rows = [(NOON, tag, value, reason is not None, reason)]
    return pl.DataFrame(rows, schema=READINGS_SCHEMA, orient="row")


def test_equal_numbers_are_equal_bytes(tmp_path):
    """Minus zero equals zero (IEEE 754) and is another pattern of bits."""
    written = []
    for value in (0.0, -0.0):
        write_frame(tmp_path / "day.parquet", conform(one(value)))
        written.append((tmp_path / "day.parquet").read_bytes())
    assert written[0] == written[1]


@pytest.mark.parametrize("value", [float("inf"), float("-inf")])
@pytest.mark.parametrize("reason", [None, "bad_quality"])
def test_a_number_without_end_is_no_reading(value, reason):
    with pytest.raises(ValueError, match="break the rules"):
        conform(one(value, reason))


def test_a_minus_is_no_digit():
    """As many digits: the larger stays, not the one whose text is longer."""
    pair = pl.concat([one(-1.2), one(1.5)])
    frame, count = merge_readings(READINGS_SCHEMA.to_frame(), pair)
    assert frame["value"].to_list() == [1.5]
    assert count.conflicts == 1


@pytest.mark.parametrize("said", [one(3.0), one(4.0, "bad_quality")])
def test_what_is_no_news_is_neither_a_conflict_nor_a_doubt(said):
    frame, count = import_readings(one(4.0), said, {"A"})
    assert frame.equals(one(4.0))
    assert (count.merged, count.conflicts, count.good_stays) == (1, 0, 0)
    _, as_news = import_readings(one(4.0), said)
    assert as_news.conflicts + as_news.good_stays == 1
