"""Samples as linearised equations in what the feed brought and what is not known of the mill."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from features.base import Station
from models.base import Array
from models.level.pattern import Pattern
from models.level.priors import (
    DESTROYED_LOG_SD,
    POL_OFF,
    RS_OFF,
    RS_OFF_MIXED,
    WALK_A_ROOT_WEEK,
    believed_of,
)
from models.level.samples import Kind, Samples

#: Knots of what the feed brought, and of the multiplier [h].
KNOT_H: Final = 4.0
WEEK_H: Final = 168.0
#: Standard error of the first knot of what the feed brought, as a share of its level, and for pol
#: [% of sucrose] (estimate).
_FIRST_SHARE, _FIRST_POL_PCT = 0.5, 5.0
_LEAST_LEVEL_PCT: Final = 0.5


@dataclass(frozen=True)
class Layout:
    """Where each unknown stands in its vector.

    Attributes
    ----------
    kinds : tuple of str
        Kinds of samples; each has a course of its own.
    knots, weeks : int
        Knots of a course, and of the multiplier.
    zones : tuple of str
        Zones with a standing error of their own.
    points : tuple of (str, str)
        Kind and place whose method may be off.
    """

    kinds: tuple[Kind, ...]
    knots: int
    weeks: int
    zones: tuple[str, ...]
    points: tuple[tuple[Kind, str], ...]

    @property
    def courses(self) -> int:
        """Unknowns of all courses."""
        return len(self.kinds) * self.knots

    @property
    def size(self) -> int:
        """Unknowns of the mill: multiplier, zones, slope, methods, destruction."""
        return self.weeks + len(self.zones) + 1 + len(self.points) + 1

    @property
    def zone_at(self) -> int:
        """Place of the first zone."""
        return self.weeks

    @property
    def slope_at(self) -> int:
        """Place of the pH slope, in standard errors."""
        return self.weeks + len(self.zones)

    @property
    def point_at(self) -> int:
        """Place of the first point."""
        return self.slope_at + 1

    @property
    def destroyed_at(self) -> int:
        """Place of the destruction of reducing sugars, as a logarithm."""
        return self.size - 1


@dataclass(frozen=True)
class Linear:
    """Equations around some values of the unknowns.

    Attributes
    ----------
    by_course : ndarray, shape (s,)
        Stored values of a matrix of shape (m, courses), see `pattern`.
    by_mill : ndarray, shape (m, size)
    predicted_pct : ndarray, shape (m,)
        What the samples would be at these values.
    pattern : Pattern
        Their places.
    """

    by_course: Array
    by_mill: Array
    predicted_pct: Array
    pattern: Pattern


class Equations:
    """All samples, ready to be linearised.

    Parameters
    ----------
    samples : sequence of Samples
    station : Station
    zones : sequence of str
        Zones that lose sucrose, in flow order.
    hours : float
        Length of the season [h].
    """

    def __init__(
        self, samples: Sequence[Samples], station: Station, zones: Sequence[str], hours: float
    ) -> None:
        kinds = tuple(dict.fromkeys(s.kind for s in samples))
        points = tuple(dict.fromkeys((s.kind, s.place) for s in samples))
        self.layout = Layout(
            kinds,
            int(hours // KNOT_H) + 2,
            max(math.ceil(hours / WEEK_H), 1) + 1,
            tuple(zones),
            points,
        )
        self.samples, self._station = tuple(samples), station
        self._believed = [believed_of(station, zone) for zone in zones]
        none = [np.empty(0)]
        self.seen_pct = np.concatenate(none + [s.seen_pct for s in samples])
        self.sd_pct = np.concatenate(none + [s.sd_pct for s in samples])
        self.level_pct = {
            kind: max(
                float(np.median(np.concatenate([s.seen_pct for s in samples if s.kind == kind]))),
                _LEAST_LEVEL_PCT if kind == "rs" else -math.inf,
            )
            for kind in kinds
        }
        # What no step of the solver changes is worked out once, not some two hundred times.
        self._fed = _Fed.of(self.samples, self.layout)
        self._inverted = _Inverted.of(self.samples, self.layout)
        self._per_slope = np.array([b.per_slope for b in self._believed])
        at = [points.index((s.kind, s.place)) for s in self.samples for _ in range(len(s))]
        self._point = self.layout.point_at + np.array(at, dtype=np.int64)

    def start(self) -> tuple[Array, Array]:
        """Courses at their level, everything else as believed."""
        layout, kinetics = self.layout, self._station.kinetics
        courses = np.repeat([self.level_pct[k] for k in layout.kinds], layout.knots).astype(float)
        mill = np.zeros(layout.size)
        mill[: layout.weeks] = math.log(kinetics.multiplier)
        return courses, mill

    def course_precision(self, walk_sds: float) -> Array:
        """Belief in the courses: a random walk of so many sample errors per root hour.

        In upper banded form, shape (2, courses).
        """
        layout, blocks = self.layout, []
        for kind in layout.kinds:
            sd = float(
                np.median(np.concatenate([s.sd_pct for s in self.samples if s.kind == kind]))
            )
            first = _FIRST_SHARE * self.level_pct[kind] if kind == "rs" else _FIRST_POL_PCT
            blocks.append(_walk(layout.knots, walk_sds * sd * math.sqrt(KNOT_H), first))
        # The first value beside the diagonal of each is 0, so that no course meets the one before.
        return np.concatenate([np.empty((2, 0)), *blocks], axis=1)

    def mill_precision(self) -> Array:
        """Belief in everything else, shape (size, size)."""
        layout, kinetics = self.layout, self._station.kinetics
        sds = [b.log_sd for b in self._believed] + [1.0]
        sds += [self._off_pct(kind, place) for kind, place in layout.points] + [DESTROYED_LOG_SD]
        course = _walk(layout.weeks, WALK_A_ROOT_WEEK, kinetics.multiplier_log_sd)
        precision = np.zeros((layout.size, layout.size))
        weeks = np.arange(layout.weeks)
        precision[weeks, weeks] = course[1]
        precision[weeks[:-1], weeks[1:]] = precision[weeks[1:], weeks[:-1]] = course[0, 1:]
        rest = np.arange(layout.weeks, layout.size)
        precision[rest, rest] = 1.0 / np.square(sds)
        return precision

    def _off_pct(self, kind: Kind, place: str) -> float:
        if kind == "pol":
            return 100.0 * POL_OFF
        return self.level_pct[kind] * (RS_OFF_MIXED if place == "mixed_juice" else RS_OFF)

    def at(self, courses: Array, mill: Array) -> Linear:
        """Linearise around some values."""
        layout, rows = self.layout, np.arange(len(self.seen_pct))
        by_mill = np.zeros((len(rows), layout.size))
        by_course, gone = self._fed.at(courses, math.exp(mill[layout.destroyed_at]))
        by_mill[:, layout.destroyed_at] = -gone
        inverted = self._inverted
        log_m = (1.0 - inverted.over) * mill[inverted.week] + inverted.over * mill[
            inverted.week + 1
        ]
        zones = slice(layout.zone_at, layout.zone_at + len(layout.zones))
        of_zone = np.exp(mill[zones] + self._per_slope * mill[layout.slope_at])
        by_zone = inverted.sums_pct * np.exp(log_m)[:, None] * of_zone
        total = by_zone.sum(axis=1)
        by_mill[:, zones] = by_zone
        by_mill[:, layout.slope_at] = by_zone @ self._per_slope
        by_mill[rows, inverted.week] += (1.0 - inverted.over) * total
        by_mill[rows, inverted.week + 1] += inverted.over * total
        by_mill[rows, self._point] = 1.0
        predicted = self._fed.pattern.times(by_course, courses) + total + mill[self._point]
        return Linear(by_course, by_mill, predicted, self._fed.pattern)


@dataclass(frozen=True, eq=False)
class _Fed:
    """How what the feed brought enters each sample, one entry for each parcel and knot.

    Attributes
    ----------
    pattern : Pattern
    share, destroyed : ndarray, shape (e,)
        Share of the sample, and what of it is destroyed on the way as described; none of pol.
    """

    pattern: Pattern
    share: Array
    destroyed: Array

    @classmethod
    def of(cls, samples: Sequence[Samples], layout: Layout) -> _Fed:
        entries: list[tuple[NDArray[np.int64], NDArray[np.int64], Array, Array]] = []
        begin = 0
        for one in samples:
            place = np.clip(one.fed_h / KNOT_H, 0.0, layout.knots - 1.001)
            lower = place.astype(np.int64)
            over = place - lower
            column = lower + layout.kinds.index(one.kind) * layout.knots
            row = begin + np.broadcast_to(np.arange(len(one))[:, None], lower.shape)
            gone = one.destroyed if one.kind == "rs" else np.zeros_like(one.destroyed)
            begin += len(one)
            for at, share in (
                (column, one.weights * (1.0 - over)),
                (column + 1, one.weights * over),
            ):
                enters = share != 0.0
                entries.append((row[enters], at[enters], share[enters], gone[enters]))
        nothing = (np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0), np.empty(0))
        row, column, share, gone = (
            np.concatenate(part) for part in zip(nothing, *entries, strict=True)
        )
        return cls(Pattern.of(row, column, (begin, layout.courses)), share, gone)

    def at(self, courses: Array, destruction: float) -> tuple[Array, Array]:
        """Share of each knot in each sample, and what of it is destroyed [% of sucrose]."""
        gone = destruction * self.destroyed
        by_course = self.pattern.stored(self.share * (1.0 - np.minimum(gone, 0.95)))
        lost = self.share * gone * courses[self.pattern.columns]
        destroyed = np.bincount(self.pattern.rows, lost, self.pattern.shape[0])
        return by_course, np.asarray(destroyed, dtype=float)


@dataclass(frozen=True, eq=False)
class _Inverted:
    """What each zone inverts of each sample as described, and where in the season.

    Attributes
    ----------
    sums_pct : ndarray, shape (m, zones)
        [% of sucrose].
    week : ndarray of int, shape (m,)
    over : ndarray, shape (m,)
        Share of the way to the next week [-].
    """

    sums_pct: Array
    week: NDArray[np.int64]
    over: Array

    @classmethod
    def of(cls, samples: Sequence[Samples], layout: Layout) -> _Inverted:
        none = [np.empty(0)]
        times_h = np.concatenate(none + [s.times_h for s in samples])
        place = np.clip(times_h / WEEK_H, 0.0, layout.weeks - 1.001)
        sums = np.zeros((len(times_h), len(layout.zones)))
        begin = 0
        for one in samples:
            for i, zone in enumerate(layout.zones):
                if (of_zone := one.inverted_pct.get(zone)) is not None:
                    sums[begin : begin + len(one), i] = (one.weights * of_zone).sum(axis=1)
            begin += len(one)
        week = place.astype(np.int64)
        return cls(sums, week, place - week)


def _walk(knots: int, step_sd: float, first_sd: float) -> Array:
    """Precision of a random walk whose first value has a standard error of its own, banded."""
    step = 1.0 / step_sd**2
    band = np.array([[-step], [2.0 * step]]) * np.ones(knots)
    band[0, 0], band[1, 0], band[1, -1] = 0.0, step + 1.0 / first_sd**2, step
    return band
