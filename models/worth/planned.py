"""Samples as a laboratory would bring them with the station at its targets."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from statistics import NormalDist
from typing import Final, NamedTuple

import numpy as np

from features.balance import pol_lost_per_sucrose
from features.base import Analyte, Station
from features.kinetics import INVERT_PER_SUCROSE
from models.base import Array
from models.level import Kind, Samples, Ways, compared, sample_sd
from models.worth.nominal import Nominal

#: Where juice is sampled, in flow order: fed, behind the liming tank, behind the settler, behind
#: the last vessel that is told of.
WHERE: Final = ("mixed", "limed", "clear", "last")
#: Analyte, and one of `WHERE`.
Point = tuple[Analyte, str]
#: Analytes that tell of inversion, alone or together.
TELLING: Final[tuple[Analyte, ...]] = ("rs", "brix", "pol", "purity", "potassium", "chloride")
#: Time between two grab samples of a point [h]; common practice.
EVERY_H: Final = 6.0
#: Spread of the inversion over a season, relative (estimate: 0.3 to 0.5 on simulated mills).
_SPREAD: Final = 0.4
#: Of Python itself: for so few numbers no library is worth the time that it takes to load.
_NORMAL: Final = NormalDist()
_GOLDEN: Final = 0.6180339887498949
_SETTLED_MIN: Final = 2880
#: Relative standard error of an analysis that no series of the mill tells (estimate: routine
#: methods, as in `models.simulator`; potassium and chloride as reducing sugars).
_USUAL_REL_SD: Final[Mapping[Analyte, float]] = {
    "rs": 0.025, "brix": 0.0055, "pol": 0.0066, "purity": 0.004,
    "potassium": 0.03, "chloride": 0.03,
}  # fmt: skip
_TRACERS: Final[tuple[Analyte, ...]] = ("brix", "potassium", "chloride")


class Series(NamedTuple):
    """Samples that would tell of inversion, before they are drawn.

    Attributes
    ----------
    kind : str
        ``rs`` or ``pol``.
    where : str
        One of `WHERE`.
    every_h, hours : float
        Time from one to the next, and that of all [h].
    seen_pct, sd_pct : float
        Result and standard error of one analysis [% of sucrose].
    """

    kind: Kind
    where: str
    every_h: float
    hours: float
    seen_pct: float
    sd_pct: float

    @property
    def place(self) -> str:
        """Place as samples call it."""
        return self.where if self.where != "mixed" else "mixed_juice"


@dataclass(frozen=True)
class Laboratory:
    """A station at its targets, ready to be sampled.

    Attributes
    ----------
    station : Station
    steps : dict of str to int
        Step in the train of each of `WHERE` that the train has; -1 for the feed.
    inverted_pct : dict of str to dict of str to float
        Inverted in each zone on the way to each of them, at multiplier 1 [% of sucrose].
    destroyed : dict of str to float
        Share of the reducing sugars destroyed on that way [-].
    shares : dict of str to float
        Share of each zone in the whole loss; they sum to 1.
    """

    station: Station
    steps: dict[str, int]
    inverted_pct: dict[str, dict[str, float]]
    destroyed: dict[str, float]
    shares: dict[str, float]

    def series(self, points: Mapping[Point, float], count: int) -> tuple[Series, ...]:
        """What so many grab samples of each point, and composites meanwhile, would tell.

        Analyses that tell nothing more give the same series.

        Parameters
        ----------
        points : mapping of (str, str) to float
            Analyte and place, with the hours that a composite is gathered over; 0 for grabs.
        count : int
            Grab samples of each point.
        """
        made = [s for where in self.steps for s in self._at(where, points, count)]
        return tuple(s for s in made if compared(s, made))

    def _at(self, where: str, points: Mapping[Point, float], count: int) -> Iterator[Series]:
        here = {analyte: h for (analyte, place), h in points.items() if place == where}
        for period_h in sorted(set(here.values())):
            together = {analyte for analyte, h in here.items() if h == period_h}
            every, hours = period_h or EVERY_H, count * EVERY_H
            for kind in ("rs", "pol"):
                found = self._result(kind, together)
                if found is not None and 0.5 * every < hours:
                    yield Series(kind, where, every, hours, *found)

    def _result(self, kind: Kind, analytes: Collection[Analyte]) -> tuple[float, float] | None:
        """Result and standard error of one analysis [% of sucrose]; None where it is not made."""
        if kind == "rs":
            tracer = next((name for name in _TRACERS if name in analytes), None)
            if "rs" not in analytes or tracer is None:
                return None
            seen = self.station.kinetics.rs_per_sucrose_pct / INVERT_PER_SUCROSE
            return seen, seen * self._rel_sd("rs", tracer)
        scale = 100.0 / float(pol_lost_per_sucrose())
        if {"pol", "brix"} <= {*analytes}:
            return 0.0, scale * self._rel_sd("pol", "brix")
        return (0.0, scale * self._rel_sd("purity")) if "purity" in analytes else None

    def _rel_sd(self, *analytes: Analyte) -> float:
        return float(np.hypot.reduce([_relative_sd(self.station, a) for a in analytes]))

    def drawn(self, series: Series) -> Samples:
        """Samples of a series."""
        kind, where, every_h, hours, seen_pct, sd_pct = series
        times_h = np.arange(0.5 * every_h, hours, every_h)
        moved, column = swings(times_h), np.ones((len(times_h), 1))
        ways = {z: pct * moved[:, None] for z, pct in self.inverted_pct[where].items()}
        lost = self.station.kinetics.multiplier * sum(
            (pct[:, 0] for pct in ways.values()), np.zeros(len(times_h))
        )
        seen = np.full(len(times_h), seen_pct)
        return Samples(
            kind,
            series.place,
            self.steps[where],
            times_h,
            seen,
            sample_sd(kind, times_h, seen, np.full(len(times_h), sd_pct), lost),
            column,
            times_h[:, None],
            self.destroyed[where] * column,
            ways,
        )


def swings(times_h: Array) -> Array:
    """Inversion of juice drawn at some times, over its mean [-].

    It differs from sample to sample as pH, flow and faults do; without that nothing could part it
    from what a method is off by. Juice of the same hours has been through the same everywhere.
    """
    quantile = (np.floor(times_h / EVERY_H) * _GOLDEN) % 1.0
    normal = [_NORMAL.inv_cdf(share) for share in np.clip(quantile, 0.005, 0.995).tolist()]
    return np.maximum(1.0 + _SPREAD * np.array(normal), 0.2)


def laboratory_of(station: Station, nominal: Nominal) -> Laboratory:
    """Work out what juice has been through where it can be sampled.

    Parameters
    ----------
    station : Station
    nominal : Nominal
        The station at its targets.
    """
    steps = {where: step for where in WHERE if (step := _step(station, where)) is not None}
    minutes = nominal.minutes(datetime(2025, 1, 1, tzinfo=UTC), _SETTLED_MIN)
    ways = Ways(minutes, station, {})
    inverted, destroyed = {}, {}
    for where, step in steps.items():
        way = ways.back(ways.groups(step), np.array([_SETTLED_MIN - 1.0]))
        inverted[where] = {z: float(pct[0]) for z, pct in way.inverted_pct.items()}
        destroyed[where] = float(way.destroyed[0])
    lost = {zone: columns["loss_kg_h"] for zone, columns in nominal.zones.items()}
    whole = sum(lost.values())
    return Laboratory(
        station, steps, inverted, destroyed, {zone: kg / whole for zone, kg in lost.items()}
    )


def point_of(station: Station, place: str) -> str | None:
    """Which of `WHERE` a sampled place is; None where it is none of them."""
    if place == "mixed_juice":
        return "mixed"
    vessel = next((v for v in station.vessels if v.name == place), None)
    settled = _step(station, "clear")
    if vessel is None:
        return None
    if vessel.kind in {"liming_tank", "settler"}:
        return "limed" if vessel.kind == "liming_tank" else "clear"
    return "last" if settled is not None and vessel.step > settled else None


def _step(station: Station, where: str) -> int | None:
    if where == "mixed":
        return -1
    kinds = {"limed": "liming_tank", "clear": "settler"}
    if where in kinds:
        return min((v.step for v in station.vessels if v.kind == kinds[where]), default=None)
    last = last_place(station)
    return None if last is None else next(v.step for v in station.vessels if v.name == last)


def last_place(station: Station) -> str | None:
    """Vessel furthest behind the settler that is sampled, else the train's last; None without."""
    settled = _step(station, "clear")
    sampled = {s.place for s in station.lab if s.analyte in TELLING}
    behind = [v for v in station.vessels if settled is not None and v.step > settled]
    seen = [v for v in behind if v.name in sampled]
    return max(seen or behind, key=lambda v: v.step).name if behind else None


def _relative_sd(station: Station, analyte: Analyte) -> float:
    """Relative standard error of an analysis: that of the mill's own series, else the usual."""
    targets = station.targets
    pol = targets.brix_pct * targets.purity_pct / 100.0
    typical = {
        "brix": targets.brix_pct,
        "pol": pol,
        "purity": targets.purity_pct,
        "rs": station.kinetics.rs_per_sucrose_pct / 100.0 * pol,
    }.get(analyte)
    told = [
        max(s.rel_sd, s.sd / typical if typical else 0.0)
        for s in station.lab
        if s.analyte == analyte
    ]
    return max(told, default=0.0) or _USUAL_REL_SD[analyte]
