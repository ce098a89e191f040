"""Moments as people say them: the clock of the plant, its changes, and what cannot be read."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from pipeline.base.errors import ConfigError
from pipeline.period.moments import beside_of, moment_of, period_of

CHICAGO = ZoneInfo("America/Chicago")
#: A Wednesday, 06:00 at the plant.
NOW = datetime(2025, 11, 5, 12, 0, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("said", "utc"),
    [
        ("2025-11-04T02:00", "2025-11-04T08:00"),
        ("2025-11-04 02:00", "2025-11-04T08:00"),
        ("2025-11-04 2:00:00", "2025-11-04T08:00"),
        ("2025-11-04", "2025-11-04T06:00"),
        ("yesterday 02:00", "2025-11-04T08:00"),
        ("Yesterday", "2025-11-04T06:00"),
        ("today 05:30", "2025-11-05T11:30"),
        ("Tue 14:30", "2025-11-04T20:30"),
        ("ayer 02:00", "2025-11-04T08:00"),
        ("Ontem", "2025-11-04T06:00"),
        ("aujourd’hui 05:30", "2025-11-05T11:30"),
        ("mar. 14:30", "2025-11-04T20:30"),
        ("terça-feira 14:30", "2025-11-04T20:30"),
        ("miércoles 02:00", "2025-10-29T07:00"),
        ("ahora", "2025-11-05T12:00"),
        # The day of the same name is the last one, not today.
        ("wednesday 02:00", "2025-10-29T07:00"),
        ("now", "2025-11-05T12:00"),
        ("2025-11-04 24:00", "2025-11-05T06:00"),
        # The hour that came twice, told apart by its offset (IANA time zone database).
        ("2025-11-02T01:30-05:00", "2025-11-02T06:30"),
        ("2025-11-02T01:30-06:00", "2025-11-02T07:30"),
        ("2025-11-02T06:30Z", "2025-11-02T06:30"),
    ],
)
def test_moments_are_plant_time(said, utc):
    assert moment_of(said, CHICAGO, NOW) == datetime.fromisoformat(f"{utc}+00:00")


@pytest.mark.parametrize(
    "said",
    ["", "noon", "2025-13-01", "2025-02-30 02:00", "25:00", "2025-11-04 25:00", "2025-11-04 02:60",
     "0001-01-01", "9999-12-31 24:00", "2025-11-04 24:01", "2025-11-04 02:00+99:00", "monkey",
     "2025-11-04; DROP TABLE", "\x1b[2Jtoday", "2025-11-04T02:00 -"],
)  # fmt: skip
def test_what_cannot_be_read_is_asked_for_again(said):
    with pytest.raises(ConfigError) as caught:
        moment_of(said, CHICAGO, NOW, where="--from")
    assert caught.value.exit_code == 2
    assert "--from" in caught.value.where
    assert "\x1b" not in str(caught.value)


def test_an_hour_that_never_was_is_said():
    with pytest.raises(ConfigError, match="never was") as caught:
        moment_of("2025-03-09 02:30", CHICAGO, NOW)
    # Clocks went from 02:00 to 03:00 that night (IANA time zone database).
    assert "03:30" in caught.value.next_step


def test_an_hour_that_came_twice_is_asked_about_with_both_answers():
    with pytest.raises(ConfigError, match="was twice") as caught:
        moment_of("2025-11-02 01:30", CHICAGO, NOW)
    first, second = "2025-11-02T01:30-05:00", "2025-11-02T01:30-06:00"
    assert first in caught.value.next_step
    assert second in caught.value.next_step
    apart = moment_of(second, CHICAGO, NOW) - moment_of(first, CHICAGO, NOW)
    assert apart == timedelta(hours=1)


def test_a_day_is_whole_and_a_day_of_a_clock_change_is_longer():
    day = period_of("2025-11-02", "2025-11-02", CHICAGO, NOW)
    assert day.end - day.start == timedelta(hours=25)
    day = period_of("2025-03-09", "2025-03-09", CHICAGO, NOW)
    assert day.end - day.start == timedelta(hours=23)


def test_a_time_of_day_alone_is_the_next_one_after_the_start():
    night = period_of("yesterday 22:00", "05:00", CHICAGO, NOW)
    assert night.end - night.start == timedelta(hours=7)
    morning = period_of("yesterday 02:00", "06:00", CHICAGO, NOW)
    assert morning.end - morning.start == timedelta(hours=4)


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        ("today", "yesterday", "ends before it begins"),
        ("now", "now", "ends before it begins"),
        ("2001-01-01", "2025-01-01", "longer than"),
    ],
)
def test_a_period_that_is_none_is_refused(first, last, said):
    with pytest.raises(ConfigError, match=said):
        period_of(first, last, CHICAGO, NOW)


def test_what_to_compare_with_is_the_usual_or_a_period():
    assert beside_of("usual", CHICAGO, NOW) is None
    other = beside_of("2025-11-01 20:00..23:00", CHICAGO, NOW)
    assert other.end - other.start == timedelta(hours=3)
    for said in ("last week", "..", "2025-11-01..", "..2025-11-01"):
        with pytest.raises(ConfigError, match="compare with"):
            beside_of(said, CHICAGO, NOW)
