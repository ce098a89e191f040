"""Events of a mill with habits: drifts, ramps, faults that come and go, two at once, over stops.

Sizes are judgement: drifts of 0.25-0.45 pH in 7-10 days, ramps of two days, an hour on and three
off. Events are laid out in blocks; blocks never touch, members of one block overlap.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import zip_longest

import numpy as np

from models.simulator.effects import FILTRATE_TANK
from models.simulator.events import (
    CONFUSERS,
    LOSSES,
    MIN_GAP_H,
    QUIET_START_H,
    PlannedEvent,
    Recipe,
)
from models.simulator.habits import Habits

#: Highest share of the season that blocks and their gaps may claim.
_MAX_SHARE = 0.75
#: Highest share of it in which anything is lost, so that a usual loss is left to be learnt.
_MAX_LOSS_SHARE = 0.42
_RECIPES = {r.cause: r for r in (*LOSSES, *CONFUSERS)}
#: Size and second size of each fault at the end of a ramp, and where it comes and goes.
_RAMPS = {
    "low_limed_ph": (0.55, 0.0),
    "overheating": (10.0, 0.0),
    "slow_throughput": (0.48, 0.0),
    "tank_held": (97.0, 0.0),
    "mud_held": (0.22, 94.0),
}
_COMING = {
    "low_limed_ph": (0.75, 0.0),
    "overheating": (13.0, 0.0),
    "slow_throughput": (0.42, 0.0),
}
_PAIRS = (
    ("overheating", "slow_throughput"),
    ("low_limed_ph", "tank_held"),
    ("mud_held", "low_limed_ph"),
)
_OVER_STOPS = ("low_limed_ph", "overheating", "mud_held")
_IN_DRIFTS = ("overheating", "tank_held", "mud_held", "microbial")


@dataclass(frozen=True, slots=True)
class Part:
    """One event of a block: what, from which hour of the block, how long, how strong."""

    recipe: Recipe
    from_h: float
    hours: float
    size: float
    extra: float
    shape: str = "step"
    kin: str = ""
    target: str = ""


Block = tuple[Part, ...]


def plan_hard_events(
    rng: np.random.Generator, weeks: int, habits: Habits, *, filtrate: bool = False
) -> tuple[PlannedEvent, ...]:
    """Lay out a season's events in blocks.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    weeks : int
        Length of the season [weeks], at least 1.
    habits : Habits
        Which shapes, stops and spells this mill has.
    filtrate : bool
        Whether filtrate is returned: its tank then has microbial spells of its own.

    Returns
    -------
    tuple of PlannedEvent
        In order of time; blocks at least 8 h apart, none in the first 40 h or the last 12 h.
    """
    if weeks < 1:
        raise ValueError(f"a season needs at least 1 week, got {weeks}; ask for 1 or more")
    season_h = weeks * 168.0 - QUIET_START_H - 12.0
    chosen = _fitting(_blocks(rng, weeks, habits, filtrate), season_h)
    chosen = [chosen[i] for i in rng.permutation(len(chosen))]
    spare_h = season_h - sum(_needs_h(block) for block in chosen)
    slack = rng.dirichlet(np.full(len(chosen) + 1, 2.0)) * spare_h
    parts: list[tuple[float, Part]] = []
    at_h = QUIET_START_H
    for block, pause in zip(chosen, slack[:-1], strict=True):
        parts += [(at_h + pause + part.from_h, part) for part in block]
        at_h += pause + _needs_h(block)
    parts.sort(key=lambda item: item[0])
    return tuple(_planned(i, at, part) for i, (at, part) in enumerate(parts, start=1))


def _planned(number: int, at_h: float, part: Part) -> PlannedEvent:
    # Whole five minutes keep the truth table readable.
    start_h = np.ceil(at_h * 12.0) / 12.0
    return PlannedEvent(
        number=number,
        kind=part.recipe.kind,
        cause=part.recipe.cause,
        zone=part.recipe.zone,
        start_h=float(start_h),
        end_h=float(np.ceil((start_h + part.hours) * 12.0) / 12.0),
        size=float(part.size),
        extra=float(part.extra),
        target=part.target,
        shape=part.shape,
        kin=part.kin,
    )


def _needs_h(block: Block) -> float:
    return max(part.from_h + part.hours for part in block) + MIN_GAP_H + 0.34


def _fitting(blocks: list[Block], season_h: float) -> list[Block]:
    """Blocks that there is room for, in the order given."""
    out: list[Block] = []
    room_h, loss_h = _MAX_SHARE * season_h, _MAX_LOSS_SHARE * season_h
    for block in blocks:
        needs_h = _needs_h(block)
        lossy_h = needs_h - MIN_GAP_H if any(p.recipe.kind == "loss" for p in block) else 0.0
        if needs_h <= room_h and lossy_h <= loss_h:
            out.append(block)
            room_h, loss_h = room_h - needs_h, loss_h - lossy_h
    return out


def _blocks(rng: np.random.Generator, weeks: int, habits: Habits, filtrate: bool) -> list[Block]:
    """All blocks wanted, the ones that must not be left out first."""

    def times(per_weeks: float) -> int:
        return max(1, round(weeks / per_weeks))

    def step(recipe: Recipe) -> Block:
        return (_step(rng, recipe, habits),)

    microbial = _RECIPES["microbial"]
    rounds = [[step(microbial) for _ in range(times(3))]]
    rounds += [[_in_filtrate(rng)]] if filtrate and habits.odd_spells else []
    makers = {"drift": (_drift, 6), "ramp": (_ramp, 3), "comes_and_goes": (_coming, 3)}
    makers |= {"pair": (_pair, 3), "over_stop": (_over_stop, 3)}
    for name in habits.shapes:
        maker, per_weeks = makers[name]
        # A drift of ten days has no room in a season of two weeks.
        count = times(per_weeks) if name != "drift" or weeks > 2 else 0
        rounds.append([maker(rng, habits) for _ in range(count)])
    # One of each before the second of any.
    must = [block for turn in zip_longest(*rounds) for block in turn if block is not None]
    others = [r for r in LOSSES if r is not microbial]
    more = [step(others[i]) for _ in range(times(4)) for i in rng.permutation(len(others))]
    stops = [_stopped(rng, way) for way in habits.stops]
    alike = [step(r) for r in CONFUSERS if r.cause != "handled_stop"]
    alike = [(part,) for part in stops] + [alike[i] for i in rng.permutation(len(alike))]
    # One by one from both, so that neither takes all the room that is left.
    mixed = [b for two in zip(more, alike, strict=False) for b in two]
    rest = max(more, alike, key=len)[min(len(more), len(alike)) :]
    return must + mixed + rest


def _near(rng: np.random.Generator, value: float, by: float = 0.06) -> float:
    return value * float(rng.uniform(1.0 - by, 1.0 + by))


def _step(rng: np.random.Generator, recipe: Recipe, habits: Habits) -> Part:
    hours, size, extra = recipe.forms[int(rng.integers(len(recipe.forms)))]
    target = recipe.targets[int(rng.integers(len(recipe.targets)))]
    if recipe.cause == "microbial" and habits.odd_spells:
        hours, size, extra = rng.uniform(10, 22), rng.uniform(48, 62), rng.uniform(0.7, 1.5)
    return Part(
        recipe, 0.0, _near(rng, hours), size * rng.uniform(0.98, 1.02), extra, target=target
    )


def _in_filtrate(rng: np.random.Generator) -> Block:
    """The filtrate's tank goes sour: several times its usual life for a day or two."""
    recipe = replace(_RECIPES["microbial"], zone=FILTRATE_TANK)
    return (Part(recipe, 0.0, float(rng.uniform(16.0, 36.0)), float(rng.uniform(2.0, 4.0)), 0.0),)


def _stopped(rng: np.random.Generator, way: str) -> Part:
    """One stop handled in one way; what it must be like is different for each."""
    hours, size, extra = float(rng.uniform(6.0, 10.0)), 0.0, 0.0
    if way == "emptied_late":
        extra = float(rng.uniform(0.2, 2.2))
    if way == "limed":
        hours, size, extra = (
            0.75 * hours,
            float(rng.uniform(0.9, 1.1)),
            float(rng.uniform(3.0, 4.0)),
        )
    if way == "flushed":
        extra = float(rng.uniform(3.0, 4.0))
    whole = hours + (extra if way in ("limed", "flushed") else 0.0)
    return Part(_RECIPES["handled_stop"], 0.0, whole, size, extra, way)


def _drift(rng: np.random.Generator, habits: Habits) -> Block:
    """A probe of the liming tank that drifts for 7-10 days until somebody puts it right."""
    hours = 24.0 * float(rng.uniform(7.0, 10.0))
    drift = Part(
        _RECIPES["ph_probe_high"], 0.0, hours, float(rng.uniform(0.25, 0.45)), 0.99, "drift"
    )
    if rng.random() < 0.5:
        return (drift,)
    other = _step(rng, _RECIPES[_IN_DRIFTS[int(rng.integers(len(_IN_DRIFTS)))]], habits)
    from_h = hours * float(rng.uniform(0.3, 0.75))
    return (drift, replace(other, from_h=from_h, kin="in_drift"))


def _one_of(rng: np.random.Generator, sizes: dict[str, tuple[float, float]]) -> Part:
    cause = list(sizes)[int(rng.integers(len(sizes)))]
    size, extra = sizes[cause]
    return Part(_RECIPES[cause], 0.0, 0.0, size * float(rng.uniform(0.95, 1.02)), extra)


def _ramp(rng: np.random.Generator, _habits: Habits) -> Block:
    part = _one_of(rng, _RAMPS)
    return (replace(part, hours=_near(rng, 48.0, 0.15), shape="ramp"),)


def _coming(rng: np.random.Generator, _habits: Habits) -> Block:
    part = _one_of(rng, _COMING)
    # Whole rounds and the last hour on: 25 to 49 h.
    hours = 4.0 * int(rng.integers(6, 13)) + 1.0
    return (replace(part, hours=hours, shape="comes_and_goes"),)


def _pair(rng: np.random.Generator, habits: Habits) -> Block:
    """Two faults in one section at once, the second some hours behind the first."""
    first, second = (
        replace(_step(rng, _RECIPES[cause], habits), kin="pair")
        for cause in rng.permutation(np.array(_PAIRS[int(rng.integers(len(_PAIRS)))]))
    )
    hours = float(rng.uniform(13.0, 22.0))
    behind = float(rng.uniform(0.0, 0.35)) * hours
    return (
        replace(first, hours=hours),
        replace(second, from_h=behind, hours=_near(rng, hours, 0.15)),
    )


def _over_stop(rng: np.random.Generator, habits: Habits) -> Block:
    """A fault that began before a stop and is still there after it."""
    cause = _OVER_STOPS[int(rng.integers(len(_OVER_STOPS)))]
    stand = float(rng.uniform(4.5, 8.0))
    before, after = float(rng.uniform(6.0, 12.0)), float(rng.uniform(6.0, 12.0))
    fault = replace(_step(rng, _RECIPES[cause], habits), hours=before + stand + after)
    if rng.random() < 0.5:
        stop = Part(_RECIPES["standing_juice"], before, stand, 0.0, 0.0)
    else:
        stop = Part(_RECIPES["handled_stop"], before, stand, 0.0, 0.0, "emptied")
    return (replace(fault, kin="over_stop"), replace(stop, kin="over_stop"))
