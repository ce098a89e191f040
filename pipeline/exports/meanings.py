"""What tags, quality words and local times of clean blocks mean, asked once for each distinct one.

The answers are those of ``pipeline.exports.values``, so that there is one meaning and not two.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.cells import repeated
from pipeline.exports.evidence import Evidence
from pipeline.exports.moment_rows import MillClock
from pipeline.exports.values import to_readings
from pipeline.files import Block
from pipeline.lake import GOOD, Names, Tally
from pipeline.layouts import Plan

_QUARTER_US: Final = 900_000_000
#: Moments for which zones change their offset at whole quarters of an hour only [microseconds],
#: 1972 to 2099.
_SAFE_US: Final = (63_072_000_000_000, 4_070_908_800_000_000)
_MOST_PAIRS: Final = 20_000
#: Any moment will do to ask about words [s since 1970].
_ASKED_S: Final = 1_000_000_000
UNKNOWN: Final = -1


@dataclass(frozen=True, slots=True)
class _Word:
    """What a tag with a quality word means: code of the tag, reasons with and without a value."""

    tag: int
    reason: int = GOOD
    reason_empty: int = GOOD


@dataclass(slots=True)
class Meanings:
    """What was found out of a table so far: of tags with quality words, and of local times."""

    plan: Plan
    clock: MillClock
    tags: Names
    reasons: Names
    _words: dict[tuple[str, str | None], _Word | None] = field(default_factory=dict)
    _quarters: dict[int, int] = field(default_factory=dict)
    _twice: set[int] = field(default_factory=set)

    def coded(self, block: Block) -> tuple[NDArray[np.int32], NDArray[np.int32]] | None:
        """Numbers of tag and reason of each row, `UNKNOWN` for a tag the mill does not have.

        None where some words are too many or mean nothing plain.
        """
        if len(block.tags) * len(block.qualities) > _MOST_PAIRS:
            return None
        pairs = [(tag, word) for tag in block.tags for word in block.qualities]
        self._ask({pair for pair in pairs if pair not in self._words}, as_text=block.is_text)
        meanings = [self._words[pair] for pair in pairs]
        known = [meaning for meaning in meanings if meaning is not None]
        return _coded(block, known) if len(known) == len(meanings) else None

    def moments(self, block: Block) -> NDArray[np.int64] | None:
        """Moments in UTC; local times are asked about once a quarter of an hour."""
        time_us = block.time_us
        if time_us.min() < _SAFE_US[0] or time_us.max() > _SAFE_US[1]:
            return None
        if block.in_utc:
            return time_us
        quarter = time_us // _QUARTER_US
        starts = np.flatnonzero(np.diff(quarter, prepend=quarter[0] - 1))
        met = quarter[starts]
        news = sorted({int(q) for q in met} - self._quarters.keys())
        if news and not self._ask_clock(news):
            return None
        # Rows of an hour that comes twice are looked at together, one by one.
        if self._twice and not self._twice.isdisjoint(met.tolist()):
            return None
        shift = np.array([self._quarters[int(q)] for q in met], np.int64)
        return time_us + np.repeat(shift, np.diff(starts, append=len(quarter)))

    def _ask(self, pairs: set[tuple[str, str | None]], *, as_text: bool) -> None:
        """Find out what tags with quality words mean, by having rows of them read."""
        if not pairs:
            return
        asked = sorted(pairs, key=str)
        rows = [(tag, word, value) for tag, word in asked for value in (1.5, None)]
        frame = pl.DataFrame(
            {
                self.plan.time: pl.Series(
                    [_ASKED_S * 1_000_000 + k * 1_000_000 for k in range(len(rows))]
                ).cast(pl.Datetime("us", "UTC")),
                self.plan.tag or "": [tag for tag, _, _ in rows],
                self.plan.value or "": pl.Series([value for *_, value in rows], dtype=pl.Float64),
                self.plan.quality or " none": pl.Series([w for _, w, _ in rows], dtype=pl.String),
            }
        )
        if as_text:
            frame = frame.with_columns(pl.col(self.plan.value or "").cast(pl.String))
        scratch = Tally()
        answers = to_readings(frame, self.plan, self.clock, scratch, Evidence())
        sure = scratch.refused.keys() <= {"tag_not_in_mill"}
        order = answers["ts_utc"].dt.epoch("s") - _ASKED_S
        by_row = dict(zip(order.to_list(), answers.to_dicts(), strict=True))
        for k, pair in enumerate(asked):
            both = by_row.get(2 * k), by_row.get(2 * k + 1)
            self._words[pair] = self._word(both, scratch) if sure else None

    def _word(
        self, answers: tuple[dict[str, Any] | None, dict[str, Any] | None], scratch: Tally
    ) -> _Word | None:
        full, empty = answers
        if full is None and empty is None:
            return _Word(UNKNOWN)
        if full is None or empty is None or empty["value"] is not None or not empty["bad"]:
            return None
        change = self.clock.unit_changes[full["tag"]]
        if full["value"] != 1.5 * change.scale + change.offset:
            return None
        reasons = [full["reason"], empty["reason"]]
        if any(word is not None and word not in scratch.bad for word in reasons):
            return None
        codes = [GOOD if word is None else self.reasons.code(word) for word in reasons]
        return _Word(self.tags.code(full["tag"]), *codes)

    def _ask_clock(self, quarters: list[int]) -> bool:
        """Find out what some local quarters of an hour are in UTC; False when some are refused."""
        tag = next(iter(self.clock.unit_changes))
        local = pl.Series([q * _QUARTER_US for q in quarters]).cast(pl.Datetime("us"))
        frame = pl.DataFrame({self.plan.time: local}).with_columns(
            pl.lit(tag).alias(self.plan.tag or ""),
            pl.lit(1.5).alias(self.plan.value or ""),
            pl.lit(None, pl.String).alias(self.plan.quality or " none"),
        )
        answers = to_readings(frame, self.plan, self.clock, Tally(), Evidence())
        if answers.height < len(quarters):
            return False
        zone = self.plan.time_zone or self.clock.zone
        self._twice |= {q for q, two in zip(quarters, repeated(local, zone), strict=True) if two}
        moments = answers["ts_utc"].to_physical().to_list()
        self._quarters |= {
            q: moment - q * _QUARTER_US for q, moment in zip(quarters, moments, strict=True)
        }
        return True


def _coded(block: Block, meanings: list[_Word]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Numbers of tag and reason of each row; `meanings` of every tag with every quality."""
    shape = len(block.tags), len(block.qualities)
    tags = np.array([m.tag for m in meanings], np.int32).reshape(shape)
    full = np.array([m.reason for m in meanings], np.int32).reshape(shape)
    empty = np.array([m.reason_empty for m in meanings], np.int32).reshape(shape)
    # A tag is known or not whatever the quality says.
    tag = np.ascontiguousarray(tags[:, 0])[block.tag]
    reason = np.full(len(tag), GOOD, np.int32)
    if block.quality is None:
        poor = np.flatnonzero((full[:, 0] != GOOD)[block.tag]) if (full != GOOD).any() else None
    else:
        poor = np.flatnonzero((full != GOOD).any(axis=0)[block.quality])
    quality = np.zeros(len(tag), np.int32) if block.quality is None else block.quality
    if poor is not None and len(poor):
        reason[poor] = full[block.tag[poor], quality[poor]]
    if block.some_missing:
        rows = np.flatnonzero(np.isnan(block.value))
        reason[rows] = empty[block.tag[rows], quality[rows]]
    return tag, reason
