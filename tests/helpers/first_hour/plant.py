"""Courses of an invented mill: those of the simulator, and what surrounds the station."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np
import polars as pl
from numpy.typing import NDArray

from first_hour.points import COURSES
from first_hour.spec import MillSpec
from models.simulator import TAGS, Season, draw_any_plant, simulate_season

Floats = NDArray[np.float64]
GRID_S = 30
_USUAL_FEED = 265.0


@dataclass(frozen=True)
class Outside:
    """Something outside the station (common practice for the size, invented otherwise).

    `usual`, `wander` and `noise` are in the exported unit; `share` is how far it follows the feed;
    `tau_h` how slowly it wanders; a `counter` adds up the feed times `usual` an hour.
    """

    usual: float
    wander: float
    noise: float
    share: float = 0.0
    tau_h: float = 2.0
    counter: bool = False


OUTSIDE: dict[str, Outside] = {
    "boiler_bar": Outside(21.0, 0.4, 0.05, 0.05, 0.5),
    "boiler_psi": Outside(310.0, 6.0, 0.8, 0.05, 0.5),
    "boiler_kgf": Outside(21.5, 0.4, 0.05, 0.05, 0.5),
    "steam_t_h": Outside(118.0, 4.0, 0.8, 0.6, 0.7),
    "exhaust_kpag": Outside(142.0, 5.0, 1.0, 0.1, 0.6),
    "exhaust_bar": Outside(1.45, 0.05, 0.01, 0.1, 0.6),
    "mill_rpm": Outside(5.6, 0.15, 0.02, 0.9, 0.6),
    "turbine_rpm": Outside(4150.0, 60.0, 9.0, 0.5, 0.6),
    "pump_a": Outside(86.0, 2.0, 0.5, 0.45, 3.0),
    "pump_hz": Outside(46.0, 1.2, 0.05, 0.6, 1.5),
    "valve": Outside(54.0, 6.0, 0.2, 0.3, 1.0),
    "cooling_degc": Outside(31.5, 1.4, 0.05, 0.0, 8.0),
    "cooling_degf": Outside(88.0, 2.5, 0.1, 0.0, 8.0),
    "vacuum_mmhg": Outside(645.0, 6.0, 0.8, 0.0, 1.5),
    "vacuum_kpa": Outside(-86.0, 1.0, 0.2, 0.0, 1.5),
    "drum_rpm": Outside(0.45, 0.03, 0.002, 0.3, 2.0),
    "power_mw": Outside(9.4, 0.5, 0.05, 0.5, 0.8),
    "boiler_water_ph": Outside(9.6, 0.12, 0.01, 0.0, 12.0),
    "condensate_us": Outside(14.0, 4.0, 0.4, 0.0, 6.0),
    "oil_degc": Outside(52.0, 1.5, 0.1, 0.15, 6.0),
    "second_degc": Outside(103.0, 0.9, 0.1, 0.01, 1.2),
    "syrup_level": Outside(58.0, 9.0, 0.3, 0.0, 5.0),
    "milk_level": Outside(66.0, 11.0, 0.3, 0.0, 4.0),
    "milk_baume": Outside(7.5, 0.35, 0.02, 0.0, 10.0),
    "boiler_level": Outside(50.5, 1.5, 0.4, 0.0, 0.3),
    "bagasse_moist": Outside(50.4, 0.6, 0.1, 0.0, 8.0),
    "ambient_degc": Outside(26.0, 3.5, 0.05, 0.0, 10.0),
    "cane_t": Outside(250.0, 0.0, 0.0, 0.0, 1.0, counter=True),
    "juice_m3": Outside(265.0, 0.0, 0.0, 0.0, 1.0, counter=True),
}


def season(spec: MillSpec) -> Season:
    """The mill's station over its days, every sample written."""
    return _season(spec.seed, 2 if spec.days > 6 else 1, spec.start, spec.with_events)


@lru_cache(maxsize=1)
def _season(seed: int, weeks: int, start: datetime, with_events: bool) -> Season:
    plant = replace(draw_any_plant(seed), sampling=3, deadband=0.0, heartbeat_s=1.0)
    return simulate_season(seed, weeks, start, plant, with_events=with_events)


@dataclass(frozen=True)
class Course:
    """Values on the grid, and where nothing was written (`gone`) or the reading is bad."""

    value: Floats
    gone: NDArray[np.bool_]
    bad: NDArray[np.bool_]


class Plant:
    """Courses of one mill from its start, every half minute."""

    def __init__(self, spec: MillSpec, rng: np.random.Generator) -> None:
        """Simulate the station; `rng` draws what the simulator does not hold."""
        self.spec, self.rng = spec, rng
        self.count = spec.days * 86_400 // GRID_S
        self._named = {tag.name: tag for tag in TAGS}
        frame = season(spec).tags
        end = spec.start + timedelta(days=spec.days)
        inside = frame.filter(pl.col("time") < end)
        self._by_tag = {str(k[0]): f for k, f in inside.group_by(["tag"])}
        self._made: dict[str, Course] = {}
        self.rate = np.clip(self.course("mj_flow").value / _USUAL_FEED, 0.0, 1.4)

    def course(self, kind: str) -> Course:
        """Course of one kind, made once; each thing outside the station is one of its own."""
        if kind.startswith("x:"):
            return self._whole(self._outside(OUTSIDE[kind[2:]]))
        if kind not in self._made:
            self._made[kind] = self._make(kind)
        return self._made[kind]

    def _make(self, kind: str) -> Course:
        if kind.startswith("sp:"):
            return self._whole(self._set_point(kind[3:]))
        if kind.startswith("2:"):
            return self._second(kind[2:])
        if kind == "filtrate":
            return self._whole(self._filtrate())
        return self._simulated(COURSES[kind][0])

    def _whole(self, value: Floats) -> Course:
        none = np.zeros(self.count, bool)
        return Course(value, none, none)

    def _simulated(self, tag: str) -> Course:
        rows = self._by_tag[tag].sort("time")
        offset = (rows["time"] - self.spec.start).dt.total_seconds().to_numpy()
        at = np.arange(self.count) * GRID_S
        good = (rows["quality"] == "good").to_numpy()
        value = np.interp(at, offset[good], rows["value"].to_numpy()[good])
        before = np.searchsorted(offset, at, side="right") - 1
        every = max(3 * self._named[tag].every_s, 120)
        gone = at - offset[np.maximum(before, 0)] > every
        bad = np.zeros(self.count, bool)
        bad[np.clip(offset[~good] // GRID_S, 0, self.count - 1).astype(np.int64)] = True
        return Course(value, gone, bad)

    def wander(self, sd: float, tau_h: float) -> Floats:
        """Mean-reverting walk on the grid."""
        points = int(self.count * GRID_S / (tau_h * 360.0)) + 3
        keep = np.exp(-0.1)
        walk = np.empty(points)
        walk[0] = self.rng.normal(0.0, sd)
        for i, shock in enumerate(self.rng.normal(0.0, sd * np.sqrt(1 - keep**2), points - 1)):
            walk[i + 1] = walk[i] * keep + shock
        at = np.arange(self.count) * GRID_S / (tau_h * 360.0)
        return np.asarray(np.interp(at, np.arange(points), walk))

    def _outside(self, about: Outside) -> Floats:
        if about.counter:
            start = about.usual * self.rng.uniform(300, 3000)
            return np.asarray(start + np.cumsum(about.usual * self.rate) * GRID_S / 3600)
        size = about.usual * np.exp(self.rng.normal(0.0, 0.04)) if about.usual > 0 else about.usual
        value = size * (1 - about.share + about.share * self.rate)
        value = value + self.wander(about.wander, about.tau_h)
        return np.asarray(value + self.rng.normal(0.0, about.noise, self.count))

    def _set_point(self, kind: str) -> Floats:
        """What an operator aims at: the median of two shifts of the measured."""
        value = self.course(kind).value
        each = 16 * 3600 // GRID_S
        steps = [np.median(value[i : i + each]) for i in range(0, self.count, each)]
        return np.asarray(np.repeat(steps, each)[: self.count])

    def _second(self, kind: str) -> Course:
        first, tag = self.course(kind), self._named[COURSES[kind][0]]
        shift = self.rng.normal(0.0, 2.0 * max(tag.drift, tag.noise))
        value = first.value + shift + self.wander(max(tag.drift, 0.5 * tag.noise), 30.0)
        return self._whole(value + self.rng.normal(0.0, 0.7 * tag.noise, self.count))

    def _filtrate(self) -> Floats:
        """A tenth of the juice, of the mud of an hour ago, in strokes of the filters."""
        mud = np.roll(self.course("mud_flow").value, 3600 // GRID_S)
        strokes = 1.0 + 0.08 * np.sin(np.arange(self.count) * GRID_S / 700.0)
        return np.asarray(np.maximum((0.95 * mud + self.wander(1.2, 1.0)) * strokes, 0.0))
