"""How much later one tag changes than another: what happens first happens upstream."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from pipeline.places.look import TagLook

Floats = NDArray[np.float64]

#: Minutes that are compared at most, and at least for an answer.
_LONGEST_MIN: Final = 14 * 1440
_LEAST_MIN: Final = 12 * 60
#: Agreement of changes below which two tags have nothing to do with each other.
LEAST_AGREEMENT: Final = 0.05
#: Minutes over which changes are taken, and how far they may lie apart.
_SMOOTH_MIN: Final = 5
_REACH_MIN: Final = 40


@dataclass(frozen=True, slots=True)
class Lag:
    """How two tags move together.

    Attributes
    ----------
    minutes : float
        How much later the second changes than the first [min]; 0 where they do not agree.
    agreement : float
        Correlation of their changes at that delay, -1 to 1.
    at_once : float
        Correlation of their changes without any delay.
    """

    minutes: float
    agreement: float
    at_once: float


NO_LAG: Final = Lag(0.0, 0.0, 0.0)


def lag_min(one: TagLook, two: TagLook, longest: int = _REACH_MIN) -> float:
    """How much later the second tag changes than the first [min]; 0 where they do not agree."""
    return Lags([one, two], longest).between(0, 1).minutes


@dataclass(slots=True)
class Lags:
    """Delays between tags, each worked out once, when first asked for.

    Parameters
    ----------
    tags : sequence of TagLook
    longest : int
        Longest delay looked for [min].
    """

    tags: Sequence[TagLook]
    longest: int = _REACH_MIN
    _changes: dict[int, NDArray[np.complex128] | None] = field(default_factory=dict)
    _known: dict[tuple[int, int], Lag] = field(default_factory=dict)
    _axis: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    _size: int = 0

    def __post_init__(self) -> None:
        """Choose the minutes that most tags share."""
        if self.tags:
            start = int(np.median([t.minute[0] for t in self.tags]))
            end = int(np.median([t.minute[-1] for t in self.tags]))
            self._axis = np.arange(start, min(end, start + _LONGEST_MIN))
            # Room for the longest delay, so that the end of a record does not meet its start.
            self._size = fft.next_fast_len(len(self._axis) + self.longest + 1, real=True)

    def between(self, one: int, two: int) -> Lag:
        """How much later tag number `two` changes than number `one`."""
        if (two, one) in self._known:
            known = self._known[two, one]
            return Lag(-known.minutes, known.agreement, known.at_once)
        if (one, two) not in self._known:
            self._known[one, two] = self._compare(one, two)
        return self._known[one, two]

    def _compare(self, one: int, two: int) -> Lag:
        first, second = self._of(one), self._of(two)
        if first is None or second is None:
            return NO_LAG
        reach = self.longest
        whole = fft.irfft(np.conj(first) * second, self._size)
        agree = np.concatenate([whole[-reach:], whole[: reach + 1]])
        best = int(np.argmax(agree))
        agreement, at_once = float(agree[best]), float(agree[reach])
        lag = float(best - reach) if agreement > LEAST_AGREEMENT else 0.0
        return Lag(lag, agreement, at_once)

    def _of(self, number: int) -> NDArray[np.complex128] | None:
        """Spectrum of a tag's changes, of length 1; None where it has too few."""
        if number not in self._changes:
            change = changes_of(self.tags[number], self._axis)
            size = 0.0 if change is None else float(np.sqrt(np.sum(change**2)))
            found = None if change is None or size <= 0.0 else fft.rfft(change / size, self._size)
            self._changes[number] = found
        return self._changes[number]


def changes_of(tag: TagLook, axis: NDArray[np.int64]) -> Floats | None:
    """Changes of a tag over a few minutes, scaled and cut off, on given minutes.

    Returns
    -------
    ndarray or None
        Zero outside the tag's own record; None where it has too little of one.
    """
    inside = (axis >= tag.minute[0]) & (axis <= tag.minute[-1])
    if int(inside.sum()) < _LEAST_MIN or len(tag.minute) < 30:
        return None
    course = np.interp(axis, tag.minute, tag.value)
    smooth = np.convolve(course, np.ones(_SMOOTH_MIN) / _SMOOTH_MIN, "same")
    change = np.diff(smooth, prepend=smooth[0])
    change[~inside] = 0.0
    spread = float(change.std())
    if spread <= 0.0:
        return None
    return np.clip((change - change[inside].mean()) / spread, -4.0, 4.0) * inside
