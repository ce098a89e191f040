"""What each tag measures and where: the best joint guess, with its reason and how sure it is.

Every tag is weighed against every measuring point a station may have, by its name, its unit, its
level and its course; then all are placed at once, no point taken twice, with what holds between
points: delays, what moves together, what lies higher. What stays below a stated confidence is left
out: a wrong place is worse than none. Weights are estimates; a person confirms.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from features.base import Interpolation
from pipeline.places.arrange import Arrangement, best_total, by_area, feed_candidates
from pipeline.places.doubts import Doubt, doubts_of
from pipeline.places.evidence import Physical, named_scores, seen_tags
from pipeline.places.lags import Lags
from pipeline.places.look import TagLook
from pipeline.places.own_units import GUESSED, has_unit, inside_value, units_for
from pipeline.places.points import POINTS, Point
from pipeline.places.reasons import no_measurement_why, placed_why, unplaced_why
from pipeline.places.recorder import run_of
from pipeline.places.second import are_twins, bare_name, better_of
from pipeline.places.set_points import held_against

Sure = Literal["likely", "perhaps", "unsure"]
Role = Literal["measured", "second", "set_point"]
Floats = NDArray[np.float64]

#: Margin, as the logarithm of odds, below which a place is not given at all, and from which it is
#: called likely (estimates, by invented mills).
_LEAST_MARGIN: Final = 0.8
_LIKELY_MARGIN: Final = 3.0
#: Confidence from a margin: the evidence is not quite independent.
_TEMPER: Final = 1.5
#: A second instrument must fit its point by itself no worse than this.
_SECOND_FITS: Final = 0.0
_JUICE: Final = ("mixed_juice", "settler", "clear_juice_tank")


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
    confidence : float
        Chance that the place is right, 0 to 1 (estimate); 0 without a place.
    unit : str
        Unit as exported, or the one guessed from the level where the export names none; empty
        where there is neither.
    """

    tag: TagLook
    point: Point | None
    sure: Sure
    why: str
    role: Role = "measured"
    of: str = ""
    interpolation: Interpolation = "linear"
    run: str = ""
    confidence: float = 0.0
    unit: str = ""


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
    return _Placing(tags).guesses() if tags else []


class _Placing:
    """One run over all tags of a mill."""

    def __init__(self, tags: Sequence[TagLook]) -> None:
        self.seen = seen_tags(tags)
        self.lags = Lags(tags)
        self.named = named_scores(self.seen)
        # What is no measurement takes part in nothing but the search for what it belongs to.
        self.idle = [no_measurement_why(one) for one in self.seen]
        self.evidence = Physical(self.seen)
        self.feed = self._best_feed()
        self.physical, self.units = self._by_units()
        self.scores = self._whole(self.physical)
        alone = self.scores.copy()
        alone[self._named_seconds()] = -math.inf
        self.arrangement = Arrangement(alone, self._level, self.lags)
        self.arrangement.improve()
        alone += by_area([one.name.area for one in self.seen], self.arrangement.at)
        self.arrangement.improve()
        self.doubts: dict[int, Doubt] = doubts_of(
            self.arrangement, self.physical, self.named, [s.tag.name for s in self.seen]
        )
        self.placed = {tag: point for point, tag in self.arrangement.at.items()}
        self.margins = self.arrangement.margins(self._twins)

    def _whole(self, physical: Floats) -> Floats:
        whole = physical + self.named
        whole[[row for row, idle in enumerate(self.idle) if idle]] = -math.inf
        return whole

    def _best_feed(self) -> float:
        """Juice flow [m3/h] with which all flows fit their points best; NaN without one.

        Flows whose export names no unit have one for the mill, tried in turn.
        """
        share = [n for n, point in enumerate(POINTS) if point.share]
        unsaid = any(not has_unit(one.tag) for one in self.seen)
        best, found = -math.inf, math.nan
        for unit, cost in GUESSED["flow"] if unsaid else (("", 0.0),):
            flows = [
                own.change.apply(one.tag.middle)
                for one, idle in zip(self.seen, self.idle, strict=True)
                for own in ([] if idle else units_for(one.tag, "flow"))
                if has_unit(one.tag) or own.unit == unit
            ]
            for feed in feed_candidates(flows):
                scores = self._whole(self.evidence.fits_with(feed, unit))
                total = best_total(scores[:, share]) + cost
                if total > best:
                    best, found = total, feed
        return found

    def _by_units(self) -> tuple[Floats, list[list[str]]]:
        """Scores of unit and level; where units are not named, a mill has one for all of a kind."""
        physical, units = self.evidence.scores(self.feed, {})
        first = Arrangement(self._whole(physical), lambda *_: math.nan, self.lags)
        first.improve()
        counted = Counter(
            (POINTS[point].quantity, units[tag][point])
            for point, tag in first.at.items()
            if not has_unit(self.seen[tag].tag)
        )
        favoured: dict[str, str] = {}
        for (quantity, unit), _ in sorted(counted.items(), key=lambda item: (item[1], item[0])):
            favoured[quantity] = unit
        return self.evidence.scores(self.feed, favoured)

    def _named_seconds(self) -> list[int]:
        """Tags that stand beside a better one, by their names, and do as it does."""
        found: list[int] = []
        groups = defaultdict(list)
        for row, one in enumerate(self.seen):
            if not self.idle[row] and np.isfinite(self.scores[row]).any():
                groups[bare_name(one.tag.name)].append(row)
        for rows in groups.values():
            first = rows[0]
            for row in rows[1:]:
                point = int(np.argmax(self.scores[first] + self.scores[row]))
                if self._twins(first, row, point):
                    second = row
                    if better_of(self.seen[row], self.seen[first]):
                        first, second = row, first
                    found.append(second)
        return found

    def _level(self, tag: int, point: int) -> float:
        look = self.seen[tag].tag
        unit = self.units[tag][point]
        return inside_value(look, POINTS[point].quantity, look.middle, unit) if unit else math.nan

    def _twins(self, one: int, two: int, point: int) -> bool:
        units = (self.units[one][point], self.units[two][point])
        return bool(all(units)) and are_twins(one, two, POINTS[point], self.seen, self.lags, units)

    def guesses(self) -> list[Guess]:
        """Guess of every tag, in order."""
        kept = {
            tag: point
            for tag, point in self.placed.items()
            if self.margins[tag] >= _LEAST_MARGIN
            or (tag in self.doubts and self.doubts[tag].weighed)
        }
        found = [self._measured(row, kept.get(row)) for row in range(len(self.seen))]
        found = self._with_seconds(found, kept)
        found = [self._set_point(row, guess, kept) for row, guess in enumerate(found)]
        runs = run_of([one.tag for one in self.seen], [g.point for g in found])
        return [
            replace(guess, interpolation=run[0], run=run[1])
            for guess, run in zip(found, runs, strict=True)
        ]

    def _measured(self, row: int, column: int | None) -> Guess:
        one = self.seen[row]
        if column is None:
            maybe = self.placed.get(row)
            why = self.idle[row] or unplaced_why(
                one,
                POINTS[maybe] if maybe is not None else None,
                self.named[row],
                self.physical[row],
            )
            return Guess(one.tag, None, "unsure", why, unit=one.tag.unit)
        margin = self.margins[row]
        sure: Sure = "likely" if margin >= _LIKELY_MARGIN else "perhaps"
        doubt = self.doubts.get(row)
        why = placed_why(one, POINTS[column], self._level(row, column), self.feed,
                         self.arrangement, row, [s.tag.name for s in self.seen])  # fmt: skip
        if doubt is not None:
            sure, why = "unsure", f"{doubt.words}; {why}"
        elif margin < 1.5:
            sure = "unsure"
        unit = self.units[row][column]
        confidence = 1.0 / (1.0 + math.exp(-max(margin, 0.0) / _TEMPER))
        return Guess(one.tag, POINTS[column], sure, why, confidence=confidence, unit=unit)

    def _with_seconds(self, found: list[Guess], kept: dict[int, int]) -> list[Guess]:
        """Second instruments beside those that count, and the better of two in front."""
        found = list(found)
        held = {point: tag for tag, point in kept.items()}
        for row, guess in enumerate(found):
            if guess.point is not None or self.idle[row]:
                continue
            fits = [
                (float(self.lags.between(row, tag).at_once), point)
                for point, tag in sorted(held.items())
                if self.scores[row, point] > _SECOND_FITS and self._twins(row, tag, point)
            ]
            if not fits:
                continue
            _, point = max(fits)
            first, second = held[point], row
            if first not in self.doubts and better_of(self.seen[row], self.seen[first]):
                first, second = row, first
                found[first] = replace(
                    found[second], tag=self.seen[first].tag, unit=self.units[first][point]
                )
                held[point] = first
            agree = self.lags.between(first, second).at_once
            why = (
                f"shows and does what {self.seen[first].tag.name} does "
                f"(changes agree to {100 * agree:.0f} %): a second instrument there"
            )
            found[second] = replace(
                found[first], tag=self.seen[second].tag, why=why, role="second",
                of=self.seen[first].tag.name, unit=self.units[second][point],
            )  # fmt: skip
        return found

    def _set_point(self, row: int, guess: Guess, kept: dict[int, int]) -> Guess:
        """A set-point with the measurement it belongs to; other guesses as they are."""
        one = self.seen[row]
        named = "r_set_point" in one.roles
        if guess.point is not None or not (named or one.course.shape in ("steps", "constant")):
            return guess
        if one.roles - {"r_set_point"}:
            return guess
        other, says = held_against(row, self.seen, sorted(kept))
        if other is None or (one.course.shape == "constant" and not named):
            return guess
        why = f"a value set by hand, no measurement: {says}"
        return replace(
            guess, point=POINTS[kept[other]], role="set_point", of=self.seen[other].tag.name,
            sure="likely" if named else "perhaps", why=why,
            confidence=0.9 if named else 0.7, unit=one.tag.unit or self.units[other][kept[other]],
        )  # fmt: skip
