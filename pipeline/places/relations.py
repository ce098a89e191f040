"""What holds between measuring points of a station: delays, common movement, what lies higher.

Common practice and plain physics: juice that leaves the heater reaches the tank later; nothing
heats it between flash tank and clear juice tank; its pH falls in the settler. Weights are
estimates (natural logarithms of odds).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from pipeline.places.lags import Lags
from pipeline.places.points import POINT_NUMBER

Kind = Literal["later", "together", "higher", "more"]


@dataclass(frozen=True, slots=True)
class Relation:
    """What holds between two points, by their numbers.

    ``later``: the second changes after the first, by `low` to `high` minutes. ``together``: both
    change at once, with an agreement of `low` at least. ``higher``: the first lies above the
    second by about `low`, give or take `high`. ``more``: so does the logarithm of their ratio.
    """

    one: int
    two: int
    kind: Kind
    low: float
    high: float
    weight: float


def _relations() -> tuple[Relation, ...]:
    number = {" ".join(part for part in key if part): n for key, n in POINT_NUMBER.items()}
    mixed, feed, clear = "flow mixed_juice", "flow settler in", "flow clear_juice_tank out"
    temp = "temperature"
    table: tuple[tuple[str, str, Kind, float, float, float], ...] = (
        (mixed, clear, "later", 2.0, 40.0, 2.0),
        (feed, clear, "later", 2.0, 40.0, 2.0),
        (f"{temp} primary_heater out", f"{temp} liming_tank inside", "later", 1.0, 20.0, 2.5),
        (f"{temp} secondary_heater out", f"{temp} flash_tank out", "later", 1.0, 10.0, 1.5),
        (
            f"{temp} clear_juice_heater out",
            f"{temp} first_evaporator inside",
            "together",
            0.25,
            0.0,
            1.5,
        ),
        (
            "steam_pressure secondary_heater",
            f"{temp} secondary_heater out",
            "together",
            0.25,
            0.0,
            1.5,
        ),
        ("level clear_juice_tank", clear, "together", 0.25, 0.0, 2.0),
        ("cane_rate mill", mixed, "together", 0.3, 0.0, 1.0),
        ("cane_rate mill", "imbibition_flow mill", "together", 0.3, 0.0, 1.0),
        ("imbibition_flow mill", mixed, "together", 0.3, 0.0, 1.0),
        ("flocculant_flow settler in", feed, "together", 0.4, 0.0, 1.0),
        (feed, "flow settler mud", "together", 0.3, 0.0, 1.0),
        (feed, mixed, "together", 0.5, 0.0, 1.0),
        ("lime_flow liming_tank in", "ph liming_tank out", "later", 1.0, 15.0, 1.5),
        ("conductivity settler out", "lime_flow liming_tank in", "together", 0.25, 0.0, 0.5),
        ("ph liming_tank out", "ph settler out", "higher", 0.5, 0.2, 2.0),
        ("ph settler out", "ph mixed_juice", "higher", 1.5, 0.4, 1.0),
        (f"{temp} flash_tank out", f"{temp} settler inside", "higher", 2.5, 1.2, 1.5),
        (f"{temp} secondary_heater out", f"{temp} flash_tank out", "higher", 3.5, 1.5, 1.5),
        (f"{temp} settler inside", f"{temp} clear_juice_tank inside", "higher", 2.0, 1.0, 1.5),
        (f"{temp} settler inside", f"{temp} settler mud", "higher", 1.2, 0.8, 1.5),
        (
            f"{temp} clear_juice_heater out",
            f"{temp} clear_juice_tank inside",
            "higher",
            12.0,
            5.0,
            1.0,
        ),
        (f"{temp} primary_heater out", f"{temp} liming_tank inside", "higher", 0.6, 0.8, 1.0),
        (
            f"{temp} first_evaporator inside",
            f"{temp} clear_juice_heater out",
            "higher",
            3.0,
            3.0,
            0.7,
        ),
        (feed, mixed, "more", 0.05, 0.04, 1.0),
        (feed, clear, "more", 0.12, 0.07, 1.0),
        (feed, "flow settler mud", "more", 2.2, 0.5, 0.5),
        ("flow settler mud", "flow filtrate", "more", 0.2, 0.5, 0.5),
    )
    return tuple(Relation(number[a], number[b], *rest) for a, b, *rest in table)  # type: ignore[arg-type]


RELATIONS: Final = _relations()


def kept_by(
    relation: Relation, one: int, two: int, levels: tuple[float, float], lags: Lags
) -> float:
    """Log-odds that two tags keep a relation rather than stand the other way round.

    Parameters
    ----------
    relation : Relation
    one, two : int
        Numbers of the tags at its first and second point.
    levels : (float, float)
        Their usual levels in inside units; NaN where unknown.
    lags : Lags
    """
    if relation.kind in ("higher", "more"):
        return _by_level(relation, levels)
    lag = lags.between(one, two)
    if relation.kind == "together":
        return relation.weight if lag.agreement >= relation.low and abs(lag.minutes) <= 3 else 0.0
    if lag.agreement < 0.08 or lag.minutes == 0.0:
        return 0.0
    if relation.low <= lag.minutes <= relation.high:
        return relation.weight
    return -relation.weight if lag.minutes < 0.0 else 0.0


def _by_level(relation: Relation, levels: tuple[float, float]) -> float:
    one, two = levels
    if not (math.isfinite(one) and math.isfinite(two)):
        return 0.0
    if relation.kind == "more":
        if one <= 0.0 or two <= 0.0:
            return 0.0
        gap = math.log(one / two)
    else:
        gap = one - two
    away = (gap - relation.low) / relation.high
    # Above the usual gap little speaks against it; below, the order itself is in doubt.
    return relation.weight * max(-(min(away, 0.0) ** 2) / 4.0 + 0.25, -1.5)
