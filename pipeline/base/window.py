"""Spans of time in UTC, the midnights between days, and the wall clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final

ONE_DAY: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Window:
    """What a run judges: start (included) and end (excluded) in UTC, and the end of data."""

    start: datetime
    end: datetime

    @property
    def days(self) -> tuple[date, date]:
        """First and last UTC day touched."""
        return self.start.date(), (self.end - timedelta(microseconds=1)).date()


def midnight(day: date, later: int = 0) -> datetime:
    """First instant of a UTC day, or of one some days later."""
    return datetime.combine(day + later * ONE_DAY, time(), tzinfo=UTC)


def now() -> datetime:
    """Wall clock; no result depends on it: it dates runs and tells stale readings."""
    return datetime.now(UTC)
