"""Mornings are mornings of the calendar: which day is told of, and what is said when none came."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from pipeline.base.window import Window
from pipeline.mill.description import load_mill
from pipeline.run import order
from pipeline.run.order import night_of, week_of
from pipeline.words import silence_words

ROOT = Path(__file__).resolve().parents[3]
CHICAGO = ZoneInfo("America/Chicago")


@pytest.fixture(scope="module")
def mill():
    return load_mill(ROOT / "configs" / "demo_mill.toml")


def local(text):
    return datetime.fromisoformat(text).replace(tzinfo=CHICAGO).astimezone(UTC)


@pytest.mark.parametrize(
    ("ends", "day"),
    [
        # Two-minute data of a whole Saturday: its last reading holds to 23:59.
        ("2025-11-29 23:59", date(2025, 11, 29)),
        # Half-hourly data of the same day.
        ("2025-11-29 23:31", date(2025, 11, 29)),
        # More than half an hour of it is missing: Friday is the last whole day.
        ("2025-11-29 23:29", date(2025, 11, 28)),
        ("2025-11-30 00:00", date(2025, 11, 29)),
        ("2025-11-30 05:10", date(2025, 11, 29)),
        # The night on which clocks are set back is as long as any night's last minutes.
        ("2025-11-02 23:59", date(2025, 11, 2)),
    ],
)
def test_a_whole_day_is_not_told_of_a_day_late(mill, ends, day):
    end = local(ends)
    window = Window(end - timedelta(days=30), end)
    assert night_of(mill, window) == Window(mill.day_start_utc(day), end)
    assert mill.local_day(week_of(mill, window).start) == day - timedelta(days=6)


@pytest.mark.parametrize(
    ("ends", "morning", "said"),
    [
        ("2025-11-29 23:59", "2025-11-30 05:00", ""),
        ("2025-11-30 04:50", "2025-11-30 05:00", ""),
        # Yesterday is not whole: it must not pass for yesterday, though only 17 h are missing.
        ("2025-11-29 12:00", "2025-11-30 05:00", "Nothing since Sat 29 Nov 12:00: 17 h."),
        ("2025-11-29 23:58", "2025-12-04 23:59", "Nothing since Sat 29 Nov 23:58: 5 days."),
    ],
)
def test_silence_is_told_by_the_calendar(mill, monkeypatch, ends, morning, said):
    monkeypatch.setattr(order, "now", lambda: local(morning))
    gaps = order._staleness(mill, local(ends))
    assert " ".join(gap.first for gap in gaps) == said


def test_silence_of_another_year_names_the_year():
    said = silence_words(local("2024-12-31 22:00"), local("2025-01-02 23:00"), CHICAGO)
    assert said == "Nothing since Tue 31 Dec 2024 22:00: 2 days."
