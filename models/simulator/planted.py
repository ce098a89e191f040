"""What planted events truly cost: with and without them, and jointly where they overlap."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from math import factorial

import numpy as np
from numpy.typing import NDArray

from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.disturb import Drive
from models.simulator.drive import drive_matrix
from models.simulator.effects import EXPORT_ONLY, FILTRATE_TANK, apply_events
from models.simulator.events import MIN_GAP_H, PlannedEvent
from models.simulator.integrate import TRACE_COLUMNS, Run, integrate
from models.simulator.parameters import PlantParameters

Floats = NDArray[np.float64]
Group = tuple[PlannedEvent, ...]
#: Positions of a group's losses that are left in a season.
Coalition = frozenset[int]
_FED = TRACE_COLUMNS.index("fed")
_TINY_H = 1e-9
#: Windows up to this long are integrated together.
_SHORT_STEPS = int(80.0 / p.STEP_H)


def first_step(event: PlannedEvent) -> int:
    """Step at which an event begins."""
    return int(event.start_h / p.STEP_H)


def groups_of(events: Sequence[PlannedEvent]) -> list[Group]:
    """Events that act on the station, parted where the station has washed out between two.

    Parameters
    ----------
    events : sequence of PlannedEvent
        In order of time.

    Returns
    -------
    list of tuple of PlannedEvent
        An event belongs to the group before it when it begins within 8 h of the end of one of it.
    """
    out: list[list[PlannedEvent]] = []
    until_h = -np.inf
    for event in (e for e in events if e.cause not in EXPORT_ONLY):
        if out and event.start_h < until_h + MIN_GAP_H - _TINY_H:
            out[-1].append(event)
        else:
            out.append([event])
        until_h = max(until_h, event.end_h)
    return [tuple(group) for group in out]


def planted_tonnes(
    plant: PlantParameters, base: Drive, events: tuple[PlannedEvent, ...], run: Run
) -> list[float]:
    """Sucrose that each event destroyed beyond what its own season would have lost [t].

    Parameters
    ----------
    plant : PlantParameters
        The station.
    base : dict of str to array, shape (T,)
        Everyday series.
    events : tuple of PlannedEvent
        All events of the season.
    run : Run
        The season with all events, with the state before each of them kept; its first lane is
        the "with".

    Returns
    -------
    list of float
        ``D_with - D_without F_with / F_without`` from start to end plus 8 h, where D is sucrose
        destroyed and F sucrose fed, and "without" leaves out this one event. The 8 h let the
        station wash out and hold no other event, whose loss the ratio of the feeds would split
        wrongly. Exactly 0 for events of the export only. Losses that overlap are counted by their
        joint effect, shared between them so that the shares add up (`shared_tonnes`). What
        changes in the filtrate's tank counts only for events that act there: mud that is held also
        sends less to the filters, and what rots less there would hide what it costs in the settler.
    """
    lost = {e.number: 0.0 for e in events}
    groups = groups_of(events)
    # All lanes of a batch run as long as the longest: a drift of ten days goes by itself.
    short = [g for g in groups if _window_steps(g) <= _SHORT_STEPS]
    long = [g for g in groups if _window_steps(g) > _SHORT_STEPS]
    for batch in (short, long):
        for group, values in zip(batch, _worth(plant, base, events, run, batch), strict=True):
            if len(group) > 1:
                lost |= shared_tonnes(group, values)
            else:
                lost[group[0].number] = values[_whole(group)]
    return [lost[e.number] for e in events]


def shared_tonnes(group: Group, worth: dict[Coalition, float]) -> dict[int, float]:
    """Tonnes of every loss of a group, by its number; they add up to the group's joint tonnes.

    Parameters
    ----------
    group : tuple of PlannedEvent
        Events that overlap.
    worth : dict of frozenset of int to float
        Tonnes lost with only these losses of the group (by position) beyond those with none.

    Returns
    -------
    dict of int to float
        Each loss gets the mean of what it adds over all orders in which the losses could have
        been put in: L. S. Shapley, "A value for n-person games", Contributions to the Theory of
        Games II, Princeton (1953) 307-317. Look-alikes are part of every such season and share
        nothing: they get 0.
    """
    players = sorted(_whole(group))
    count = len(players)
    out = {e.number: 0.0 for e in group}
    for player in players:
        others = [i for i in players if i != player]
        for size in range(count):
            weight = factorial(size) * factorial(count - size - 1) / factorial(count)
            for chosen in combinations(others, size):
                before = frozenset(chosen)
                gain = worth[before | {player}] - worth[before]
                out[group[player].number] += weight * gain
    return out


def _whole(group: Group) -> Coalition:
    """Positions of all losses of a group."""
    return frozenset(i for i, e in enumerate(group) if e.kind == "loss")


def _lanes_of(group: Group) -> list[Coalition | None]:
    """Seasons to integrate for a group: without a lone look-alike, or with too few losses."""
    whole = sorted(_whole(group))
    if not whole:
        return [None] if len(group) == 1 else []
    return [frozenset(s) for size in range(len(whole)) for s in combinations(whole, size)]


def _worth(
    plant: PlantParameters,
    base: Drive,
    events: tuple[PlannedEvent, ...],
    run: Run,
    groups: Sequence[Group],
) -> list[dict[Coalition, float]]:
    """Tonnes of every set of losses of each group beyond the season with none of them [t].

    A lone look-alike has the tonnes of the season with it beyond the one without it, under the
    empty set.
    """
    todo = [(group, left) for group in groups for left in _lanes_of(group)]
    if not todo:
        return [{frozenset(): 0.0} for _ in groups]
    steps = max(_window_steps(group) for group, _ in todo)
    lanes = []
    for group, left in todo:
        kept = _kept(events, group, left)
        lanes.append(drive_matrix(apply_events(base, kept, _first(group), steps), plant))
    start = c.stack([run.kept[_first(group)] for group, _ in todo])
    tried = integrate(plant, start, np.stack(lanes, axis=1))
    out = []
    for group in groups:
        mine = {left: lane for lane, (other, left) in enumerate(todo) if other is group}
        out.append(_beyond(group, run, tried, mine))
    return out


def _kept(
    events: tuple[PlannedEvent, ...], group: Group, left: Coalition | None
) -> list[PlannedEvent]:
    gone = {group[0].number} if left is None else {group[i].number for i in _whole(group) - left}
    return [e for e in events if e.number not in gone]


def _beyond(
    group: Group, run: Run, tried: Run, lane_of: dict[Coalition | None, int]
) -> dict[Coalition, float]:
    first = _first(group)
    count = min(_window_steps(group), len(run.trace) - first)
    nothing = frozenset[int]()
    outside = any(e.zone == FILTRATE_TANK for e in group)
    if not lane_of:
        return {nothing: 0.0}

    def sums(season: Run, begin: int, lane: int) -> tuple[float, float]:
        span = slice(begin, begin + count)
        destroyed = season.destroyed_kg_h[span, lane, : None if outside else len(c.ZONES)]
        return destroyed.sum(), season.trace[span, lane, _FED].sum()

    seasons = {left: sums(tried, 0, lane) for left, lane in lane_of.items()}
    none_d, none_f = seasons[None] if None in seasons else seasons[nothing]
    seasons[nothing if None in seasons else _whole(group)] = sums(run, first, 0)
    return {
        left: float((d - none_d * f / none_f) * p.STEP_H / 1000.0)
        for left, (d, f) in seasons.items()
        if left is not None
    }


def _first(group: Group) -> int:
    return min(first_step(e) for e in group)


def _window_steps(group: Group) -> int:
    start_h, end_h = min(e.start_h for e in group), max(e.end_h for e in group)
    return int((end_h + MIN_GAP_H - start_h) / p.STEP_H)
