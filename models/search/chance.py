"""How often chance alone makes a period look like a loss, learnt from the mill's own good hours.

Noise that is even (`models.search.even`) swings as far to the good side as to the bad one. What
the search finds in the same season turned upside down, hours *better* than usual, is therefore
what chance can do: with the plant's own memory, its levels moved by hand and its wild hours, and
no loss, however large, can bend it. A season has few such swings, so they are weighed together
with what every noise tried has in common.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.base import Array

#: Score above which the swings of a season are counted.
LEVEL = 1.0
#: Widest window one hypothesis speaks for [h].
CELL_H = 6.0
#: No record of weeks shows that chance is rarer than this in a cell.
_LEAST_P = 1e-7
#: Nor, where chance could not be learnt, rarer than this.
_LEAST_P_UNSURE = 1e-2
#: Weeks of the mill's own that weigh as much as what all noises have in common.
OWN_WEEKS = 8.0
#: As many swings as weigh as much as the common width of their scores.
_OWN_SWINGS = 8.0
#: A swing this many widths beyond the level may have a cause, such as juice limed too high, and
#: counts for no more.
_CAUSED = 3.5
#: Swings this many times as frequent, or as wide, as usual cannot be counted on (judgement).
_STRANGE = 3.0
#: Growth of the wander from a day to four at which it is said to keep rising (judgement; see
#: `models.search.scan.rise_of`).
RISING = 0.7


@dataclass(frozen=True, slots=True)
class Chance:
    """Rate of chance periods of one channel by their score.

    Periods that score more than `LEVEL` come `per_week` times a week; their scores beyond it
    fall off exponentially.

    Attributes
    ----------
    per_week : float
        [1/week].
    width : float
        Mean score beyond the level.
    weeks : float
        Weeks learnt from; 0 for what all noises have in common.
    sure : bool
        False where the channel cannot be calibrated.
    top : float
        Highest score of a swing to the good side.
    """

    per_week: float
    width: float
    weeks: float = 0.0
    sure: bool = True
    top: float = -math.inf

    def rate(self, score: float) -> float:
        """Chance periods of at least this score [1/week]."""
        return self.per_week * math.exp(min(-(score - LEVEL) / self.width, 50.0))

    def score_for(self, per_week: float) -> float:
        """Score that chance reaches `per_week` times a week.

        Raises
        ------
        ValueError
            If the rate is not positive.
        """
        if per_week <= 0:
            raise ValueError("per_week must be above 0")
        return LEVEL + self.width * math.log(self.per_week / per_week)


#: What the noises of the null card have in common (seeds 7100 to 7119; the width
#: raised from 1.8 after seeds 8101 to 8120 passed a rate of 0.05 a week 1.4 times).
COMMON = Chance(0.4, 2.1)
#: The same of hours that stand out again and again (`models.search.spells`).
COMMON_SPELLS = Chance(0.65, 6.5)


def learn(swings: Array, weeks: float, common: Chance, rise: float = 0.0) -> Chance:
    """Chance curve of a channel from its swings to the good side.

    Parameters
    ----------
    swings : ndarray, shape (k,)
        Scores above `LEVEL` of the season turned upside down.
    weeks : float
        Weeks measured.
    common : Chance
        What weighs as much as eight weeks of the mill's own.
    rise : float
        Growth of the wander from a day to four (`models.search.scan.rise_of`); NaN where too
        little was measured to tell.

    Returns
    -------
    Chance
        Not sure where swings are three times as frequent or wide as usual, or where the wander
        keeps rising with length, or may: then there are too few independent swings to learn from.
    """
    top = float(swings.max(initial=-math.inf))
    count = len(swings)
    beyond = float(np.minimum(swings - LEVEL, _CAUSED * common.width).sum())
    per_week = (count + common.per_week * OWN_WEEKS) / (weeks + OWN_WEEKS)
    width = (beyond + common.width * _OWN_SWINGS) / (count + _OWN_SWINGS)
    strange = per_week > _STRANGE * common.per_week or width > _STRANGE * common.width
    return Chance(per_week, width, weeks, not strange and rise < RISING, top)


def p_value(per_week: float, *, sure: bool = True) -> float:
    """Probability that chance makes so strong a period within one cell of `CELL_H` hours.

    Parameters
    ----------
    per_week : float
        Chance periods at least as strong [1/week].
    sure : bool
        Whether the rate could be learnt.

    Returns
    -------
    float
        Never below 1e-7, as no record of weeks can show more, and never below 0.01 where the
        channel cannot be calibrated.
    """
    least = _LEAST_P if sure else _LEAST_P_UNSURE
    return max(-math.expm1(-max(per_week, 0.0) * CELL_H / 168.0), least)
