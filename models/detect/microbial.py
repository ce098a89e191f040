"""Loss to microbes in a tank that runs cool.

Inversion kinetics say that a cool tank saves sucrose; microbes disagree. What convicts them is
lactic acid: made in the tank, measured by the laboratory after it and before it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import polars as pl

from features.base import Station
from models.amount import LabSeries, lab_series
from models.base import Array, Minutes, bridge_runs, robust_sd, runs_of

#: Below this thermophiles thrive, above it hardly anything grows (memory: 50-75 degC).
WARM_LIMIT_DEGC = 75.0
_COOLER_THAN_TARGET_K = 6.0
_SHORTEST_MIN = 120


@dataclass(frozen=True)
class MicrobialSpan:
    """A cool spell with lactic acid to show for it.

    Attributes
    ----------
    zone : str
    start, end : int
        First minute and the one after the last.
    kg, kg_sd : float
        Sucrose consumed above the tank's usual, and its error from the analyses [kg].
    z : float
        Rise of lactic acid in standard errors.
    lactic_rise_mg_kg : float
        Mean rise across the tank above its usual [mg/kg].
    temp_degc : float
        Mean temperature of the spell [degC].
    samples : int
        Laboratory results that speak.
    juice_kg : float
        Juice that left the tank meanwhile [kg].
    """

    zone: str
    start: int
    end: int
    kg: float
    kg_sd: float
    z: float
    lactic_rise_mg_kg: float
    temp_degc: float
    samples: int
    juice_kg: float


def find_microbial(minutes: Minutes, lab: pl.DataFrame, station: Station) -> list[MicrobialSpan]:
    """Cool spells of tanks in which lactic acid rose.

    Returns
    -------
    list of MicrobialSpan
        Empty where the laboratory does not report lactic acid on both sides of a tank.
    """
    found = []
    for vessel in station.vessels:
        if (
            vessel.kind not in ("liming_tank", "clear_juice_tank")
            or vessel.name not in minutes.zones
        ):
            continue
        rise = _lactic_rise(lab, minutes, station, vessel.name)
        if len(rise) < 4:
            continue
        temp = minutes.zones[vessel.name]["temp_degc"]
        limit = min(WARM_LIMIT_DEGC, vessel.temp_degc - _COOLER_THAN_TARGET_K)
        runs = bridge_runs(runs_of(_smooth(temp) < limit), 60)
        usual, spread = _usual(rise, runs)
        for start, end in runs:
            if end - start >= _SHORTEST_MIN:
                span = _convict(minutes, station, vessel.name, rise, (start, end), usual, spread)
                found += [span] if span.z >= 2.5 and span.kg > 0 else []
    return found


def _smooth(temp: Array) -> Array:
    """Bridge missing minutes so that a gap does not cut a spell in two."""
    known = np.flatnonzero(np.isfinite(temp))
    if len(known) == 0:
        return np.full(len(temp), np.inf)
    return np.asarray(np.interp(np.arange(len(temp)), known, temp[known]))


def _lactic_rise(lab: pl.DataFrame, minutes: Minutes, station: Station, vessel: str) -> LabSeries:
    """Lactic acid after the tank less that before it, at the sampling times after it."""
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


def _usual(rise: LabSeries, runs: list[tuple[int, int]]) -> tuple[float, float]:
    """Usual rise and its spread, from samples outside cool spells."""
    calm = np.ones(len(rise), dtype=bool)
    for start, end in runs:
        calm &= ~((rise.times_h * 60 >= start) & (rise.times_h * 60 <= end + 180))
    chosen = rise.values[calm] if calm.sum() >= 4 else rise.values
    return float(np.median(chosen)), robust_sd(chosen)


def _convict(
    minutes: Minutes,
    station: Station,
    zone: str,
    rise: LabSeries,
    run: tuple[int, int],
    usual: float,
    spread: float,
) -> MicrobialSpan:
    start, end = run
    within = (rise.times_h * 60 >= start) & (rise.times_h * 60 < end)
    count = int(within.sum())
    above = rise.values[within] - usual
    error = np.hypot(rise.sd[within], spread)
    z = float(above.sum() / math.sqrt((error**2).sum())) if count else 0.0
    hours = minutes.hours[start:end]
    # Growth starts from the usual level when the tank turns cool.
    knots = np.concatenate([[hours[0]], rise.times_h[within]])
    level = np.interp(hours, knots, np.concatenate([[0.0], above]))
    columns = minutes.zones[zone]
    mass_kg_h = np.nan_to_num(columns["flow_out_m3_h"][start:end]) * _density(columns, start, end)
    yield_kg = station.kinetics.sucrose_per_lactic_kg_kg
    kg = float((np.maximum(level, 0.0) * 1e-6 * mass_kg_h).sum()) * yield_kg / 60.0
    sample_error = (
        math.sqrt((error**2).sum()) / max(float(np.abs(above).sum()), 1e-9) if count else 1
    )
    temp = float(np.nanmean(columns["temp_degc"][start:end]))
    mean = float(above.mean()) if count else 0.0
    juice_kg = float(mass_kg_h.sum()) / 60.0
    kg_sd = abs(kg) * sample_error
    return MicrobialSpan(zone, start, end, kg, kg_sd, z, mean, temp, count, juice_kg)


def _density(columns: dict[str, Array], start: int, end: int) -> float:
    """Juice density [kg/m3] to within 2 %: enough beside the error of lactic acid analyses."""
    return 1000.0 + 3.9 * float(np.nanmean(columns["brix_pct"][start:end])) - 22.0
