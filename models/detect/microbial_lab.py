"""Evidence of microbes in the laboratory's results before and after a tank."""

from __future__ import annotations

import numpy as np

from features.balance import pol_lost_per_sucrose
from features.base import Analyte
from features.kinetics import INVERT_PER_SUCROSE
from models.amount import LabSeries, lab_series
from models.base import Array
from models.detect.microbial_line import BUFFER_LOG_SD, Line, Point, Tank

#: Sucrose used for dextran: 2.1 kg/kg at the least, as half of it is glucose (computed); with what
#: else the organism eats some four, within a factor of two (judgement).
_SUCROSE_PER_DEXTRAN, _DEXTRAN_LOG_SD = 4.0, 0.5
#: Scale of lactic acid analyses, and of the fall of pol over Brix, which is less where part of what
#: microbes make counts for no Brix [-] (judgement).
_SCALE_LOG_SD, _POL_LOG_SD = 0.1, 0.3
#: Results before the tank are averaged over about this, and none is further away [h].
_SMOOTH_H, _FURTHEST_H = 3.0, 9.0
_LEAST = 4

Part = tuple[Array, Array, Array]


def lab_lines(tank: Tank) -> list[Line]:
    """Lactic acid, dextran and pol across a tank; pH only where no lime goes in between."""
    found = [_lactic(tank), _dextran(tank), _pol(tank)]
    if tank.vessel.kind != "liming_tank":
        found.append(_acid_by_ph(tank))
    return [line for line in found if line is not None]


def _series(tank: Tank, analyte: Analyte, point: Point) -> LabSeries:
    return lab_series(tank.lab, tank.minutes, analyte, point)


def smoothed(series: LabSeries, times_h: Array) -> tuple[Array, Array]:
    """Mean of the results near given times, near ones weighing most, and its standard error.

    NaN further than `_FURTHEST_H` from any result.
    """
    if len(series) == 0:
        return np.full(len(times_h), np.nan), np.full(len(times_h), np.nan)
    away = times_h[:, None] - series.times_h[None, :]
    weight = np.exp(-0.5 * (away / _SMOOTH_H) ** 2)
    near = np.abs(away).min(axis=1) <= _FURTHEST_H
    total = np.where(near, np.maximum(weight.sum(axis=1), 1e-300), np.nan)
    mean = weight @ series.values / total
    return mean, np.sqrt(weight**2 @ series.sd**2) / total


def _join(
    name: str, parts: list[Part], *, on_acid: bool = False, scale_log_sd: float = _SCALE_LOG_SD
) -> Line | None:
    """Points of several sampling points as one line, each about its own median."""
    parts = [_known(*part) for part in parts]
    parts = [part for part in parts if len(part[0]) >= _LEAST]
    if not parts:
        return None
    hours = np.concatenate([p[0] for p in parts])
    pct = np.concatenate([p[1] - np.median(p[1]) for p in parts])
    sd = np.concatenate([p[2] for p in parts])
    order = np.argsort(hours, kind="stable")
    return Line(name, hours[order], pct[order], sd[order], on_acid, scale_log_sd, 0.0 * hours)


def _known(hours: Array, pct: Array, sd: Array) -> Part:
    known = np.isfinite(pct) & np.isfinite(sd)
    return hours[known], pct[known], sd[known]


def _content(tank: Tank, analyte: Analyte) -> list[Part]:
    """Rise of a content across a tank [mg/kg], at each point after it."""
    before, after = tank.points(analyte)
    if before is None:
        return []
    first, parts = _series(tank, analyte, before), []
    for point in after:
        last = _series(tank, analyte, point)
        times = last.times_h - tank.delay_h(point[0])
        value, sd = smoothed(first, times)
        parts.append((times, last.values - value, np.hypot(last.sd, sd)))
    return parts


def _lactic(tank: Tank) -> Line | None:
    """Lactic acid made in the tank."""
    unit = tank.acid_mg_kg_per_pct
    parts = [(t, v / unit, s / unit) for t, v, s in _content(tank, "lactic")]
    return _join("lactic", parts, on_acid=True)


def _dextran(tank: Tank) -> Line | None:
    """Dextran made in the tank."""
    unit = 1e4 * tank.sucrose_kg_kg / _SUCROSE_PER_DEXTRAN
    parts = [(t, v / unit, s / unit) for t, v, s in _content(tank, "dextran")]
    return _join("dextran", parts, scale_log_sd=_DEXTRAN_LOG_SD)


def _pol(tank: Tank) -> Line | None:
    """Fall of pol over dry matter across the tank, less what inversion took of it.

    Inversion leaves reducing sugars behind, microbes do not: where they are measured their rise
    takes the inversion out.
    """
    before, after = tank.points("pol")
    if before is None or not after:
        before, after = tank.points("purity")
    if before is None:
        return None
    first, parts = _purity(tank, before), []
    for point in after:
        last = _purity(tank, point)
        times = last.times_h - tank.delay_h(point[0])
        value, sd = smoothed(first, times)
        fall = 100.0 * (1.0 - last.values / value)
        error = 100.0 * np.hypot(last.sd / last.values, sd / value)
        parts.append((times, fall - _inverted(tank, before, point, times, last), error))
    return _join("pol", parts, scale_log_sd=_POL_LOG_SD)


def _purity(tank: Tank, point: Point) -> LabSeries:
    """Pol over Brix of the same samples at one point [-]; purity where the two are not given."""
    pol = _series(tank, "pol", point)
    if len(pol) == 0:
        given = _series(tank, "purity", point)
        return LabSeries(given.times_h, given.values / 100.0, given.sd / 100.0)
    return _over_brix(tank, pol, point)


def _over_brix(tank: Tank, series: LabSeries, point: Point) -> LabSeries:
    brix = _series(tank, "brix", point)
    _, at, other = np.intersect1d(
        np.round(series.times_h, 4), np.round(brix.times_h, 4), return_indices=True
    )
    value, dry = series.values[at], brix.values[other]
    good = (dry > 0.0) & (value > 0.0)
    ratio = value[good] / dry[good]
    error = np.hypot(series.sd[at][good] / value[good], brix.sd[other][good] / dry[good])
    return LabSeries(series.times_h[at][good], ratio, ratio * error)


def _inverted(
    tank: Tank,
    before: Point,
    after: Point,
    times_h: Array,
    pol: LabSeries,
) -> Array:
    """What inversion took of the pol of each sample, above its usual [%]; 0 where not analysed."""
    ends = [_series(tank, "rs", point) for point in (before, after)]
    if not all(len(end) >= _LEAST for end in ends) or len(pol) == 0:
        return np.zeros(len(times_h))
    first, last = (_over_brix(tank, e, p) for e, p in zip(ends, (before, after), strict=True))
    if not (len(first) and len(last)):
        return np.zeros(len(times_h))
    per_pol = 100.0 * float(np.median(last.values)) / float(np.median(pol.values))
    there = last.at(pol.times_h)
    here, _ = smoothed(first, times_h)
    inverted = per_pol * (there / here - 1.0) / INVERT_PER_SUCROSE
    taken = float(pol_lost_per_sucrose()) * inverted
    usual = float(np.nanmedian(taken)) if np.isfinite(taken).any() else 0.0
    return np.nan_to_num(taken - usual)


def _acid_by_ph(tank: Tank) -> Line | None:
    """Acid made in a tank behind liming, from the fall of pH across it."""
    before, after = tank.points("ph")
    after = [p for p in after if p[0] == tank.vessel.name]
    if before is None or not after:
        return None
    first, parts = _series(tank, "ph", before), []
    scale = tank.pct_per_ph
    for point in after:
        last = _series(tank, "ph", point)
        value, sd = smoothed(first, last.times_h)
        parts.append((last.times_h, scale * (value - last.values), scale * np.hypot(last.sd, sd)))
    return _join("ph", parts, on_acid=True, scale_log_sd=BUFFER_LOG_SD)
