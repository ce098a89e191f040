"""The level of the kinetics at one mill: its course, its zones, and how sure it is."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from features.base import Station
from features.kinetics import Z90
from models.amount import Multiplier
from models.base import Array, Minutes
from models.level.equations import WEEK_H, Layout
from models.level.priors import FORM_LOG_SD, believed_of
from models.level.reagent import ReagentStep
from models.level.samples import Kind


@dataclass(frozen=True)
class Level:
    """How fast this mill's juice inverts, beside the published rate.

    Attributes
    ----------
    multiplier : Multiplier
        Factor on the published rate over the whole season and all zones.
    knots_h : ndarray, shape (w,)
        Times of the course [h since the first minute], a week apart.
    log_course : ndarray, shape (w,)
        Logarithm of the multiplier at them.
    log_zones : dict of str to float
        What each zone loses more than that, standing errors of volume, temperature and pH slope
        together [log].
    covariance : ndarray, shape (w + z, w + z)
        Of course and zones.
    off_pct : dict of (str, str) to (float, float)
        Kind of analysis and place: what the method is off by there, and its standard error
        [% of sucrose, as if inverted].
    ph_slope : (float, float)
        Change of the juice's pH by a degree of heating, and its standard error [1/K]; nearly as
        believed beforehand, for analyses tell little of it.
    steps : tuple of ReagentStep
        What all results of reducing sugars stepped by where another reagent was noted.
    """

    multiplier: Multiplier
    knots_h: Array
    log_course: Array
    log_zones: dict[str, float]
    covariance: Array
    off_pct: dict[tuple[Kind, str], tuple[float, float]]
    ph_slope: tuple[float, float] = (0.0, 0.0)
    steps: tuple[ReagentStep, ...] = ()

    def log_sd(self, shares: Mapping[str, float], start: int, end: int) -> float:
        """Standard error of the logarithm of a loss in some minutes [-].

        Parameters
        ----------
        shares : mapping of str to float
            Share of each zone in the loss; they sum to 1.
        start, end : int
            First minute and the one after the last.
        """
        weights = self._weights(shares, start / 60.0, end / 60.0)
        return math.sqrt(float(weights @ self.covariance @ weights))

    def _weights(self, shares: Mapping[str, float], from_h: float, to_h: float) -> Array:
        w = len(self.knots_h)
        at = np.clip(np.linspace(from_h, to_h, 25) / WEEK_H, 0.0, w - 1.001)
        lower = at.astype(np.int64)
        weights = np.zeros(w + len(self.log_zones))
        np.add.at(weights, lower, (1.0 - (at - lower)) / len(at))
        np.add.at(weights, lower + 1, (at - lower) / len(at))
        for i, zone in enumerate(self.log_zones):
            weights[w + i] = shares.get(zone, 0.0)
        return weights

    def log_sds(self, shares: Mapping[str, float], start: int, end: int) -> Array:
        """Standard error of the logarithm of a loss, minute by minute [-].

        Parameters
        ----------
        shares : mapping of str to float
            Share of each zone in the loss; they sum to 1.
        start, end : int
            First minute and the one after the last.
        """
        w = len(self.knots_h)
        zones = np.array([shares.get(zone, 0.0) for zone in self.log_zones])
        course, both = self.covariance[:w, :w], self.covariance[:w, w:] @ zones
        at = np.clip(np.arange(start, end) / 60.0 / WEEK_H, 0.0, w - 1.001)
        lower = at.astype(np.int64)
        over = at - lower
        under = 1.0 - over
        diagonal = np.diag(course)
        variance = (
            under**2 * diagonal[lower]
            + over**2 * diagonal[lower + 1]
            + 2.0 * under * over * course[lower, lower + 1]
            + 2.0 * (under * both[lower] + over * both[lower + 1])
            + zones @ self.covariance[w:, w:] @ zones
        )
        return np.sqrt(np.maximum(variance, 0.0))


def level_of(
    layout: Layout, mill: Array, covariance: Array, minutes: Minutes, station: Station, told_by: int
) -> Level:
    """Read a level out of a solution.

    Parameters
    ----------
    layout : Layout
    mill : ndarray, shape (size,)
    covariance : ndarray, shape (size, size)
    minutes : Minutes
        Whose losses weigh the zones.
    station : Station
    told_by : int
        Samples behind it; 0 where the prior speaks alone.
    """
    w, zones = layout.weeks, layout.zones
    onto = _onto_zones(layout, station)
    values: Array = np.asarray(onto @ mill, dtype=float)
    spread = zone_covariance(layout, covariance, station, told_by)
    sds = np.sqrt(np.diag(covariance))
    off = {
        point: (float(mill[layout.point_at + i]), float(sds[layout.point_at + i]))
        for i, point in enumerate(layout.points)
    }
    level = Level(
        Multiplier(1.0, 1.0, 1.0, 0.0, told_by),
        WEEK_H * np.arange(w, dtype=float),
        values[:w],
        dict(zip(zones, values[w:].tolist(), strict=True)),
        spread,
        off,
        (
            station.kinetics.ph_slope + station.kinetics.ph_slope_sd * float(mill[layout.slope_at]),
            station.kinetics.ph_slope_sd * float(sds[layout.slope_at]),
        ),
    )
    return replace(level, multiplier=_season(level, minutes, told_by))


def zone_covariance(layout: Layout, covariance: Array, station: Station, told_by: int) -> Array:
    """Covariance of course and zones, shape (w + z, w + z).

    Parameters
    ----------
    layout : Layout
    covariance : ndarray, shape (size, size)
        Of all unknowns of the mill.
    station : Station
    told_by : int
        Samples behind it; what their own model leaves out comes on top, as far as they and not the
        prior tell the level.
    """
    onto, w = _onto_zones(layout, station), layout.weeks
    spread: Array = np.asarray(onto @ covariance @ onto.T, dtype=float)
    if told_by:
        left = float(spread[:w, :w].mean()) / station.kinetics.multiplier_log_sd**2
        spread[:w, :w] += (max(1.0 - left, 0.0) * FORM_LOG_SD) ** 2
    return spread


def _onto_zones(layout: Layout, station: Station) -> Array:
    """Each zone carries its share of the pH slope, so that course and zones alone tell the rest."""
    told = layout.weeks + len(layout.zones)
    onto = np.zeros((told, layout.size))
    onto[:told, :told] = np.eye(told)
    for i, zone in enumerate(layout.zones):
        onto[layout.zone_at + i, layout.slope_at] = believed_of(station, zone).per_slope
    return onto


def zone_shares(minutes: Minutes) -> dict[str, float]:
    """Share of each zone in all that is lost; they sum to 1 [-]."""
    lost = {z: float(np.nansum(col["loss_kg_h"])) for z, col in minutes.zones.items()}
    total = sum(lost.values())
    return {z: kg / total if total > 0.0 else 1.0 / len(lost) for z, kg in lost.items()}


def _season(level: Level, minutes: Minutes, told_by: int) -> Multiplier:
    """One multiplier for the season: mean over its minutes, zones by what they lose."""
    weights = level._weights(zone_shares(minutes), 0.0, minutes.n / 60.0)
    log = float(weights @ np.concatenate([level.log_course, list(level.log_zones.values())]))
    log_sd = math.sqrt(float(weights @ level.covariance @ weights))
    spread = Z90 * log_sd
    return Multiplier(
        math.exp(log), math.exp(log - spread), math.exp(log + spread), log_sd, told_by
    )
