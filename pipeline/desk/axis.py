"""A time axis in plant time: where moments stand, and which are worth a mark."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from pipeline.base import Window
from pipeline.charts import Known
from pipeline.words import day_words

#: Steps between two marks [min]; days from here on.
_STEPS: Final = (
    15,
    30,
    60,
    120,
    180,
    360,
    720,
    1440,
    2880,
    3 * 1440,
    4 * 1440,
    7 * 1440,
    14 * 1440,
    28 * 1440,
)
#: Pixels a mark needs.
_ROOM: Final = 76
_DAY_MIN: Final = 1440


@dataclass(frozen=True)
class Tick:
    """A mark of the axis: pixel, words, and whether a day begins there."""

    x: float
    words: str
    day: bool


@dataclass(frozen=True)
class Axis:
    """Window and pixels of a plot.

    Attributes
    ----------
    window : Window
    width : int
    zone : ZoneInfo
    noted : tuple of Known
        What was noted beforehand, marked on every strip.
    """

    window: Window
    width: int
    zone: ZoneInfo
    noted: tuple[Known, ...] = ()

    def x(self, moment: datetime) -> float:
        """Pixel of a moment; outside of the plot for what lies outside the window."""
        whole = (self.window.end - self.window.start).total_seconds()
        return self.width * (moment - self.window.start).total_seconds() / whole

    def clipped(self, first: datetime, last: datetime) -> tuple[float, float] | None:
        """Pixels of a period, cut to the plot; None where it lies outside."""
        left, right = max(self.x(first), 0.0), min(self.x(last), float(self.width))
        return (left, right) if right > 0.0 and left < self.width and last > first else None

    def ticks(self) -> list[Tick]:
        """Marks at round plant times, no closer than their words need."""
        minutes = (self.window.end - self.window.start) / timedelta(minutes=1)
        wanted = max(self.width // _ROOM, 2)
        step = next((s for s in _STEPS if minutes / s <= wanted), 56 * _DAY_MIN)
        found = []
        for moment in self._moments(step):
            local = moment.astimezone(self.zone)
            day = (local.hour, local.minute) == (0, 0)
            words = day_words(local, local.year) if day else f"{local:%H:%M}"
            found.append(Tick(self.x(moment), words, day))
        return [tick for tick in found if 0.0 <= tick.x <= self.width]

    def _moments(self, step: int) -> list[datetime]:
        local = self.window.start.astimezone(self.zone)
        day: date = local.date()
        if step >= _DAY_MIN:
            days = step // _DAY_MIN
            day -= timedelta(days=(day.toordinal() - 1) % days)
            return self._days(day, days)
        found = []
        while self._midnight(day) < self.window.end:
            found += [
                datetime.combine(day, time(m // 60, m % 60), self.zone).astimezone(UTC)
                for m in range(0, _DAY_MIN, step)
            ]
            day += timedelta(days=1)
        return list(dict.fromkeys(found))

    def _days(self, day: date, step: int) -> list[datetime]:
        found = []
        while self._midnight(day) < self.window.end:
            found.append(self._midnight(day))
            day += timedelta(days=step)
        return found

    def _midnight(self, day: date) -> datetime:
        return datetime.combine(day, time(), self.zone).astimezone(UTC)
