"""Loss to microbes in a tank that runs cool.

Inversion kinetics say that a cool tank saves sucrose; microbes disagree. Lactic acid after the tank
and before it convicts them. Where none is analysed they still leave traces: their acid costs lime,
pol falls without reducing sugars rising. Each trace alone is weak, so they are weighed together:
how much of the course that growth would take lies in each, against the same question asked of hours
when no tank was cool. A cool spell that the traces do not speak for is no finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.stats import norm

from features.base import Station, Vessel
from features.flow import temperature_source
from models.base import Array, Minutes, Settings, bridge_runs, runs_of
from models.detect.channels import moves
from models.detect.microbial_growth import YIELD_LOG_SD, Reading
from models.detect.microbial_lactic import LacticRise, lactic_of_spells, mass_kg_h
from models.detect.microbial_line import Tank
from models.detect.microbial_weigh import WASHOUT_H, Scales, Weighed

#: Below this thermophiles thrive, above it hardly anything grows (memory: 50-75 degC).
WARM_LIMIT_DEGC = 75.0
_COOLER_THAN_USUAL_K = 6.0
_SHORTEST_MIN = 120
_TANKS = ("liming_tank", "clear_juice_tank")
#: A tank's usual is what it reaches in a quarter of its time: it may be cool for days.
_USUAL = 0.75
#: Chance that a cool spell without growth passes for one with it, and the share of all false
#: findings that all cool spells together may make: the smaller rate holds.
_MOST_P, _MOST_SHARE = 0.1, 0.2
#: Lactic acid that convicts makes microbes so likely at the least [-] (judgement).
_BY_LACTIC = 0.9
_MINUTES_A_WEEK = 10_080.0


@dataclass(frozen=True)
class MicrobialSpan:
    """A cool spell with something to show for it.

    Attributes
    ----------
    zone : str
    start, end : int
        First minute and the one after the last.
    kg : float
        Sucrose eaten above the tank's usual [kg].
    log_sds : dict of str to float
        Errors of its logarithm, by name [-].
    z, p_value : float
        Strength of the evidence in standard errors, and the chance of as much without growth.
    probability : float
        Chance of growth, evidence and prior together [-].
    by_lactic : bool
        True where lactic acid was measured and convicts by itself; the amount is then its own.
    lactic_rise_mg_kg : float
        Lactic acid made in the tank above its usual, mean over the juice [mg/kg]: measured, or what
        the sucrose eaten comes to.
    temp_degc : float
        Mean temperature of the spell [degC].
    samples : int
        Laboratory results that speak: of lactic acid where that convicts.
    juice_kg : float
        Juice that left the tank meanwhile [kg].
    readings : tuple of Reading
        What each kind of evidence says.
    by_inlet : bool
        True where the temperature is that of the juice flowing in: the tank has no thermometer.
    """

    zone: str
    start: int
    end: int
    kg: float
    log_sds: dict[str, float]
    z: float
    p_value: float
    probability: float
    by_lactic: bool
    lactic_rise_mg_kg: float
    temp_degc: float
    samples: int
    juice_kg: float
    readings: tuple[Reading, ...] = ()
    by_inlet: bool = False


def find_microbial(
    minutes: Minutes,
    lab: pl.DataFrame,
    station: Station,
    bias: Mapping[str, Array] | None = None,
    settings: Settings | None = None,
) -> list[MicrobialSpan]:
    """Cool spells of tanks in which the evidence says that something grew.

    Parameters
    ----------
    minutes : Minutes
    lab : DataFrame
        Results, as for ``models.find.find_losses``.
    station : Station
    bias : mapping of str to ndarray, shape (n,), optional
        Reading minus truth of the pH probes at ``mixed`` and ``limed`` [pH].
    settings : Settings, optional

    Returns
    -------
    list of MicrobialSpan
        Empty where neither lime nor the laboratory speaks of a tank.
    """
    settings = (settings or Settings()).at(station.targets)
    tanks = [v for v in station.vessels if v.kind in _TANKS and v.name in minutes.zones]
    temps = {v.name: tank_degc(minutes, station, v) for v in tanks}
    spells = {v.name: cool_spells(minutes, temps[v.name]) for v in tanks}
    count = sum(len(runs) for runs in spells.values())
    masked = _masked(minutes, spells)
    found = []
    for vessel in tanks:
        runs = spells[vessel.name]
        if not runs:
            continue
        temp = temps[vessel.name]
        tank = Tank(minutes, lab, station, vessel)
        scales = Scales.of(tank, temp, bias or {}, masked)
        by_lactic = lactic_of_spells(minutes, lab, station, vessel.name, runs)
        for run, lactic in zip(runs, by_lactic, strict=True):
            weighed = scales.weigh(*run)
            if lactic is not None and lactic.convicts:
                span = _by_lactic(tank, run, lactic, weighed)
            elif weighed is not None and _speaks(weighed, settings, minutes.n, count):
                span = _by_all(tank, run, weighed)
            else:
                continue
            found.append(replace(span, temp_degc=float(temp[slice(*run)].mean())))
    return found


def _speaks(weighed: Weighed, settings: Settings, n: int, spells: int) -> bool:
    """Whether the evidence of a cool spell is enough for a line on the list."""
    allowed = _MOST_SHARE * settings.false_findings_per_week * n / _MINUTES_A_WEEK
    most_p = min(_MOST_P, allowed / max(spells, 1))
    enough = weighed.kg >= settings.smallest_kg
    return weighed.p_value <= most_p and weighed.probability > 0.5 and enough


def tank_degc(minutes: Minutes, station: Station, tank: Vessel) -> Array:
    """Temperature of a tank without gaps [degC]; infinite where nothing tells.

    Juice comes into a tank as warm as the vessel before it lets it go: that one speaks for a tank
    without a thermometer.
    """
    own = minutes.zones[tank.name]["temp_degc"]
    if moves(own):
        return _smooth(own)
    before = [v for v in station.vessels if v.step < tank.step and v.name in minutes.zones]
    nearest = max(before, key=lambda v: v.step, default=None)
    if nearest is None:
        return _smooth(own)
    inlet = minutes.zones[nearest.name]["temp_degc"]
    return _smooth(inlet) if moves(inlet) else _smooth(own)


def cool_spells(minutes: Minutes, temp: Array) -> list[tuple[int, int]]:
    """Periods of at least two hours in which a tank ran well below its usual, warm enough to grow.

    Parameters
    ----------
    minutes : Minutes
    temp : ndarray, shape (n,)
        Temperature of the tank without gaps [degC].

    Returns
    -------
    list of tuple of int
        First minute and the one after the last.
    """
    running = ~minutes.stopped & np.isfinite(temp)
    if not running.any():
        return []
    limit = min(WARM_LIMIT_DEGC, float(np.quantile(temp[running], _USUAL)) - _COOLER_THAN_USUAL_K)
    runs = bridge_runs(runs_of(temp < limit), 60)
    return [(a, b) for a, b in runs if b - a >= _SHORTEST_MIN and running[a:b].mean() >= 0.5]


def _smooth(temp: Array) -> Array:
    """Bridge missing minutes so that a gap does not cut a spell in two."""
    known = np.flatnonzero(np.isfinite(temp))
    if len(known) == 0:
        return np.full(len(temp), np.inf)
    return np.asarray(np.interp(np.arange(len(temp)), known, temp[known]))


def _masked(minutes: Minutes, spells: Mapping[str, list[tuple[int, int]]]) -> NDArray[np.bool_]:
    """True in minutes that are no calm hours: cool tanks with what follows, and stops."""
    masked = minutes.stopped.copy()
    for runs in spells.values():
        for start, end in runs:
            masked[start : end + int(60 * WASHOUT_H)] = True
    return masked


def _by_lactic(
    tank: Tank, run: tuple[int, int], lactic: LacticRise, weighed: Weighed | None
) -> MicrobialSpan:
    """Lactic acid sets the amount; the other evidence can only make it surer."""
    errors = {"sucrose_per_lactic": YIELD_LOG_SD, "analyses": lactic.kg_sd / lactic.kg}
    alone = float(norm.sf(lactic.z))
    if weighed is None:
        return _span(tank, run, lactic.kg, errors, (lactic.z, alone, _BY_LACTIC), lactic.samples)
    z, p_value = max(lactic.z, weighed.z), min(alone, weighed.p_value)
    sure = (z, p_value, max(_BY_LACTIC, weighed.probability))
    return _span(tank, run, lactic.kg, errors, sure, lactic.samples, weighed.readings)


def _by_all(tank: Tank, run: tuple[int, int], weighed: Weighed) -> MicrobialSpan:
    """All evidence together sets the amount."""
    sure = (weighed.z, weighed.p_value, weighed.probability)
    samples = sum(r.samples for r in weighed.readings if r.name != "lime")
    errors = {"microbial_evidence": weighed.log_sd}
    return _span(tank, run, weighed.kg, errors, sure, samples, weighed.readings)


def _span(
    tank: Tank,
    run: tuple[int, int],
    kg: float,
    log_sds: dict[str, float],
    sure: tuple[float, float, float],
    samples: int,
    readings: tuple[Reading, ...] = (),
) -> MicrobialSpan:
    columns = tank.minutes.zones[tank.vessel.name]
    juice_kg = float(mass_kg_h(columns, *run).sum()) / 60.0
    acid_kg = kg / tank.station.kinetics.sucrose_per_lactic_kg_kg
    return MicrobialSpan(
        zone=tank.vessel.name,
        start=run[0],
        end=run[1],
        kg=kg,
        log_sds=log_sds,
        z=sure[0],
        p_value=sure[1],
        probability=sure[2],
        by_lactic="analyses" in log_sds,
        lactic_rise_mg_kg=1e6 * acid_kg / juice_kg if juice_kg > 0.0 else 0.0,
        temp_degc=float(np.nanmean(columns["temp_degc"][slice(*run)])),
        by_inlet=temperature_source(tank.station, tank.vessel).told != "read",
        samples=samples,
        juice_kg=juice_kg,
        readings=readings,
    )
