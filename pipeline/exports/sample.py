"""Those readings of a clean block that show what all of them do.

``pipeline.exports.evidence`` looks for clock jumps, changes of level and still values. In a block
whose times run on, a few readings show as much as all: some drawn by lot (always the same lot),
the first and last of each tag, those around the longest steps of time, and all of a still tag.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.exports.clock import JUMP_S
from pipeline.exports.evidence import looks_filled
from pipeline.lake import Columns, to_frame

_DRAWN: Final = 3000
#: Steps of time looked at around, in a block or of a tag, and the rows on either side at most.
_MOST_LEAPS: Final = 5
_WIDEST: Final = 2000
_JUMP_US: Final = int(JUMP_S * 1e6)
#: Every number that ``looks_filled`` knows is below the one or not below the other.
_FILLERS_BELOW: Final = 0.0
_FILLERS_FROM: Final = 999.0


@dataclass(slots=True)
class Watch:
    """What was seen of the times of a table so far."""

    _last_us: dict[int, int] = field(default_factory=dict)
    _latest_us: int | None = None

    def worth_watching(self, columns: Columns, tags: list[str], reasons: list[str]) -> pl.DataFrame:
        """Readings to watch, in their order: all of them where a clock steps back.

        Parameters
        ----------
        columns : Columns
        tags, reasons : list of str
            The words behind the numbers.
        """
        if not len(columns):
            return to_frame(columns, tags, reasons)
        last, first = np.full(len(tags), -1), np.full(len(tags), -1)
        places = np.arange(len(columns))
        last[columns.tag] = places  # of several rows the last one stays
        # A tag that begins further down has its steps of time further down, too.
        head = slice(min(4 * len(tags), _WIDEST) - 1, None, -1)
        first[columns.tag[head]] = places[head]
        first, last = first[first >= 0], last[last >= 0]
        leaps = self._leaps(columns, last)
        if leaps is None:
            return to_frame(columns, tags, reasons)
        drawn = np.random.default_rng(0).integers(0, len(columns), min(_DRAWN, len(columns)))
        rows = np.concatenate([first, last, leaps, drawn, self._of_still_tags(columns, drawn)])
        return to_frame(columns.take(np.unique(rows)), tags, reasons)

    def _leaps(self, columns: Columns, last: NDArray[np.intp]) -> NDArray[np.intp] | None:
        """Rows around the longest steps; None where the times of a tag step back."""
        first_us, latest_us = int(columns.time_us[0]), int(columns.time_us[last].max())
        step = np.diff(columns.time_us)
        runs_on = not len(step) or int(step.min()) >= 0
        if runs_on and (self._latest_us is None or first_us >= self._latest_us):
            leaps: NDArray[np.intp] | None = _around_longest(step, len(last))
        else:  # between tags perhaps only: an export may tell one tag after the other
            leaps = self._leaps_of_tags(columns)
        self._latest_us = max(latest_us, self._latest_us or latest_us)
        codes, moments = columns.tag[last].tolist(), columns.time_us[last].tolist()
        self._last_us.update(zip(codes, moments, strict=True))
        return leaps

    def _leaps_of_tags(self, columns: Columns) -> NDArray[np.intp] | None:
        order = np.argsort(columns.tag, kind="stable")
        tag, time_us = columns.tag[order], columns.time_us[order]
        step = np.where(np.diff(tag) == 0, np.diff(time_us), 0)
        if (step < 0).any():
            return None
        starts = np.flatnonzero(np.diff(tag, prepend=-1))
        if any(
            moment < self._last_us.get(code, moment)
            for code, moment in zip(tag[starts].tolist(), time_us[starts].tolist(), strict=True)
        ):
            return None
        found = _longest(step, _MOST_LEAPS * len(starts))
        return np.concatenate([order[found], order[found + 1]])

    @staticmethod
    def _of_still_tags(columns: Columns, drawn: NDArray[np.int64]) -> NDArray[np.intp]:
        """All rows of tags that do not move, and two of those that only seemed not to."""
        found = [np.empty(0, np.intp)]
        tag, value = columns.tag[drawn], columns.value[drawn]
        for code in np.unique(tag):
            seen = value[tag == code]
            if np.nanmin(seen, initial=np.inf) < np.nanmax(seen, initial=-np.inf):
                continue
            rows = np.flatnonzero(columns.tag == code)
            all_values = columns.value[rows]
            if np.isnan(all_values).all():
                continue
            ends = rows[[int(np.nanargmin(all_values)), int(np.nanargmax(all_values))]]
            still = columns.value[ends[0]] == columns.value[ends[1]]
            found.append(rows if still else ends)
        return np.concatenate(found)


def _around_longest(step: NDArray[np.int64], tags: int) -> NDArray[np.intp]:
    """Rows around the longest steps, so many that each tag has one on both sides."""
    reach = np.arange(1 - min(4 * tags, _WIDEST), min(4 * tags, _WIDEST) + 1)
    rows = np.unique(_longest(step, _MOST_LEAPS)[:, None] + reach)
    return rows[(rows >= 0) & (rows <= len(step))]


def _longest(step: NDArray[np.int64], most: int) -> NDArray[np.intp]:
    """Places of the longest steps that are long enough for a clock that jumps."""
    if not len(step) or int(step.max()) < _JUMP_US:
        return np.empty(0, np.intp)
    far = np.flatnonzero(step >= _JUMP_US)
    if len(far) > most:
        far = far[np.argpartition(step[far], len(far) - most)[-most:]]
    return far


def may_be_filled(value: NDArray[np.float64]) -> bool:
    """Tell whether a number is among those that may stand for "no reading"."""
    odd = value[(value < _FILLERS_BELOW) | (value >= _FILLERS_FROM)]
    return any(looks_filled(number) for number in np.unique(odd).tolist())
