"""One channel looked at: what stands out of its noise, and how often chance does as much."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from models.base import MINUTES_PER_BLOCK, Array, block_means
from models.search.calm import calm_hours
from models.search.chance import (
    COMMON,
    COMMON_SPELLS,
    LEVEL,
    Chance,
    learn,
)
from models.search.even import Even, as_told, capped, even_out
from models.search.scan import (
    END,
    HOUR,
    LENGTHS,
    SCORE,
    SHORT_AT_MOST,
    START,
    WEEK,
    Wander,
    Z,
    rise_of,
    score_of,
    strongest,
    wander_of,
    windows,
)
from models.search.spells import LENGTHS as SPELL_LENGTHS
from models.search.spells import spells

#: Share of the false findings allowed that goes to spells that come and go.
_SPELLS_SHARE = 0.15
#: Shortest period told from what was smoothed out of few readings: 12 h.
_SMOOTH_LEAST = 12 * HOUR
#: Within this time its error is one and the same: 12 h (estimate).
_ONE_GRAB = 12 * HOUR


@dataclass(frozen=True)
class Look:
    """A channel in the units it is judged in.

    Attributes
    ----------
    even : Even
    wander : Wander
    up : ndarray, shape (n,)
        Hours that stand out upwards; see `models.search.spells`.
    up_wander : Wander
    chance, up_chance : Chance
        Of periods, and of spells.
    least : int
        Shortest period looked for [quarter-hours]; above 0 no spells are.
    """

    even: Even
    wander: Wander
    up: Array
    up_wander: Wander
    chance: Chance = COMMON
    up_chance: Chance = COMMON_SPELLS
    least: int = 0


@dataclass(frozen=True, slots=True)
class Period:
    """A window that stands out.

    Attributes
    ----------
    start, end : int
        First quarter-hour and the one after the last.
    z : float
        Strength [standard errors].
    per_week : float
        Chance periods at least as strong, in this channel [1/week].
    spells : bool
        Hours that stand out again and again, not the window as a whole.
    """

    start: int
    end: int
    z: float
    per_week: float
    spells: bool = False


def look_at(
    minutes: Array,
    usual_kg_h: float | None,
    *,
    smooth: bool = False,
) -> Look:
    """Even out a channel and learn what chance does in it.

    Parameters
    ----------
    minutes : ndarray, shape (n,)
        One value a minute [kg/h], NaN where missing.
    usual_kg_h : float, optional
        Usual loss where the noise multiplies it; see `models.search.even.as_told`.
    smooth : bool
        True for what was smoothed out of few readings, such as what grabs tell of a probe, told
        in its own standard errors: its bends say nothing of its noise, nor its hours anything of
        an hour.
    """
    told = as_told(block_means(minutes, MINUTES_PER_BLOCK), usual_kg_h)
    calm = calm_hours(told)
    even = even_out(told, calm, steady=smooth)
    wander = wander_of(even.short, calm, LENGTHS)
    if smooth:
        same = np.minimum(LENGTHS, _ONE_GRAB)
        wander = replace(wander, variance=np.maximum(wander.variance, same))
    up, down, up_wander = spells(even.short if smooth else capped(even.short))
    look = Look(even, wander, up, up_wander, least=_SMOOTH_LEAST * smooth)
    weeks = float(np.isfinite(even.short).sum()) / WEEK
    swings = strongest(_windows(replace(look, even=even.upside_down), LEVEL))[:, SCORE]
    dips = strongest(windows(down, up_wander, LEVEL, 0, int(SPELL_LENGTHS[-1])))[:, SCORE]
    rise = 0.0 if smooth else rise_of(even.long, calm)
    return replace(
        look,
        chance=learn(swings, weeks, COMMON, rise),
        up_chance=learn(dips, weeks, COMMON_SPELLS),
    )


def _windows(look: Look, least_score: float) -> Array:
    """Windows of all lengths, the long ones held against the longer course."""
    long = windows(
        _counted(look, look.even.long),
        look.wander,
        least_score,
        SHORT_AT_MOST + 1,
        int(LENGTHS[-1]),
    )
    return np.concatenate([_short_windows(look, least_score), long])


def _short_windows(look: Look, least_score: float) -> Array:
    series = _counted(look, look.even.short)
    return windows(series, look.wander, least_score, look.least, SHORT_AT_MOST)


def _counted(look: Look, series: Array) -> Array:
    """What each quarter-hour counts for; of what was smoothed none is wild."""
    return series if look.least else capped(series)


def standing_out(look: Look, per_week: float) -> list[Period]:
    """Windows that chance makes `per_week` times a week at most, those of one loss once.

    Parameters
    ----------
    look : Look
    per_week : float
        Periods that chance may pass in this channel [1/week], above 0.

    Returns
    -------
    list of Period
        The least likely first.
    """
    whole = (1.0 - _SPELLS_SHARE) * per_week
    least = look.chance.score_for(whole)
    if look.chance.sure:
        periods = _windows(look, least)
    else:
        # Days may differ for no reason; what beats every swing to the good side is shown at least.
        least = max(least, look.chance.top)
        periods = _short_windows(look, least)
    rare = look.up_chance.score_for(per_week - whole)
    rare = rare if look.up_chance.sure else max(rare, look.up_chance.top)
    most = 0 if look.least else int(SPELL_LENGTHS[-1])
    again = windows(look.up, look.up_wander, rare, 0, most)
    tables = [
        _by_rarity(periods, look.chance, 1.0 - _SPELLS_SHARE, spells=False),
        _by_rarity(again, look.up_chance, _SPELLS_SHARE, spells=True),
    ]
    return [
        Period(int(r[START]), int(r[END]), float(r[Z]), math.exp(-r[SCORE]), bool(r[-1]))
        for r in strongest(np.concatenate(tables))
    ]


def _by_rarity(table: Array, chance: Chance, share: float, *, spells: bool) -> Array:
    """Score each window by how rarely chance does as much, over both kinds of windows."""
    rate = [chance.rate(score) / share for score in table[:, SCORE].tolist()]
    rarity = -np.log(np.maximum(rate, 1e-300))
    return np.column_stack([rarity, table[:, START:], np.full(len(table), float(spells))])


def rate_of(look: Look, start: int, end: int, z: float) -> float:
    """Chance periods as strong as `z` over these quarter-hours [1/week].

    Parameters
    ----------
    look : Look
    start, end : int
        [quarter-hours].
    z : float
        [standard errors].
    """
    length = np.array([float(min(max(end - start, HOUR), LENGTHS[-1]))])
    score = float(score_of(np.array([max(z, 0.0)]), length)[0])
    return look.chance.rate(score) / (1.0 - _SPELLS_SHARE)


def strength_of(look: Look, start: int, end: int) -> float:
    """Strength of any stretch of quarter-hours [standard errors]; 0 where nothing was measured."""
    series = look.even.long if end - start > SHORT_AT_MOST else look.even.short
    part = _counted(look, series[start:end])
    known = part[np.isfinite(part)]
    if len(known) == 0:
        return 0.0
    return float(known.sum()) / math.sqrt(len(known) * look.wander.at(end - start))


def spell_hours(look: Look, period: Period) -> tuple[int, int]:
    """From the first to the last hour of a period that stands out [quarter-hours]."""
    part = np.nan_to_num(look.up[period.start : period.end], nan=0.0)
    high = np.flatnonzero(part > 0.5 * float(part.max(initial=0.0)))
    if len(high) == 0:
        return period.start, period.end
    return period.start + int(high[0]), min(period.start + int(high[-1]) + HOUR, period.end)
