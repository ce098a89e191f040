"""Samples as linearised equations in what the feed brought and what is not known of the mill."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from features.base import Station
from models.base import Array
from models.level.priors import (
    DESTROYED_LOG_SD,
    POL_OFF,
    RS_OFF,
    RS_OFF_MIXED,
    WALK_A_ROOT_WEEK,
    believed_of,
)
from models.level.samples import Kind, Samples

Precision: TypeAlias = Any  # a sparse array; scipy gives them no types

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
    by_course : sparse array, shape (m, courses)
    by_mill : ndarray, shape (m, size)
    predicted_pct : ndarray, shape (m,)
        What the samples would be at these values.
    """

    by_course: Precision
    by_mill: Array
    predicted_pct: Array


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
        self._entered = [self._fed(s) for s in self.samples]
        self._sums_pct = [
            {zone: (s.weights * of_zone).sum(axis=1) for zone, of_zone in s.inverted_pct.items()}
            for s in self.samples
        ]
        self._undestroyed = [
            None if s.kind == "rs" else self._by_course(n, np.ones_like(s.destroyed))
            for n, s in enumerate(self.samples)
        ]

    def start(self) -> tuple[Array, Array]:
        """Courses at their level, everything else as believed."""
        layout, kinetics = self.layout, self._station.kinetics
        courses = np.repeat([self.level_pct[k] for k in layout.kinds], layout.knots).astype(float)
        mill = np.zeros(layout.size)
        mill[: layout.weeks] = math.log(kinetics.multiplier)
        return courses, mill

    def course_precision(self, walk_sds: float) -> Precision:
        """Belief in the courses: a random walk of so many sample errors per root hour."""
        layout, blocks = self.layout, []
        for kind in layout.kinds:
            sd = float(
                np.median(np.concatenate([s.sd_pct for s in self.samples if s.kind == kind]))
            )
            first = _FIRST_SHARE * self.level_pct[kind] if kind == "rs" else _FIRST_POL_PCT
            blocks.append(_walk(layout.knots, walk_sds * sd * math.sqrt(KNOT_H), first))
        return sparse.csr_array(sparse.block_diag(blocks, format="csr"))

    def mill_precision(self) -> Array:
        """Belief in everything else, shape (size, size)."""
        layout, kinetics = self.layout, self._station.kinetics
        sds = [b.log_sd for b in self._believed] + [1.0]
        sds += [self._off_pct(kind, place) for kind, place in layout.points] + [DESTROYED_LOG_SD]
        course = _walk(layout.weeks, WALK_A_ROOT_WEEK, kinetics.multiplier_log_sd).toarray()
        precision = np.zeros((layout.size, layout.size))
        precision[: layout.weeks, : layout.weeks] = course
        rest = np.arange(layout.weeks, layout.size)
        precision[rest, rest] = 1.0 / np.square(sds)
        return precision

    def _off_pct(self, kind: Kind, place: str) -> float:
        if kind == "pol":
            return 100.0 * POL_OFF
        return self.level_pct[kind] * (RS_OFF_MIXED if place == "mixed_juice" else RS_OFF)

    def at(self, courses: Array, mill: Array) -> Linear:
        """Linearise around some values."""
        parts = [self._of(n, courses, mill) for n in range(len(self.samples))]
        return Linear(
            sparse.csr_array(sparse.vstack([p.by_course for p in parts], format="csr")),
            np.concatenate([p.by_mill for p in parts]),
            np.concatenate([p.predicted_pct for p in parts]),
        )

    def _by_course(self, number: int, left: Array) -> Precision:
        """Share of each knot of the courses in some samples, `left` of each parcel."""
        row, column, share = self._entered[number]
        shape = (len(self.samples[number]), self.layout.courses)
        return sparse.csr_array((share * np.tile(left.ravel(), 2), (row, column)), shape=shape)

    def _of(self, number: int, courses: Array, mill: Array) -> Linear:
        layout, samples = self.layout, self.samples[number]
        by_mill = np.zeros((len(samples), layout.size))
        by_course = self._undestroyed[number]
        if by_course is None:
            gone = math.exp(mill[layout.destroyed_at]) * samples.destroyed
            by_course = self._by_course(number, 1.0 - np.minimum(gone, 0.95))
            by_mill[:, layout.destroyed_at] = -(self._by_course(number, gone) @ courses)
        predicted = by_course @ courses + self._inverted(number, mill, by_mill)
        at = layout.point_at + layout.points.index((samples.kind, samples.place))
        by_mill[:, at] = 1.0
        return Linear(by_course, by_mill, predicted + mill[at])

    def _fed(self, samples: Samples) -> tuple[NDArray[np.int64], NDArray[np.int64], Array]:
        """Rows, knots and shares by which the feed enters each sample; first all lower knots."""
        layout = self.layout
        place = np.clip(samples.fed_h / KNOT_H, 0.0, layout.knots - 1.001)
        lower = place.astype(np.int64)
        over = place - lower
        offset = layout.kinds.index(samples.kind) * layout.knots
        row = np.repeat(np.arange(len(samples)), samples.weights.shape[1])
        column = (lower + offset).ravel()
        shares = samples.weights * (1.0 - over), samples.weights * over
        return (
            np.tile(row, 2),
            np.concatenate([column, column + 1]),
            np.concatenate([share.ravel() for share in shares]),
        )

    def _inverted(self, number: int, mill: Array, by_mill: Array) -> Array:
        """Inverted on the way [% of sucrose]; fills in the derivatives."""
        layout, samples, sums_pct = self.layout, self.samples[number], self._sums_pct[number]
        rows = np.arange(len(samples))
        place = np.clip(samples.times_h / WEEK_H, 0.0, layout.weeks - 1.001)
        week = place.astype(np.int64)
        over = place - week
        log_m = (1.0 - over) * mill[week] + over * mill[week + 1]
        total = np.zeros(len(samples))
        for i, zone in enumerate(layout.zones):
            if zone not in sums_pct:
                continue
            at, per_slope = layout.zone_at + i, self._believed[i].per_slope
            log = log_m + mill[at] + per_slope * mill[layout.slope_at]
            inverted = sums_pct[zone] * np.exp(log)
            by_mill[:, at] += inverted
            by_mill[:, layout.slope_at] += per_slope * inverted
            total += inverted
        by_mill[rows, week] += (1.0 - over) * total
        by_mill[rows, week + 1] += over * total
        return total


def _walk(knots: int, step_sd: float, first_sd: float) -> Precision:
    """Precision of a random walk whose first value has a standard error of its own."""
    step = 1.0 / step_sd**2
    diagonal = np.full(knots, 2.0 * step)
    diagonal[0] = step + 1.0 / first_sd**2
    diagonal[-1] = step
    beside = np.full(knots - 1, -step)
    return sparse.csr_array(sparse.diags_array([beside, diagonal, beside], offsets=[-1, 0, 1]))
