"""Lactic acid across a tank: measured, it convicts microbes by itself."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from features.base import Station
from models.amount import LabSeries, lab_series
from models.base import Array, Minutes, robust_sd

#: Fewer results than this across a tank say nothing of its usual.
_LEAST = 4
_LEAST_Z = 2.5


@dataclass(frozen=True)
class LacticRise:
    """What lactic acid says of a cool spell.

    Attributes
    ----------
    kg, kg_sd : float
        Sucrose eaten above the tank's usual, and its error from the analyses [kg].
    z : float
        Rise in standard errors.
    samples : int
    """

    kg: float
    kg_sd: float
    z: float
    samples: int

    @property
    def convicts(self) -> bool:
        """Whether it is proof enough without any other evidence."""
        return self.z >= _LEAST_Z and self.kg > 0.0


def lactic_rise(lab: pl.DataFrame, minutes: Minutes, station: Station, vessel: str) -> LabSeries:
    """Lactic acid after the tank less that before it, at the sampling times after it [mg/kg]."""
    steps = {v.name: v.step for v in station.vessels}
    after = lab_series(lab, minutes, "lactic", (vessel, "out"))
    upstream = [
        (s.place, s.port)
        for s in station.lab
        if (s.analyte, s.period_h) == ("lactic", 0.0)
        and steps.get(s.place, -1) < steps[vessel]
        and s.place != vessel
    ]
    nothing = LabSeries(np.empty(0), np.empty(0), np.empty(0))
    if len(after) == 0 or not upstream:
        return nothing
    nearest = max(upstream, key=lambda p: steps.get(p[0], -1))
    before = lab_series(lab, minutes, "lactic", nearest)
    if len(before) == 0:
        return nothing
    value = after.values - before.at(after.times_h)
    sd = np.hypot(after.sd, np.interp(after.times_h, before.times_h, before.sd))
    good = np.isfinite(value)
    return LabSeries(after.times_h[good], value[good], sd[good])


def lactic_of_spells(
    minutes: Minutes,
    lab: pl.DataFrame,
    station: Station,
    zone: str,
    spells: Sequence[tuple[int, int]],
) -> list[LacticRise | None]:
    """What lactic acid says of each cool spell of a tank; None where too little was analysed."""
    rise = lactic_rise(lab, minutes, station, zone)
    if len(rise) < _LEAST:
        return [None] * len(spells)
    usual, spread = _usual(rise, spells)
    per_acid = station.kinetics.sucrose_per_lactic_kg_kg
    columns = minutes.zones[zone]
    return [_in_spell(minutes, columns, rise, run, usual, spread, per_acid) for run in spells]


def _usual(rise: LabSeries, runs: Sequence[tuple[int, int]]) -> tuple[float, float]:
    """Usual rise and its spread, from samples outside cool spells."""
    calm = np.ones(len(rise), dtype=bool)
    for start, end in runs:
        calm &= ~((rise.times_h * 60 >= start) & (rise.times_h * 60 <= end + 180))
    chosen = rise.values[calm] if calm.sum() >= _LEAST else rise.values
    return float(np.median(chosen)), robust_sd(chosen)


def _in_spell(
    minutes: Minutes,
    columns: Mapping[str, Array],
    rise: LabSeries,
    run: tuple[int, int],
    usual: float,
    spread: float,
    per_acid: float,
) -> LacticRise | None:
    start, end = run
    within = (rise.times_h * 60 >= start) & (rise.times_h * 60 < end)
    if not within.any():
        return None
    above = rise.values[within] - usual
    error = np.hypot(rise.sd[within], spread)
    z = float(above.sum() / math.sqrt((error**2).sum()))
    hours = minutes.hours[start:end]
    # Growth starts from the usual level when the tank turns cool.
    knots = np.concatenate([[hours[0]], rise.times_h[within]])
    level = np.interp(hours, knots, np.concatenate([[0.0], above]))
    acid_kg = float((np.maximum(level, 0.0) * 1e-6 * mass_kg_h(columns, start, end)).sum()) / 60.0
    relative = math.sqrt((error**2).sum()) / max(float(np.abs(above).sum()), 1e-9)
    kg = acid_kg * per_acid
    return LacticRise(kg, abs(kg) * relative, z, int(within.sum()))


def mass_kg_h(columns: Mapping[str, Array], start: int, end: int) -> Array:
    """Juice leaving a zone by minute [kg/h], nothing where it is not known.

    Its density is good to within 2 %: enough beside the error of everything else here.
    """
    density = 1000.0 + 3.9 * float(np.nanmean(columns["brix_pct"][start:end])) - 22.0
    return np.asarray(np.nan_to_num(columns["flow_out_m3_h"][start:end]) * density)
