"""How bad manners bend the driving series of a plant: noise, hands, hours of the day, weather."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter
from scipy.stats import norm, t

from models.simulator import parameters as p
from models.simulator.manners import Manners

Floats = NDArray[np.float64]
#: From one wander of the everyday unrest, and its standard deviation, to what the plant does.
Bend = Callable[[Floats, float], Floats]

#: Drives that change by a share (by a factor ``exp``); all others in their own unit.
BY_SHARE = ("rate", "rs", "lactic", "cooling", "turbidity", "underflow", "multiplier", "infection")
#: What each drive's ordinary unrest moves [its unit, or share]; as in `models.simulator.disturb`.
EVERYDAY_SD = {
    "rate": 0.055, "brix": 0.38, "purity": 0.7, "rs": 0.08, "ph_mixed": 0.05, "temp_mixed": 1.2,
    "ph_setpoint": 0.08, "temp_primary": 0.8, "temp_secondary": 0.7, "temp_heater": 0.8,
    "temp_evaporator": 0.8, "cooling": 0.15, "mud_level": 3.0, "tank_level": 3.0,
    "evaporator_level": 1.5, "turbidity": 0.19,
}  # fmt: skip
#: Sd of what hands set anew [unit, or share] (judgement).
HAND_STEP = {
    "rate": 0.04, "ph_setpoint": 0.06, "temp_primary": 1.0, "temp_secondary": 0.8,
    "temp_heater": 1.0, "temp_evaporator": 0.8, "mud_level": 5.0, "tank_level": 6.0,
    "evaporator_level": 2.0,
}  # fmt: skip
#: Half of what a day swings, highest at 15:00 [unit, or share] (judgement). Mixed juice follows
#: the air, standing juice cools less by day, and the night shift grinds a little less.
DAY = {"temp_mixed": 2.5, "cooling": -0.10, "rate": 0.025, "temp_primary": 0.4}
WARMEST_H = 15.0
#: Wet cane: mud and trash come along, juice is thinner, poorer and colder (judgement).
WET = {
    "brix": -0.8, "purity": -1.5, "rs": 0.20, "lactic": 0.20, "ph_mixed": -0.06, "rate": -0.05,
    "underflow": 0.25, "mud_level": 6.0, "turbidity": 0.35, "temp_mixed": -2.0,
}  # fmt: skip
WET_EVERY_D, WET_DAYS, WET_EDGE_H = 9.0, (1.0, 4.0), 8.0
#: What no hand and no noise goes beyond (judgement).
BOUNDS = {
    "brix": (9.0, 20.0), "purity": (70.0, 92.0), "ph_mixed": (4.5, 5.8), "temp_mixed": (20.0, 50.0),
    "ph_setpoint": (6.8, 8.2), "temp_primary": (55.0, 85.0), "temp_secondary": (95.0, 110.0),
    "temp_heater": (98.0, 122.0), "temp_evaporator": (105.0, 124.0), "mud_level": (5.0, 97.0),
    "tank_level": (8.0, 97.5), "evaporator_level": (30.0, 95.0),
}  # fmt: skip
_RATE_BOUNDS = (0.70, 1.20)
#: The filtrate tank is cleaned every so often; its infection grows from half to one and a half of
#: its mean in between (judgement) [h].
CLEANED_EVERY_H = 168.0
#: Memory of the size of the everyday unrest [h].
_VARIANCE_MEMORY_H = 24.0
_QUARTER_H, _WEEK_H = 0.25, 168.0
#: A heavy tail ends here [sd]: instruments and hands stop what goes further (judgement).
_TAIL_END = 8.0


def bend_of(manners: Manners | None, count: int) -> Bend:
    """Give what heavy tails and drifting variance make of each wander; without them, the same.

    Parameters
    ----------
    manners : Manners or None
    count : int
        Steps of the season.

    Returns
    -------
    callable
        From a wander, shape (count,), and its sd to the bent wander, which keeps that sd. Ranks
        stay as they were, so that memory stays nearly the same; the drift of variance is shared
        by all drives of the plant.
    """
    if manners is None or not (manners.tails_df or manners.variance_log_sd):
        return lambda wander, _sd: wander
    size = restlessness(manners, count)
    df = manners.tails_df

    def bend(wander: Floats, sd: float) -> Floats:
        if sd == 0.0:
            return wander
        if df:
            ranks = norm.cdf(wander / sd)
            scaled = t.ppf(ranks, df) * math.sqrt((df - 2.0) / df)
            wander = sd * np.clip(scaled, -_TAIL_END, _TAIL_END)
        return np.asarray(wander * size)

    return bend


def restlessness(manners: Manners, count: int) -> Floats:
    """Size of the everyday unrest over a season, mean square 1, shape (count,)."""
    log_sd = manners.variance_log_sd
    hours = _coarse_hours(count)
    keep = math.exp(-_QUARTER_H / _VARIANCE_MEMORY_H)
    fresh = manners.stream("variance").standard_normal(hours.size)
    # The first value comes from the long-run distribution.
    fresh[1:] *= math.sqrt(1.0 - keep * keep)
    course = log_sd * lfilter([1.0], [1.0, -keep], fresh) - log_sd * log_sd
    return np.asarray(np.exp(_fine(hours, course, count)))


def long_memory(rng: np.random.Generator, n: int, d: float) -> Floats:
    """ARFIMA(0, d, 0) noise of unit variance, drawn exactly.

    The spectrum of its circulant autocorrelation is drawn at random and turned back (R. B. Davies
    & D. S. Harte, Biometrika 74 (1987) 95-101; memory). Autocorrelation ``rho(k) = rho(k - 1)
    (k - 1 + d) / (k - d)`` (J. R. M. Hosking, Biometrika 68 (1981) 165-176; memory).

    Parameters
    ----------
    rng : Generator
    n : int
        Values wanted, at least 1.
    d : float
        Above 0, under 0.5.
    """
    k = np.arange(1, n + 1)
    rho = np.concatenate([[1.0], np.cumprod((k - 1 + d) / (k - d))])
    power = np.fft.fft(np.concatenate([rho, rho[-2:0:-1]])).real
    waves = rng.standard_normal(2 * n) + 1j * rng.standard_normal(2 * n)
    course = np.fft.fft(np.sqrt(np.clip(power, 0.0, None) / (2 * n)) * waves)
    return np.asarray(course.real[:n])


def misbehave(drive: dict[str, Floats], manners: Manners, *, steady: bool) -> dict[str, Floats]:
    """Put on top of the everyday series what hands, hours, weather and long memory do.

    Parameters
    ----------
    drive : dict of str to array, shape (T,)
        Everyday series with the ordinary stops in them; not changed.
    manners : Manners
    steady : bool
        True leaves only the kinetic multiplier and the filtrate's infection.

    Returns
    -------
    dict of str to array, shape (T,)
        A standing mill still stands: the feed rate is changed by a share.
    """
    count = len(drive["rate"])
    extra: dict[str, Floats] = {}

    def add(name: str, course: Floats) -> None:
        extra[name] = extra[name] + course if name in extra else course

    for name, course in [] if steady else _all_courses(manners, count):
        add(name, course)
    if manners.multiplier_walk:
        add("multiplier", multiplier_walk(manners, count))
    if manners.filtrate_share:
        add("infection", np.log(since_cleaning(count)))
    return drive | {name: _moved(name, drive[name], by) for name, by in extra.items()}


def multiplier_walk(manners: Manners, count: int) -> Floats:
    """Log of the kinetic multiplier's factor: a random walk from 0, shape (count,)."""
    hours = _coarse_hours(count)
    step = manners.multiplier_walk * math.sqrt(_QUARTER_H / _WEEK_H)
    walk = np.cumsum(manners.stream("multiplier").normal(0.0, step, hours.size))
    return _fine(hours, walk - walk[0], count)


def since_cleaning(count: int) -> Floats:
    """Infection of the filtrate tank, mean 1: grows from one cleaning to the next."""
    hours = np.arange(count, dtype=np.float64) * p.STEP_H
    return np.asarray(0.5 + (hours % CLEANED_EVERY_H) / CLEANED_EVERY_H)


def hand_moves(rng: np.random.Generator, hours: Floats, mean_h: float) -> Floats:
    """Levels of unit variance, each held for a time without memory, of mean `mean_h` [h]."""
    moves = rng.poisson(hours[-1] / mean_h)
    at = np.sort(rng.uniform(0.0, hours[-1], moves))
    return np.asarray(rng.standard_normal(moves + 1)[np.searchsorted(at, hours, "right")])


def shift_moves(rng: np.random.Generator, hours: Floats, shift_h: float) -> Floats:
    """Levels of unit variance, each held for one shift; shifts change at 06:00."""
    shift = np.floor((hours - 6.0) / shift_h).astype(np.int64) + 1
    return np.asarray(rng.standard_normal(shift[-1] + 1)[shift])


def wet_spells(rng: np.random.Generator, hours: Floats) -> Floats:
    """1 in spells of wet cane, 0 else, with edges of some hours."""
    wet = np.zeros_like(hours)
    at = float(rng.exponential(24.0 * WET_EVERY_D))
    while at < hours[-1]:
        end = at + 24.0 * float(rng.uniform(*WET_DAYS))
        knots = [at, at + WET_EDGE_H, end, end + WET_EDGE_H]
        wet = np.maximum(wet, np.interp(hours, knots, [0.0, 1.0, 1.0, 0.0]))
        at = end + float(rng.exponential(24.0 * WET_EVERY_D))
    return wet


def _all_courses(m: Manners, count: int) -> list[tuple[str, Floats]]:
    """Every change by drive and manner, in the drive's unit (or share)."""
    hours = np.arange(count, dtype=np.float64) * p.STEP_H
    quarters = _coarse_hours(count)
    out: list[tuple[str, Floats]] = []
    if m.memory_d and m.memory_sd:
        for name, sd in EVERYDAY_SD.items():
            slow = long_memory(m.stream(f"memory {name}"), quarters.size, m.memory_d)
            out.append((name, _fine(quarters, m.memory_sd * sd * slow, count)))
    for name, step in HAND_STEP.items():
        if m.hand_every_h:
            moves = hand_moves(m.stream(f"hand {name}"), hours, m.hand_every_h)
            out.append((name, m.hand_size * step * moves))
        if m.shift_h:
            moves = shift_moves(m.stream(f"shift {name}"), hours, m.shift_h)
            out.append((name, m.shift_size * step * moves))
    if m.daily_size:
        day = np.cos(2.0 * math.pi * (hours - WARMEST_H) / 24.0)
        out += [(name, m.daily_size * by * day) for name, by in DAY.items()]
    if m.weather_size:
        wet = wet_spells(m.stream("weather"), hours)
        out += [(name, m.weather_size * by * wet) for name, by in WET.items()]
    return out


def _moved(name: str, course: Floats, by: Floats) -> Floats:
    """A drive moved by its manners, kept within what a mill does."""
    if name == "rate":
        top = np.clip(1.0 + by, *_RATE_BOUNDS)
        return np.asarray(np.minimum(course * top, _RATE_BOUNDS[1]))
    if name in BY_SHARE:
        return np.asarray(course * np.exp(by))
    return np.asarray(np.clip(course + by, *BOUNDS[name]))


def _coarse_hours(count: int) -> Floats:
    """Quarter-hours that span a season [h]."""
    return np.asarray(np.arange(math.ceil(count * p.STEP_H / _QUARTER_H) + 1) * _QUARTER_H)


def _fine(hours: Floats, course: Floats, count: int) -> Floats:
    """The course by step, straight between quarter-hours."""
    return np.asarray(np.interp(np.arange(count) * p.STEP_H, hours, course))
