"""How well each tag fits each measuring point: what its name says, its unit, its level.

All weights are natural logarithms of odds against "a tag from elsewhere in the factory", which
stands at zero; they are estimates.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.places.letters import quantities_of
from pipeline.places.look import TagLook
from pipeline.places.names import NameParts, parts_of
from pipeline.places.own_units import OwnUnit, has_unit, units_for
from pipeline.places.points import CALM, ELSEWHERE, LOGARITHMIC, POINTS, SPOKEN, Point
from pipeline.places.shape import Course, course_of
from pipeline.places.words import QUANTITIES, ROLES

Floats = NDArray[np.float64]

_SAYS_QUANTITY, _SAYS_OTHER = 2.5, -5.0
_LETTERS_FIT, _LETTERS_ELSE = 2.0, -5.0
#: A weight is of cane rather than of juice.
_WEIGHED = 1.0
_FOREIGN, _OUTSIDE, _WORST_FOREIGN = -4.0, -7.0, -10.0
_BEST_OWN = 6.0
#: Weight of a name's contradictions where words beside it speak of a place too.
_CRYPTIC = 0.6
#: A tag whose export says neither what it is nor its unit may be anything.
_NUMBERS_ALONE = -2.0
_FAT_TAIL: Final = 4.0
_WORST_LEVEL, _NO_FEED, _FLAT = -16.0, -1.0, -1.0
_CALM_BROKEN = -4.0
_SET_BY_HAND, _CONSTANT = -3.0, -1.5
_SIDES: Final = frozenset(("in", "out", "top", "bottom", "juice", "to", "primary", "secondary",
                           "tertiary", "dose"))  # fmt: skip
_DOSES: Final = ("lime_flow", "flocculant_flow")
#: Share of the tags with the same letters or the same role word, beyond which these say nothing.
_TOO_MANY = 0.5
#: Flows that a mill has in one unit, where its exports name none.
JUICE_FLOWS: Final = ("flow", "imbibition_flow")


@dataclass(frozen=True, slots=True)
class Seen:
    """A tag with all that is known of it before it is placed.

    Attributes
    ----------
    tag : TagLook
    name, words : NameParts
        What its name says, and what the words beside it say.
    course : Course
    lettered : tuple of str
        Quantities that its instrument letters allow; empty where these say nothing.
    roles : frozenset of str
        Roles that name or words give it, such as set-point.
    """

    tag: TagLook
    name: NameParts
    words: NameParts
    course: Course
    lettered: tuple[str, ...]
    roles: frozenset[str]


def seen_tags(tags: Sequence[TagLook]) -> list[Seen]:
    """Take names and courses of all tags apart; what every tag says, says nothing."""
    names = [parts_of(tag.name) for tag in tags]
    words = [parts_of(tag.words) for tag in tags]
    idle_letters = _idle_letters(tags, names)
    counted = Counter(role for n, w in zip(names, words, strict=True) for role in n.roles | w.roles)
    idle_roles = {role for role, n in counted.items() if n > max(_TOO_MANY * len(tags), 3)}
    found = []
    for tag, name, word in zip(tags, names, words, strict=True):
        letters = name.letters or word.letters
        lettered = () if letters[:1] in idle_letters else quantities_of(letters)
        roles = (name.roles | word.roles) - idle_roles - {"r_value"}
        found.append(Seen(tag, name, word, course_of(tag), lettered, frozenset(roles)))
    return found


def _idle_letters(tags: Sequence[TagLook], names: Sequence[NameParts]) -> set[str]:
    """First letters that cannot mean what ISA-5.1 says: the units of most such tags forbid it."""
    told, against = Counter[str](), Counter[str]()
    for tag, name in zip(tags, names, strict=True):
        first = name.letters[:1]
        if not first or not has_unit(tag):
            continue
        told[first] += 1
        allowed = quantities_of(name.letters)
        if allowed and not any(units_for(tag, q) for q in allowed):
            against[first] += 1
    return {first for first, n in told.items() if against[first] > _TOO_MANY * n}


def said_of(parts: NameParts, point: Point) -> float:
    """How strongly a text speaks for a point, or against it; 0 for a text that says nothing."""
    return max(_reading_says(reading, point) for reading in parts.readings)


def _reading_says(reading: frozenset[str], point: Point) -> float:
    score, own, foreign = 0.0, 0.0, 0.0
    spoken = reading & QUANTITIES
    if spoken:
        fits = any(q in SPOKEN[point.quantity] for q in spoken)
        score += _SAYS_QUANTITY if fits else _SAYS_OTHER
    for concept in reading - QUANTITIES - ROLES:
        if concept in point.own:
            own += point.own[concept]
        elif concept in point.sides:
            own += point.sides[concept]
        elif concept == "outside":
            foreign += _OUTSIDE
        elif concept not in _SIDES:
            foreign += _FOREIGN
    return score + min(own, _BEST_OWN) + max(foreign, _WORST_FOREIGN)


def speaks_of_place(parts: NameParts) -> bool:
    """Tell whether every reading of a text names some place or stream."""
    return all(r - QUANTITIES - ROLES - _SIDES for r in parts.readings)


def name_score(seen: Seen, point: Point) -> float:
    """What name, words beside it and instrument letters say of a point."""
    by_name, by_words = said_of(seen.name, point), said_of(seen.words, point)
    if by_name < 0.0 and speaks_of_place(seen.words):
        by_name *= _CRYPTIC
    score = by_name + by_words if by_name * by_words < 0.0 else _stronger(by_name, by_words)
    if seen.lettered:
        score += _LETTERS_FIT if point.quantity in seen.lettered else _LETTERS_ELSE
        score += _WEIGHED if point.quantity == seen.lettered[0] == "cane_rate" else 0.0
    return score


def _stronger(one: float, two: float) -> float:
    """Two texts that agree say little more than the stronger."""
    strong, weak = (one, two) if abs(one) >= abs(two) else (two, one)
    return strong + 0.3 * weak


def _away(point: Point, level: float) -> float:
    """How far a level lies from the usual one of a point, in widths; for shares, as of 1 m3/h."""
    if point.share:
        return math.log(level / point.level) / point.width if level > 0.0 else -math.inf
    if point.quantity in LOGARITHMIC:
        return (math.log(max(level, 1e-6)) - point.level) / point.width
    return (level - point.level) / point.width


def _spread_cost(seen: Seen, point: Point, own: OwnUnit) -> float:
    """What speaks against a tag that moves more than its quantity does in ordinary running."""
    calm = CALM.get(point.quantity)
    spread = (seen.tag.high - seen.tag.low) * abs(own.change.scale)
    return _CALM_BROKEN if calm is not None and spread > calm else 0.0


def shape_score(seen: Seen, point: Point) -> float:
    """What the shape of its course says against a tag at a point."""
    shape = seen.course.shape
    if shape in ("sum", "switch"):
        return -math.inf
    if shape == "steps":
        return _SET_BY_HAND if point.quantity in _DOSES else -math.inf
    return _CONSTANT if shape == "constant" else 0.0


class Physical:
    """What unit, level and shape say of each tag at each point, without names.

    Everything that does not hang on the juice flow is worked out once.
    """

    def __init__(self, seen: Sequence[Seen]) -> None:
        self.size = (len(seen), len(POINTS))
        rows: list[tuple[int, int, float, float, float]] = []
        self.units: list[str] = []
        for row, one in enumerate(seen):
            for column, point in enumerate(POINTS):
                shape = shape_score(one, point)
                if not math.isfinite(shape):
                    continue
                for own in units_for(one.tag, point.quantity):
                    away = math.nan if own.flat else _away(point, own.change.apply(one.tag.middle))
                    fixed = shape - point.rare + _spread_cost(one, point, own)
                    rows.append((row, column, away, fixed, own.cost))
                    self.units.append(own.unit)
        table = np.array(rows, dtype=np.float64).reshape(-1, 5)
        self.row, self.column = table[:, 0].astype(np.intp), table[:, 1].astype(np.intp)
        self.away, self.fixed, self.cost = table[:, 2], table[:, 3], table[:, 4]
        width = np.array([p.width for p in POINTS])
        even = np.array([ELSEWHERE[p.quantity] for p in POINTS])
        self.share = np.array([p.share for p in POINTS])[self.column]
        self.width = width[self.column]
        juice = np.array([p.quantity in JUICE_FLOWS for p in POINTS])[self.column]
        unsaid = np.array([not has_unit(one.tag) for one in seen], dtype=bool)[self.row]
        #: Entries of flows whose unit is guessed.
        self.guessed = juice & unsaid
        self.best = np.maximum(np.log(even / (width * math.sqrt(2.0 * math.pi))), 0.0)[self.column]

    def scores(self, feed: float, favoured: Mapping[str, str]) -> tuple[Floats, list[list[str]]]:
        """Scores, and the best unit of each tag at each point.

        Parameters
        ----------
        feed : float
            Juice flow [m3/h]; NaN where there is none.
        favoured : mapping of str to str
            Unit that tags without one have, by quantity, where that is known already.
        """
        known = math.isfinite(feed)
        away = self.away - np.where(self.share, math.log(feed) if known else 0.0, 0.0) / self.width
        fall = -0.5 * (_FAT_TAIL + 1.0) * np.log1p(away**2 / _FAT_TAIL)
        level = np.maximum(self.best + fall, _WORST_LEVEL)
        level = np.where(self.share & (not known), _NO_FEED, level)
        level = np.where(np.isnan(self.away), _FLAT, level)
        usual = np.array(
            [
                favoured.get(POINTS[c].quantity) == u
                for c, u in zip(self.column, self.units, strict=True)
            ],
            dtype=bool,
        )
        whole = level + self.fixed + np.where(usual, 0.0, self.cost)
        scores = np.full(self.size, -math.inf)
        units = [[""] * self.size[1] for _ in range(self.size[0])]
        for entry in np.argsort(whole, kind="stable").tolist():
            row, column = self.row[entry], self.column[entry]
            scores[row, column] = whole[entry]
            units[row][column] = self.units[entry]
        return scores, units

    def fits_with(self, feed: float, unit: str) -> Floats:
        """Scores of the points whose level is a share of a juice flow, for trying flows.

        Parameters
        ----------
        feed : float
            Juice flow [m3/h].
        unit : str
            Unit of all flows of juice and water whose export names none.
        """
        away = self.away - math.log(feed) / self.width
        fall = -0.5 * (_FAT_TAIL + 1.0) * np.log1p(away**2 / _FAT_TAIL)
        cost = np.where(self.guessed, 0.0, self.cost)
        whole = np.maximum(self.best + fall, _WORST_LEVEL) + self.fixed + cost
        scores = np.full(self.size, -math.inf)
        mine = self.share & ~np.isnan(self.away)
        mine &= ~self.guessed | np.array([own == unit for own in self.units], dtype=bool)
        np.maximum.at(scores, (self.row[mine], self.column[mine]), whole[mine])
        return scores


def named_scores(seen: Sequence[Seen]) -> Floats:
    """What names, words and letters say of each tag at each point."""
    found = np.array([[name_score(one, point) for point in POINTS] for one in seen])
    for row, one in enumerate(seen):
        if not has_unit(one.tag) and found[row].max() <= 0.0:
            found[row] += _NUMBERS_ALONE
    return found
