"""Places all tags at once: no point taken twice, names, levels and relations weighed together."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from pipeline.places.lags import Lags
from pipeline.places.points import POINTS
from pipeline.places.relations import RELATIONS, Relation, kept_by

Floats = NDArray[np.float64]

#: What staying without a place is worth: a wrong place is worse than none (estimate).
UNPLACED: Final = 0.5
#: A tag that fits a point worse than this is not tried there.
_HOPELESS: Final = -6.0
_ROUNDS: Final = 30
#: Weight of standing where the other tags of an area stand, and how many of them it takes.
_SAME_AREA: Final = 2.0
_LEAST_NEIGHBOURS: Final = 2


@dataclass(slots=True)
class Arrangement:
    """Tags at points, and how good the whole is.

    Parameters
    ----------
    scores : ndarray, shape (tags, points)
        How well each tag fits each point by itself.
    levels : callable
        Usual level of a tag at a point in the inside unit.
    lags : Lags
    """

    scores: Floats
    levels: Callable[[int, int], float]
    lags: Lags
    at: dict[int, int] = field(default_factory=dict)
    _relations: dict[int, list[Relation]] = field(default_factory=lambda: defaultdict(list))
    _kept: dict[tuple[int, int, int], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Sort the relations by their points."""
        for relation in RELATIONS:
            self._relations[relation.one].append(relation)
            self._relations[relation.two].append(relation)

    def kept(self, number: int, relation: Relation, one: int, two: int) -> float:
        """How well two tags keep a relation."""
        key = (number, one, two)
        if key not in self._kept:
            levels = (self.levels(one, relation.one), self.levels(two, relation.two))
            self._kept[key] = kept_by(relation, one, two, levels, self.lags)
        return self._kept[key]

    def total(self, at: dict[int, int]) -> float:
        """How good an arrangement is as a whole; `at` gives the tag of each point."""
        whole = sum(float(self.scores[tag, point]) - UNPLACED for point, tag in at.items())
        for number, relation in enumerate(RELATIONS):
            one, two = at.get(relation.one), at.get(relation.two)
            if one is not None and two is not None:
                whole += self.kept(number, relation, one, two)
        return whole

    def improve(self) -> None:
        """Begin with the best of each by itself, then change what makes the whole better."""
        self.at = _by_itself(self.scores)
        best = self.total(self.at)
        for _ in range(_ROUNDS):
            better = max(
                ((self.total(other), n) for n, other in enumerate(self.changes())),
                key=lambda found: (found[0], -found[1]),
                default=(best, 0),
            )
            if better[0] <= best + 1e-9:
                return
            best = better[0]
            self.at = next(other for n, other in enumerate(self.changes()) if n == better[1])

    def changes(self) -> Iterator[dict[int, int]]:
        """All arrangements one change away, in a fixed order."""
        held = {tag: point for point, tag in self.at.items()}
        for point, tag in sorted(self.at.items()):
            yield {p: t for p, t in self.at.items() if p != point}
            for other_point, other in sorted(self.at.items()):
                if other_point > point and self._fits(tag, other_point, other, point):
                    yield self.at | {point: other, other_point: tag}
        for point in range(self.scores.shape[1]):
            for tag in np.flatnonzero(self.scores[:, point] > _HOPELESS).tolist():
                if self.at.get(point) == tag:
                    continue
                moved = {p: t for p, t in self.at.items() if p != held.get(tag)}
                yield moved | {point: tag}

    def _fits(self, tag: int, there: int, other: int, here: int) -> bool:
        return min(self.scores[tag, there], self.scores[other, here]) > 3.0 * _HOPELESS

    def margins(self, twins: Callable[[int, int, int], bool]) -> dict[int, float]:
        """By how much each tag's place beats the best arrangement in which it stands elsewhere.

        Parameters
        ----------
        twins : callable
            Whether two tags measure the same at a point: the one in the other's place is no doubt.
        """
        best = self.total(self.at)
        found = dict.fromkeys(self.at.values(), 12.0)
        for other in self.changes():
            lost = best - self.total(other)
            for point, tag in self.at.items():
                now = other.get(point)
                if now == tag or (now is not None and twins(tag, now, point)):
                    continue
                found[tag] = min(found[tag], lost)
        return found


def _by_itself(scores: Floats) -> dict[int, int]:
    """Best tag of each point, no tag twice, by their own scores alone."""
    tags, points = scores.shape
    costs = np.full((tags, points + tags), -UNPLACED)
    costs[:, :points] = -np.where(np.isfinite(scores), scores, -1e6)
    rows, columns = linear_sum_assignment(costs)
    pairs = zip(rows.tolist(), columns.tolist(), strict=True)
    return {column: row for row, column in pairs if column < points}


def by_area(areas: Sequence[str], at: dict[int, int]) -> Floats:
    """What speaks for a place because most other tags of the same area stand there.

    Parameters
    ----------
    areas : sequence of str
        Of each tag; empty for a tag without one.
    at : dict of int to int
        Tag of each point so far.
    """
    bonus = np.zeros((len(areas), len(POINTS)))
    places = {tag: POINTS[point].place for point, tag in at.items()}
    for row, area in enumerate(areas):
        near = Counter(
            place for tag, place in places.items() if area and tag != row and areas[tag] == area
        )
        if near.total() < _LEAST_NEIGHBOURS:
            continue
        for column, point in enumerate(POINTS):
            bonus[row, column] = _SAME_AREA * near[point.place] / near.total()
    return bonus


def best_total(scores: Floats) -> float:
    """How good the best arrangement is by the tags' own scores alone."""
    return math.fsum(float(scores[t, p]) - UNPLACED for p, t in _by_itself(scores).items())


def feed_candidates(flows: Sequence[float]) -> list[float]:
    """Flows that can be that of the juice [m3/h], each once, rounded to a few per cent."""
    found: dict[int, float] = {}
    for flow in sorted(flows):
        if 10.0 <= flow <= 4000.0:
            found.setdefault(round(math.log(flow) / 0.02), flow)
    return list(found.values())
