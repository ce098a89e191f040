"""Plant-local words: an hour repeated by the clocks is told apart."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from pipeline.words.localtime import (
    as_utc,
    chart_offset,
    clock_words,
    clocks_change,
    day_words,
    duration_words,
    span_words,
)

CHICAGO = ZoneInfo("America/Chicago")


def test_day_is_not_repeated_inside_one_day():
    start = datetime(2025, 10, 7, 7, 36, tzinfo=UTC)
    assert span_words(start, start + timedelta(hours=8), CHICAGO) == (
        "Tue 7 Oct 2025 02:36 to 10:36"
    )
    assert span_words(start, start + timedelta(hours=30), CHICAGO, 2025) == (
        "Tue 7 Oct 02:36 to Wed 8 Oct 08:36"
    )
    assert span_words(start, None, CHICAGO, 2025).endswith("still going on")


def test_repeated_hour_carries_its_offset():
    """Daylight saving ended in the United States on 2 November 2025 at 07:00 UTC (tz database)."""
    assert clock_words(datetime(2025, 11, 2, 6, 30, tzinfo=UTC), CHICAGO) == "01:30 (UTC-5)"
    assert clock_words(datetime(2025, 11, 2, 7, 30, tzinfo=UTC), CHICAGO) == "01:30 (UTC-6)"
    assert clock_words(datetime(2025, 11, 2, 8, 30, tzinfo=UTC), CHICAGO) == "02:30"


def test_chart_keeps_the_clock_of_its_left_edge():
    start = datetime(2025, 11, 1, 12, tzinfo=UTC)
    assert chart_offset(start, CHICAGO) == timedelta(hours=-5)
    assert clocks_change(start, start + timedelta(days=1), CHICAGO)
    assert not clocks_change(start, start + timedelta(hours=5), CHICAGO)


def test_days_and_durations():
    assert day_words(date(2025, 8, 18)) == "Mon 18 Aug 2025"
    assert duration_words(timedelta(minutes=45)) == "45 min"
    assert duration_words(timedelta(hours=8.2)) == "8.2 h"
    assert duration_words(timedelta(days=9)) == "9.0 days"


def test_zone_without_offset_is_utc():
    assert as_utc(datetime(2025, 1, 1)) == datetime(2025, 1, 1, tzinfo=UTC)  # noqa: DTZ001
