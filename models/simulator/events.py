"""What goes wrong in a simulated season: planted losses and look-alikes, with their times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

#: Hours left alone at the start of a season, and between two events.
QUIET_START_H = 40.0
MIN_GAP_H = 8.0
#: Highest share of the season that events and their gaps may claim.
_MAX_SHARE = 0.80


@dataclass(frozen=True, slots=True)
class Recipe:
    """Small, medium and large form of one kind of event: hours, size, second size."""

    kind: str
    cause: str
    zone: str
    forms: tuple[tuple[float, float, float], ...]
    targets: tuple[str, ...] = ("",)


@dataclass(frozen=True, slots=True)
class PlannedEvent:
    """One event of a season.

    Attributes
    ----------
    number : int
        Position in time order, from 1.
    kind : {"loss", "confuser"}
        Whether it truly destroys sucrose.
    cause, zone : str
        What it is, and where it acts.
    start_h, end_h : float
        Hours after the start of the season.
    size, extra : float
        Strength; the meaning belongs to the cause (see the recipes).
    target : str
        Tag it acts on, for events that live in the export only.
    shape : str
        How it comes and goes: ``step``, ``ramp``, ``drift``, ``comes_and_goes``; of a stop that is
        no loss, how it is handled (`models.simulator.habits.STOPS`).
    kin : str
        What is special about its company: ``pair``, ``over_stop``, ``in_drift``; empty when it
        comes alone.
    """

    number: int
    kind: str
    cause: str
    zone: str
    start_h: float
    end_h: float
    size: float
    extra: float
    target: str = ""
    shape: str = "step"
    kin: str = ""


#: Planted losses. Sizes: pH units low; pH units of drift and share of the time drifting; nothing;
#: share of the usual rate; kelvin too hot; share of underflow and mud level [%]; heater outlet
#: [degC] and vigour; tank level [%].
LOSSES: tuple[Recipe, ...] = (
    Recipe("loss", "low_limed_ph", "settler", ((8, 0.48, 0), (12, 0.34, 0), (17, 0.42, 0))),
    Recipe(
        "loss", "ph_probe_high", "settler", ((39, 0.28, 0.3), (41, 0.36, 0.27), (46, 0.43, 0.3))
    ),
    Recipe("loss", "standing_juice", "settler", ((5.5, 0, 0), (7.5, 0, 0), (9.5, 0, 0))),
    Recipe("loss", "slow_throughput", "settler", ((14.5, 0.53, 0), (17, 0.60, 0), (22, 0.55, 0))),
    Recipe("loss", "overheating", "first_evaporator", ((12, 9, 0), (15, 7.5, 0), (20, 8.5, 0))),
    Recipe("loss", "mud_held", "settler:mud", ((16.5, 0.34, 88), (18, 0.30, 91), (23, 0.22, 94))),
    Recipe("loss", "microbial", "liming_tank", ((10, 57, 0.75), (12, 54, 1.0), (16, 55, 1.2))),
    Recipe("loss", "tank_held", "clear_juice_tank", ((18, 96, 0), (21, 91, 0), (26, 97, 0))),
)

_FREEZABLE = ("ST.AI308", "CT.TI402", "LT.TI214", "CH.TI411", "MJ.AI103")
_SPIKABLE = ("LT.AI212", "CT.LI401", "CH.TI411", "ST.TI304", "EV.TI501")

#: Look-alikes that destroy nothing (or next to nothing).
CONFUSERS: tuple[Recipe, ...] = (
    Recipe("confuser", "stale_cane", "train", ((10, 0.8, 0), (14, 1.0, 0))),
    Recipe("confuser", "over_liming", "settler", ((5, 0.58, 0), (7, 0.45, 0))),
    Recipe("confuser", "handled_stop", "settler", ((6.5, 0, 0), (8, 0, 0))),
    Recipe("confuser", "flocculant_failure", "settler", ((4, 4.2, 0), (6, 5.8, 0))),
    Recipe("confuser", "probe_calibration", "liming_tank", ((0.3, 0.04, 0), (0.27, -0.05, 0))),
    Recipe("confuser", "lab_bias", "train", ((25, -0.22, 0), (30, -0.17, 0))),
    Recipe("confuser", "imbibition_change", "train", ((8, 0.055, 0), (10, 0.045, 0))),
    Recipe("confuser", "frozen_tag", "train", ((4, 0, 0), (7, 0, 0)), _FREEZABLE),
    Recipe("confuser", "spiking_tag", "train", ((5, 0, 0), (8, 0, 0)), _SPIKABLE),
)

Draft = tuple[Recipe, float, float, float, str]


def _draft(rng: np.random.Generator, recipe: Recipe, form: int) -> Draft:
    hours, size, extra = recipe.forms[form % len(recipe.forms)]
    target = recipe.targets[int(rng.integers(len(recipe.targets)))]
    return recipe, hours * rng.uniform(0.94, 1.06), size * rng.uniform(0.98, 1.02), extra, target


def _drafts(rng: np.random.Generator, weeks: int) -> list[Draft]:
    """All events wanted, in rounds: every loss once a round, a third of the confusers."""
    rounds = max(1, round(3 * weeks / 8))
    shift = rng.integers(0, 3, size=len(LOSSES))
    out: list[Draft] = []
    for turn in range(rounds):
        losses = [_draft(rng, r, turn + int(s)) for r, s in zip(LOSSES, shift, strict=True)]
        mine = [c for i, c in enumerate(CONFUSERS) if i % 3 == turn % 3]
        both = losses + [_draft(rng, r, int(rng.integers(2))) for r in mine]
        out.extend(both[i] for i in rng.permutation(len(both)))
    return out


def _fitting(drafts: list[Draft], room_h: float) -> list[Draft]:
    out: list[Draft] = []
    used = 0.0
    for draft in drafts:
        need = draft[1] + MIN_GAP_H
        if used + need <= room_h:
            out.append(draft)
            used += need
    return out


def plan_events(rng: np.random.Generator, weeks: int) -> tuple[PlannedEvent, ...]:
    """Lay out a season's events without overlap.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    weeks : int
        Length of the season [weeks], at least 1. Eight weeks hold each loss three times.

    Returns
    -------
    tuple of PlannedEvent
        In time order, at least 8 h apart, none in the first 40 h or the last 12 h.
    """
    if weeks < 1:
        raise ValueError(f"a season needs at least 1 week, got {weeks}; ask for 1 or more")
    season_h = weeks * 168.0 - QUIET_START_H - 12.0
    chosen = _fitting(_drafts(rng, weeks), season_h * _MAX_SHARE)
    order = rng.permutation(len(chosen))
    spare_h = season_h - sum(d[1] + MIN_GAP_H for d in chosen)
    slack = rng.dirichlet(np.full(len(chosen) + 1, 2.0)) * spare_h
    out: list[PlannedEvent] = []
    at_h = QUIET_START_H
    for number, (index, pause) in enumerate(zip(order, slack[:-1], strict=True), start=1):
        recipe, hours, size, extra, target = chosen[index]
        # Whole five minutes keep the truth table readable.
        start_h = np.ceil((at_h + pause) * 12.0) / 12.0
        end_h = np.ceil((start_h + hours) * 12.0) / 12.0
        out.append(
            PlannedEvent(
                number=number,
                kind=recipe.kind,
                cause=recipe.cause,
                zone=recipe.zone,
                start_h=float(start_h),
                end_h=float(end_h),
                size=float(size),
                extra=float(extra),
                target=target,
            )
        )
        at_h = at_h + pause + hours + MIN_GAP_H + 0.17
    return tuple(out)
