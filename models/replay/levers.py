"""Levers of a season: what each realistic change would have saved, best first.

A lever is one step: a tenth or two of a pH, two kelvin, ten points of level, a twentieth of
throughput; only where the mill has run there. Of a piece of the season the physics says how much of
each vessel's loss would have been left; the tonnes are then those the search believes today.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from features.advice import USUAL_PH, Prices
from features.base import Column, Columns, Station
from features.replay import Change
from models.account import Surroundings, Tonnes
from models.replay.costs import LIME, SETTLING, SUGARS
from models.replay.error import saving_with_interval
from models.replay.ranges import Ran
from models.replay.saving import Saving

#: Steps tried, the first that lies within what the mill has run counts.
PH_STEPS: Final = (-0.2, -0.1, 0.1, 0.2)
_DEGC_STEPS: Final = (-2.0, -1.0)
_LEVEL_STEPS: Final = (-10.0, -5.0)
_FLOW_PCT: Final = (5.0,)
_HEATED: Final = ("heater", "clear_juice_heater", "evaporator_vessel")
_TANKS: Final = ("liming_tank", "clear_juice_tank")
#: Steps lie this far from what they speak for [pH].
_HALF_STEP_PH: Final = 0.05
#: Share of the minutes outside the usual pH above which a step is not advised [%] (judgement).
_MOST_BADLY_PCT: Final = 10.0

PIECE_COLUMNS: Columns = {
    "what": Column.text("Quantity changed."),
    "place": Column.text("Vessel; empty for the station."),
    "how": Column.text("by: added; factor: per cent more."),
    "amount": Column.number("unit of the quantity, or %", "Size of the step."),
    "zone": Column.text("Vessel, or mud of a settler."),
    "left": Column.number("-", "Loss replayed over recorded, for the same sucrose fed."),
    "lime_t": Column.number("t CaO", "More lime in the piece; the same in every row of a step."),
    "sugars_t": Column.number("t", "More reducing sugars destroyed; likewise."),
    "settling_pct": Column.number("%", "Settling margin gained; likewise; null: no area known."),
    "badly_pct": Column.number("%", "More minutes at a pH at which juice settles badly; likewise."),
    "period_h": Column.number("h", "Hours of the piece."),
    "stamp": Column.text("Hash of the minutes and the description it rests on."),
}


@dataclass(frozen=True)
class Step:
    """One step over the season.

    Attributes
    ----------
    change : Change
    recorded_t : float
        Lost in the pieces it was worked out for [t].
    saved : Tonnes
    lime_t, sugars_t : float
        More of each [t].
    settling_pct : float or None
        Settling margin gained, that of the worst piece [%].
    badly_pct : float
        More time at a pH at which juice settles badly [%].
    value, net_value : float
        Worth of what is saved, and the same less lime and sugars [currency].
    """

    change: Change
    recorded_t: float
    saved: Tonnes
    lime_t: float
    sugars_t: float
    settling_pct: float | None
    badly_pct: float
    value: float
    net_value: float

    @property
    def certain(self) -> float:
        """Share of the saving that is certain: the low end of its interval over its middle."""
        return max(self.saved.low, 0.0) / self.saved.mid if self.saved.mid > 0.0 else 0.0


@dataclass(frozen=True)
class PhRange:
    """Limed-juice pH to run at, as a range.

    Attributes
    ----------
    now : float
        Median of the season [pH].
    low, high : float
        Range that is not clearly worse than the best step, and at which juice settles well.
    best : Step or None
        Cheapest step in that range; None where staying costs least.
    """

    now: float
    low: float
    high: float
    best: Step | None


def realistic_steps(station: Station, ran: Callable[[Change], Ran | None]) -> tuple[Change, ...]:
    """Steps that a mill could have taken.

    Parameters
    ----------
    station : Station
    ran : callable
        Hours the mill ran at, of the quantity that a change acts on; None where it is not known.

    Returns
    -------
    tuple of Change
    """
    found = [c for step in PH_STEPS if _fits(c := Change("ph_limed", "by", step), ran)]
    # Cooler juice ahead of the lime invites microbes, which no step here counts.
    limed = max((v.step for v in station.of_kind("liming_tank")), default=-1)
    for vessel in sorted(station.vessels, key=lambda v: v.step):
        hot = vessel.kind in _HEATED and vessel.step > limed
        if hot and _moves(station, vessel.name, "temperature"):
            found += _first("temp_degc", _DEGC_STEPS, vessel.name, ran)
        if vessel.kind in _TANKS and _moves(station, vessel.name, "level"):
            found += _first("level_pct", _LEVEL_STEPS, vessel.name, ran)
        if vessel.kind == "settler" and _moves(station, vessel.name, "mud_level"):
            found += _first("mud_level_pct", _LEVEL_STEPS, vessel.name, ran)
    more = [Change("flow", "factor", step) for step in _FLOW_PCT]
    return (*found, *(change for change in more if _fits(change, ran)))


def _moves(station: Station, place: str, quantity: str) -> bool:
    """Whether a tag reads what a step would move: nobody moves what nobody sees."""
    return any(s.quantity == quantity and s.place == place for s in station.signals)


def _first(
    what: str, steps: Sequence[float], place: str, ran: Callable[[Change], Ran | None]
) -> list[Change]:
    for step in steps:
        change = Change(what, "by", step, place)  # type: ignore[arg-type]
        if _fits(change, ran):
            return [change]
    return []


def _fits(change: Change, ran: Callable[[Change], Ran | None]) -> bool:
    """Whether the middle of the season's hours, moved, is an hour that the mill has run."""
    known = ran(change)
    if known is None:
        return False
    middle = 0.5 * (known.usual_low + known.usual_high)
    moved = (
        middle * (1.0 + change.amount / 100.0)
        if change.how == "factor"
        else (middle + change.amount)
    )
    return known.low <= moved <= known.high


def piece_rows(change: Change, saving: Saving, stamp: str) -> list[dict[str, object]]:
    """Rows of ``PIECE_COLUMNS`` for one step in one piece of the season.

    Parameters
    ----------
    change : Change
    saving : Saving
        Of the piece.
    stamp : str
        Hash of what it rests on.
    """
    costs = {cost.what: cost.amount for cost in saving.costs}
    was, now = saving.settles_badly_pct
    return [
        {
            "what": change.what, "place": change.place, "how": change.how,
            "amount": change.amount, "zone": zone.zone,
            "left": zone.replayed_t / zone.recorded_t if zone.recorded_t > 0.0 else 1.0,
            "lime_t": costs[LIME], "sugars_t": costs[SUGARS],
            "settling_pct": costs.get(SETTLING), "badly_pct": now - was,
            "period_h": saving.period_h, "stamp": stamp,
        }
        for zone in saving.by_vessel
    ]  # fmt: skip


def step_of_season(
    change: Change,
    pieces: Sequence[tuple[Sequence[Mapping[str, float | str | None]], Mapping[str, float]]],
    around: Surroundings,
    station: Station,
    prices: Prices,
) -> Step:
    """One step over all pieces of a season.

    Parameters
    ----------
    change : Change
    pieces : sequence of (rows, lost_kg)
        Of each piece the rows of this step, and what each zone lost in it as the search has it
        [kg].
    around : Surroundings
        Errors of the season's loss.
    station : Station
    prices : Prices
    """
    saved: dict[str, float] = {}
    lost: dict[str, float] = {}
    for rows, kg in pieces:
        for row in rows:
            zone = str(row["zone"])
            here = kg.get(zone, 0.0)
            saved[zone] = saved.get(zone, 0.0) + here * (1.0 - _number(row["left"]))
            lost[zone] = lost.get(zone, 0.0) + here
    first = [rows[0] for rows, _ in pieces if rows]
    hours = sum(_number(row["period_h"]) for row in first)
    lime, sugars = (sum(_number(row[name]) for row in first) for name in ("lime_t", "sugars_t"))
    margins = [_number(row["settling_pct"]) for row in first if row["settling_pct"] is not None]
    badly = sum(_number(row["badly_pct"]) * _number(row["period_h"]) for row in first)
    tonnes = saving_with_interval(saved, around, station, [change])
    value = prices.sucrose * tonnes.mid
    return Step(
        change=change,
        recorded_t=sum(lost.values()) / 1000.0,
        saved=tonnes,
        lime_t=lime,
        sugars_t=sugars,
        settling_pct=min(margins) if margins else None,
        badly_pct=badly / hours if hours > 0.0 else 0.0,
        value=value,
        net_value=value - prices.lime * lime - prices.reducing_sugar * sugars,
    )


def _number(value: float | str | None) -> float:
    return float(value) if value is not None else 0.0


def ph_range(steps: Sequence[Step], now: float, prices: Prices) -> PhRange:
    """Range of limed-juice pH to run at.

    Parameters
    ----------
    steps : sequence of Step
        Of ``ph_limed``.
    now : float
        Median of the season [pH].
    prices : Prices

    Returns
    -------
    PhRange
        Steps to a pH at which juice settles badly are left out, whatever they save. In it lies
        every pH that may, within the interval, be as cheap as the cheapest. Scale that more lime
        leaves in the evaporator has no price here: it speaks for the lower end.
    """
    fit = [
        s
        for s in steps
        if USUAL_PH[0] <= now + s.change.amount <= USUAL_PH[1] and s.badly_pct <= _MOST_BADLY_PCT
    ]
    best = max([s for s in fit if s.net_value > 0.0], key=lambda s: s.net_value, default=None)
    most = best.net_value if best is not None else 0.0

    def may(step: Step) -> bool:
        costs = step.value - step.net_value
        return prices.sucrose * step.saved.high - costs >= most

    phs = [now + s.change.amount for s in fit if s is best or may(s)]
    if best is None or prices.sucrose * best.saved.low - (best.value - best.net_value) <= 0.0:
        phs.append(min(max(now, USUAL_PH[0]), USUAL_PH[1]))
    low, high = min(phs) - _HALF_STEP_PH, max(phs) + _HALF_STEP_PH
    return PhRange(now, max(low, USUAL_PH[0]), min(high, USUAL_PH[1]), best)


def best_first(steps: Sequence[Step]) -> list[Step]:
    """Steps by what they are worth less their costs."""
    return sorted(steps, key=lambda s: -s.net_value)
