"""Two instruments for one thing: which of them counts, and which stands beside."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

import numpy as np

from features.base import Quantity
from pipeline.places.evidence import Seen
from pipeline.places.lags import Lags
from pipeline.places.own_units import inside_value
from pipeline.places.points import Point
from pipeline.places.spelling import folded

#: How far two instruments for one thing lie apart at most (inside unit; share for flows), and how
#: well their changes agree at least; estimates.
_APART: Final[dict[str, float]] = {
    "temperature": 2.5, "ph": 0.4, "brix": 1.0, "level": 6.0, "mud_level": 10.0,
    "steam_pressure": 12.0, "turbidity": 12.0, "conductivity": 0.8,
}  # fmt: skip
_APART_SHARE: Final = 0.06
_AGREEMENT: Final = 0.35
#: Agreement that is enough where names differ by a number or a letter only.
_AGREEMENT_NAMED: Final = 0.06
#: What counts instruments at the end of a name: "-2", " B", or a letter behind a number.
_COUNTED: Final = re.compile(r"(?<=[\da-z)])[\s_.\-]*(?:(?<=\d)[a-c]|[\s_.\-](?:[a-c]|\d|ii|i))$")
_JOINED: Final = re.compile(r"(?<=[a-z])(?:(?<=[a-z]{3})[a-c]|[1-9])$")


def are_twins(
    one: int, two: int, point: Point, seen: Sequence[Seen], lags: Lags, units: tuple[str, str]
) -> bool:
    """Tell whether two tags measure the same at a point: their levels and movements agree.

    Parameters
    ----------
    one, two : int
    point : Point
    seen : sequence of Seen
    lags : Lags
    units : (str, str)
        Their units at the point, where the exports name none.
    """
    first, second = seen[one].tag, seen[two].tag
    levels = [
        inside_value(tag, point.quantity, tag.middle, unit)
        for tag, unit in zip((first, second), units, strict=True)
    ]
    named = same_but_number(first.name, second.name)
    if not _near(point.quantity, levels[0], levels[1], 2.0 if named else 1.0):
        return False
    lag = lags.between(one, two)
    enough = _AGREEMENT_NAMED if named else _AGREEMENT
    return lag.at_once >= enough and abs(lag.minutes) <= 2.0 and lag.at_once > 0.8 * lag.agreement


def _near(quantity: Quantity, one: float, two: float, slack: float) -> bool:
    if quantity in _APART:
        return abs(one - two) <= slack * _APART[quantity]
    return abs(one - two) <= slack * _APART_SHARE * max(abs(one), abs(two))


def same_but_number(one: str, two: str) -> bool:
    """Tell whether two names differ by a number or a last letter only, as AI212A and B."""
    return one != two and bare_name(one) == bare_name(two)


def bare_name(name: str) -> str:
    """A name without the letter, or the single number behind a word, that counts."""
    plain = folded(name)
    bare = _COUNTED.sub("", plain)
    if bare == plain and len(plain) > 4:
        # A letter or number joined to a word: "CJpHB", "JugoClaro2"; no number of an instrument.
        bare = _JOINED.sub("", plain)
    return re.sub(r"[\W_]+", " ", bare).strip()


def better_of(one: Seen, two: Seen) -> bool:
    """Tell whether the first of two instruments is the better, or as good and first by name."""
    bad_one, bad_two = (s.tag.bad / max(s.tag.readings, 1) for s in (one, two))
    if abs(bad_one - bad_two) > 0.02:
        return bad_one < bad_two
    move_one, move_two = (_movement(s) for s in (one, two))
    if max(move_one, move_two) > 1.5 * min(move_one, move_two):
        return move_one > move_two
    return one.tag.name <= two.tag.name


def _movement(seen: Seen) -> float:
    """How far a tag moves, relative to where it is: a dead probe hardly does."""
    low, high = np.quantile(seen.tag.value, [0.05, 0.95])
    return float(high - low) / max(abs(seen.tag.middle), 1e-9)
