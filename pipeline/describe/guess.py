"""What each tag measures and where: the best joint guess, with its reason and how sure it is.

Every tag is weighed against every measuring point a station may have, by its unit, its level, its
name and its neighbours of the same area; then all are placed at once, no point taken twice.
Levels are common practice, weights are estimates; a person confirms.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.optimize import linear_sum_assignment

from features.base import Interpolation, Port, Quantity
from pipeline.describe.look import TagLook
from pipeline.describe.names import MUD_WORDS, NameParts, named_places, named_quantities, parts_of
from pipeline.mill import signal_change

Sure = Literal["likely", "perhaps", "unsure"]
Role = Literal["measured", "second", "set_point"]


@dataclass(frozen=True, slots=True)
class Point:
    """A measuring point: what, where, and the level usual there.

    ``share`` levels are relative to the juice flow; widths are standard deviations, of the
    logarithm for shares and for quantities that spread over decades.
    """

    quantity: Quantity
    place: str
    port: Port
    level: float
    width: float
    share: bool = False
    rare: float = 0.0


POINTS: Final = (
    Point("flow", "mixed_juice", "", 0.99, 0.04, share=True),
    Point("flow", "settler", "in", 1.01, 0.04, share=True),
    Point("flow", "clear_juice_tank", "out", 0.90, 0.05, share=True),
    Point("flow", "settler", "mud", 0.09, 0.5, share=True),
    Point("imbibition_flow", "mill", "", 0.28, 0.35, share=True),
    Point("lime_flow", "liming_tank", "in", 10.0, 0.6, share=True),
    Point("flocculant_flow", "settler", "in", 3.4, 0.5, share=True),
    Point("cane_rate", "mill", "", 250.0, 200.0),
    Point("temperature", "mixed_juice", "", 36.0, 8.0),
    Point("temperature", "primary_heater", "out", 72.0, 6.0),
    Point("temperature", "liming_tank", "inside", 72.0, 8.0),
    Point("temperature", "secondary_heater", "out", 103.5, 2.0),
    Point("temperature", "flash_tank", "out", 100.4, 1.0),
    Point("temperature", "settler", "inside", 97.3, 1.2),
    Point("temperature", "settler", "mud", 96.0, 1.5, rare=0.5),
    Point("temperature", "clear_juice_tank", "inside", 94.8, 1.5),
    Point("temperature", "clear_juice_heater", "out", 109.5, 2.5),
    Point("temperature", "first_evaporator", "inside", 113.5, 2.5),
    Point("ph", "mixed_juice", "", 5.2, 0.3),
    Point("ph", "liming_tank", "out", 7.6, 0.35),
    Point("ph", "settler", "out", 6.95, 0.25),
    Point("brix", "mixed_juice", "", 14.5, 2.0),
    Point("brix", "first_evaporator", "out", 21.0, 4.0),
    Point("turbidity", "settler", "out", 30.0, 60.0),
    Point("conductivity", "settler", "out", 4.0, 3.0),
    Point("steam_pressure", "secondary_heater", "", 165.0, 70.0),
    Point("level", "settler", "", 99.5, 1.5),
    Point("level", "liming_tank", "", 70.0, 18.0),
    Point("level", "clear_juice_tank", "", 40.0, 18.0),
    Point("level", "first_evaporator", "", 58.0, 15.0),
    Point("mud_level", "settler", "mud", 45.0, 18.0, rare=1.0),
)
#: Spread of minutes that a quantity shows in ordinary running at most, 1st to 99th percentile.
_CALM: Final[dict[str, float]] = {"brix": 9.0, "ph": 4.0}
#: Weights (estimates), in the same natural-logarithm units as a level's misfit.
_NAMED_QUANTITY, _CONTRADICTED = 3.0, -6.0
_NAMED_PLACE, _ELSEWHERE, _SAME_AREA = 4.0, -2.0, 3.0
_UNIT_UNKNOWN = -0.5
_WORST_LEVEL = -8.0
_UNPLACED = -4.0
_ROUNDS = 4


@dataclass(frozen=True, slots=True)
class Guess:
    """Guess of one tag: its point (None for unknown), how sure, and why.

    Attributes
    ----------
    tag : TagLook
    point : Point or None
    sure : {"likely", "perhaps", "unsure"}
    why : str
    role : {"measured", "second", "set_point"}
        It counts there; it is the second instrument for what the tag `of` measures; it is what
        the tag `of` is held at.
    of : str
        That other tag; empty for a tag that counts.
    interpolation : {"linear", "step"}
        How its value runs between two readings.
    run : str
        Why so.
    """

    tag: TagLook
    point: Point | None
    sure: Sure
    why: str
    role: Role = "measured"
    of: str = ""
    interpolation: Interpolation = "linear"
    run: str = ""


def guess_tags(tags: Sequence[TagLook]) -> list[Guess]:
    """Place all tags at once.

    Parameters
    ----------
    tags : sequence of TagLook

    Returns
    -------
    list of Guess
        In the order given; a tag that fits no free point has none.
    """
    if not tags:
        return []
    names = [parts_of(tag.name) for tag in tags]
    feed = _feed(tags, names)
    own = np.array(
        [[_score(t, n, p, feed) for p in POINTS] for t, n in zip(tags, names, strict=True)]
    )
    score = own.copy()
    for _ in range(_ROUNDS):
        placed = _place(score)
        score = own + _by_area(names, placed)
    placed = _by_lag(tags, names, _place(score))
    return [
        _guess(tag, name, score[row], placed[row], feed)
        for row, (tag, name) in enumerate(zip(tags, names, strict=True))
    ]


def inside_value(tag: TagLook, quantity: Quantity, value: float) -> float:
    """Value in the inside unit of a quantity; as exported when the unit is unknown."""
    change = signal_change(quantity, tag.unit) if tag.unit else None
    return value if change is None else change.apply(value)


def _feed(tags: Sequence[TagLook], names: Sequence[NameParts]) -> float:
    """Largest flow that can be the juice [m3/h]; NaN without one."""
    flows = [
        inside_value(tag, "flow", tag.middle)
        for tag, name in zip(tags, names, strict=True)
        if (tag.unit and signal_change("flow", tag.unit) is not None)
        or (not tag.unit and "flow" in named_quantities(name)[0])
    ]
    juice = [flow for flow in flows if 20.0 <= flow <= 2000.0]
    # Juice is metered more than once along the train; a dose or a water is not.
    twice = [f for f in juice if sum(0.85 * f <= other <= f for other in juice) > 1]
    return max(twice or juice, default=float("nan"))


def _score(tag: TagLook, name: NameParts, point: Point, feed: float) -> float:
    """How well a tag fits a point; minus infinity where its unit forbids it."""
    score = -point.rare
    if tag.unit:
        if signal_change(point.quantity, tag.unit) is None:
            return -math.inf
    else:
        score += _UNIT_UNKNOWN
    text, _ = named_quantities(name)
    if text:
        score += _NAMED_QUANTITY if point.quantity in text else _CONTRADICTED
    calm = _CALM.get(point.quantity)
    if calm is not None and tag.high - tag.low > calm:
        score -= 4.0
    places = named_places(name)
    if places:
        score += _NAMED_PLACE if point.place in places else _ELSEWHERE
    if name.words & MUD_WORDS and point.port != "mud":
        score -= 2.0
    return score + max(_level_fit(tag, point, feed), _WORST_LEVEL)


def _level_fit(tag: TagLook, point: Point, feed: float) -> float:
    """Log-likelihood of a tag's usual level at a point, 0 at best."""
    level = inside_value(tag, point.quantity, tag.middle)
    if not point.share:
        return -0.5 * ((level - point.level) / point.width) ** 2
    if not math.isfinite(feed) or level <= 0.0:
        return _WORST_LEVEL / 2.0
    return -0.5 * (math.log(level / feed / point.level) / point.width) ** 2


def _place(score: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> list[int | None]:
    """Point of each tag, no point twice; a tag may stay unplaced at a price."""
    n, m = score.shape
    costs = np.full((n, m + n), -_UNPLACED)
    costs[:, :m] = -np.where(np.isfinite(score), score, -1e6)
    rows, columns = linear_sum_assignment(costs)
    found: list[int | None] = [None] * n
    for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
        found[row] = column if column < m else None
    return found


def _by_area(
    names: Sequence[NameParts], placed: Sequence[int | None]
) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Bonus of points at the place where most other tags of the same area stand."""
    bonus = np.zeros((len(names), len(POINTS)))
    for row, name in enumerate(names):
        if not name.area:
            continue
        near = Counter(
            POINTS[column].place
            for other, column in enumerate(placed)
            if column is not None and other != row and names[other].area == name.area
        )
        total = sum(near.values())
        for column, point in enumerate(POINTS):
            bonus[row, column] = _SAME_AREA * near[point.place] / total if total else 0.0
    return bonus


def _by_lag(
    tags: Sequence[TagLook], names: Sequence[NameParts], placed: list[int | None]
) -> list[int | None]:
    """Swap neighbours of equal level whose changes come in the wrong order.

    Only where no name says otherwise: what a heater does, the tank behind it does later.
    """
    at = {POINTS[c]: row for row, c in enumerate(placed) if c is not None}
    for quantity, first, second in (
        ("temperature", ("primary_heater", "out"), ("liming_tank", "inside")),
        ("flow", ("mixed_juice", ""), ("settler", "in")),
    ):
        pair = [
            next((p for p in at if (p.quantity, p.place, p.port) == (quantity, *spot)), None)
            for spot in (first, second)
        ]
        if pair[0] is None or pair[1] is None:
            continue
        one, two = at[pair[0]], at[pair[1]]
        if named_places(names[one]) or named_places(names[two]):
            continue
        if lag_min(tags[one], tags[two]) < 0.0:
            placed[one], placed[two] = placed[two], placed[one]
    return placed


def lag_min(one: TagLook, two: TagLook, longest: int = 40) -> float:
    """How much later the second tag changes than the first [min]; 0 where they do not agree."""
    start = max(one.minute[0], two.minute[0])
    end = min(one.minute[-1], two.minute[-1], start + 14 * 1440)
    if end - start < 12 * 60:
        return 0.0
    axis = np.arange(start, end)
    first, second = (np.interp(axis, t.minute, t.value) for t in (one, two))
    first, second = (
        np.diff(np.convolve(x, np.ones(5) / 5.0, "valid"), n=1) for x in (first, second)
    )
    first, second = (np.clip((x - x.mean()) / (x.std() or 1.0), -4.0, 4.0) for x in (first, second))
    lags = np.arange(-longest, longest + 1)
    middle = slice(longest, len(first) - longest)
    agree = np.array([np.mean(first[middle] * np.roll(second, -k)[middle]) for k in lags])
    best = int(np.argmax(agree))
    return float(lags[best]) if agree[best] > 0.05 else 0.0


def _guess(
    tag: TagLook, name: NameParts, score: np.ndarray[tuple[int], np.dtype[np.float64]],
    column: int | None, feed: float,
) -> Guess:  # fmt: skip
    if column is None:
        return Guess(tag, None, "unsure", _unplaced_why(tag, name))
    point = POINTS[column]
    others = np.delete(score, column)
    margin = float(score[column] - others.max()) if np.isfinite(others).any() else 9.0
    sure: Sure = "unsure" if margin < 0.5 else "perhaps" if margin < 3.0 else "likely"
    if not tag.unit and sure == "likely" and not named_quantities(name)[0]:
        sure = "perhaps"
    return Guess(tag, point, sure, _why(tag, name, point, feed))


def _why(tag: TagLook, name: NameParts, point: Point, feed: float) -> str:
    text = []
    if tag.unit:
        text.append("unit")
    quantities, how = named_quantities(name)
    if point.quantity in quantities:
        text.append(how)
    word = named_places(name).get(point.place)
    if word is not None:
        text.append(f'"{word}" in the name')
    level = inside_value(tag, point.quantity, tag.middle)
    if point.share and math.isfinite(feed) and point.quantity in ("flow", "imbibition_flow"):
        text.append(f"{100.0 * level / feed:.0f} % of the largest flow")
    else:
        text.append(f"usual level {level:.3g}")
    return ", ".join(text)


def _unplaced_why(tag: TagLook, name: NameParts) -> str:
    text, _ = named_quantities(name)
    what = " or ".join(sorted(q.replace("_", " ") for q in text)) or "nothing known"
    return f"could be {what}, usual level {tag.middle:.3g}, but fits no free point of a station"
