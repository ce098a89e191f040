"""Everyday unrest of a station: what moves although nothing is wrong."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.simulator import parameters as p
from models.simulator.manners import Manners
from models.simulator.misbehave import Bend, bend_of, misbehave

Floats = NDArray[np.float64]
#: Driving series by name, each with one value a step.
Drive = dict[str, Floats]


def wander(rng: np.random.Generator, count: int, step_s: float, sd: float, tau_h: float) -> Floats:
    """Mean-reverting random walk.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    count : int
        Values wanted.
    step_s : float
        Time between two values [s].
    sd : float
        Long-run standard deviation, in the unit of the series.
    tau_h : float
        Correlation time [h].

    Returns
    -------
    array, shape (count,)
        Starts from its long-run distribution.
    """
    # A twentieth of the correlation time is fine enough; straight lines in between.
    coarse_s = max(step_s, tau_h * 3600.0 / 20.0)
    points = int(np.ceil(count * step_s / coarse_s)) + 2
    keep = np.exp(-coarse_s / (tau_h * 3600.0))
    shocks = rng.normal(0.0, sd * np.sqrt(1.0 - keep * keep), size=points).tolist()
    values = [float(rng.normal(0.0, sd))]
    for shock in shocks[1:]:
        values.append(values[-1] * keep + shock)
    return np.asarray(np.interp(np.arange(count) * step_s, np.arange(points) * coarse_s, values))


def _ordinary_stops(rng: np.random.Generator, hours: Floats) -> Floats:
    """1 while the mill runs, 0 in the two or three short stops a week, with brief ramps."""
    run = np.ones_like(hours)
    at_h = float(rng.exponential(60.0))
    while at_h < hours[-1]:
        length_h = rng.uniform(10.0, 35.0) / 60.0
        edge = np.interp(
            hours, [at_h, at_h + 0.05, at_h + length_h, at_h + length_h + 0.1], [1, 0, 0, 1]
        )
        run = np.minimum(run, edge)
        at_h += length_h + float(rng.exponential(65.0))
    return run


def _feed(rng: np.random.Generator, hours: Floats, scale: float, bend: Bend) -> Drive:
    count = hours.size

    def ou(sd: float, tau_h: float) -> Floats:
        return bend(wander(rng, count, p.STEP_S, sd * scale, tau_h), sd * scale)

    rate = 1.0 + ou(0.055, 3.5) + ou(0.02, 0.25)
    run = _ordinary_stops(rng, hours) if scale else np.ones(count)
    season = hours / 1344.0 * scale
    return {
        "rate": np.clip(rate, 0.75, 1.17) * run,
        "brix": p.BRIX_PCT + ou(0.35, 8.0) + ou(0.15, 0.6) + 0.2 * season,
        "purity": p.PURITY_PCT + ou(0.7, 18.0) + 0.6 * season,
        "rs": p.RS_PER_POL_PCT * np.exp(ou(0.08, 16.0) - 0.05 * season),
        "ph_mixed": p.PH_MIXED + ou(0.05, 4.0),
        "temp_mixed": 35.0 + ou(1.2, 6.0),
        "lactic": 0.22 * np.exp(ou(0.15, 10.0)),
        "imbibition": np.ones(count) + ou(0.03, 2.0),
        "phosphate": np.exp(ou(0.06, 30.0) + ou(0.02, 2.0)),
    }


def _operation(rng: np.random.Generator, count: int, scale: float, bend: Bend) -> Drive:
    def ou(sd: float, tau_h: float) -> Floats:
        return bend(wander(rng, count, p.STEP_S, sd * scale, tau_h), sd * scale)

    return {
        "ph_setpoint": p.PH_LIMED_TARGET + ou(0.075, 0.75) + ou(0.03, 14.0),
        "probe_bias": ou(0.03, 60.0),
        "lime_strength": np.exp(ou(0.05, 12.0)),
        "temp_primary": 72.0 + ou(0.8, 1.0),
        "temp_secondary": 103.0 + ou(0.7, 0.7),
        "temp_flash": 100.3 + ou(0.12, 6.0),
        "temp_heater": 110.0 + ou(0.8, 0.8),
        "temp_evaporator": 113.0 + ou(0.75, 1.2) + ou(0.3, 40.0),
        "cooling": np.exp(ou(0.15, 12.0)),
        "mud_level": p.MUD_LEVEL_PCT + ou(3.0, 5.0),
        "tank_level": p.TANK_LEVEL_PCT + ou(3.0, 3.0),
        "evaporator_level": p.EVAPORATOR_LEVEL_PCT + ou(1.5, 0.7),
        "evaporator_gain": 1.385 + ou(0.02, 4.0),
        "turbidity": np.exp(ou(0.16, 2.0) + ou(0.10, 20.0)),
    }


def everyday(
    rng: np.random.Generator,
    count: int,
    *,
    steady: bool = False,
    unrest: float = 1.0,
    manners: Manners | None = None,
) -> Drive:
    """Driving series of a season without events.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    count : int
        Steps of 30 s.
    steady : bool
        True holds everything at its nominal value.
    unrest : float
        Scale of every disturbance.
    manners : Manners, optional
        Bad manners on top, drawn from their own streams: what `rng` draws stays as it was. Heavy
        tails and drifting variance bend the unrest and grow with it, the others have sizes of
        their own. When `steady`, all but multiplier and infection keep quiet.

    Returns
    -------
    dict of str to array, shape (count,)
        Feed rate (share of nominal), Brix, purity [%], reducing sugars [% of sucrose], pH,
        temperatures [degC], set-points, levels [%] and shares; `multiplier` is the factor on the
        plant's kinetic multiplier, `infection` that on the microbes of its filtrate tank.
    """
    scale = 0.0 if steady else unrest
    hours = np.arange(count, dtype=np.float64) * p.STEP_H
    bend = bend_of(manners, count)
    drive = _feed(rng, hours, scale, bend) | _operation(rng, count, scale, bend)
    zeros, ones = np.zeros(count), np.ones(count)
    drive |= {"hold": zeros, "drain": zeros.copy(), "underflow": ones, "vigour": ones.copy()}
    drive |= {"flocculant": ones.copy(), "settling_fault": ones.copy()}
    drive |= {"multiplier": ones.copy(), "infection": ones.copy()}
    return drive if manners is None else misbehave(drive, manners, steady=steady)
