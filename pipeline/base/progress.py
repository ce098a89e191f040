"""How a long piece of work says how far it is, without knowing who listens."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

#: Called with what is being done, how many parts are done, and how many there are.
Progress = Callable[[str, int, int], None]


def silent(what: str, done: int, total: int) -> None:
    """Listen to nothing."""


class StoppedError(Exception):
    """Raised in a worker whose work is no longer wanted."""


@dataclass(slots=True)
class Pace:
    """How far several files are that are read at the same time, and how long they will take.

    Workers only leave numbers here; the thread that waits for them tells the listener, because
    a listener need not bear being called by several.

    Parameters
    ----------
    tell : Progress
        The listener, told bytes.
    sizes : mapping of str to int
        Bytes of each file.
    """

    tell: Progress
    sizes: Mapping[str, int]
    _rows: dict[str, int] = field(default_factory=dict)
    _bytes: dict[str, int] = field(default_factory=dict)
    _started: float = field(default_factory=time.monotonic)
    _stopped: bool = False

    def listener(self, key: str) -> Callable[[int, int], None]:
        """Give what the worker of one file calls with rows and bytes read so far."""

        def listen(rows: int, size: int) -> None:
            if self._stopped:
                raise StoppedError
            self._rows[key], self._bytes[key] = rows, size

        return listen

    def finished(self, key: str) -> None:
        """Count a file as read to its end."""
        self._bytes[key] = self.sizes[key]

    def stop(self) -> None:
        """Make every worker that still calls give up."""
        self._stopped = True

    def show(self) -> None:
        """Tell the listener how far it is: rows, and time left."""
        total, done = sum(self.sizes.values()), sum(self._bytes.values())
        rows = sum(self._rows.values())
        words = f"Reading exports: {rows / 1e6:.1f} million rows"
        left = time_left_s(time.monotonic() - self._started, done, total)
        self.tell(words if left is None else f"{words}, {in_words(left)} left", done, total)


def time_left_s(passed_s: float, done: int, total: int) -> float | None:
    """Time left at the pace so far [s]; None while nothing is known of the pace."""
    return None if done <= 0 or total <= done else passed_s * (total - done) / done


_MINUTE: Final = 60.0


def in_words(duration_s: float) -> str:
    """A length of time as a person would say it."""
    if duration_s < _MINUTE:
        return f"about {max(1, round(duration_s))} s"
    return f"about {round(duration_s / _MINUTE)} min"
