"""All evidence of growth in one tank, weighed together against the same question in calm hours."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, softmax, stdtr

from models.base import Array, robust_sd
from models.detect.contrast import Memory, Points, around, memory_of, rises
from models.detect.microbial_growth import (
    GROWTHS,
    Belief,
    Reading,
    believe,
    eaten_course_pct,
    mixed,
)
from models.detect.microbial_lab import lab_lines
from models.detect.microbial_lime import lime_line
from models.detect.microbial_line import Line, Tank

#: What was made lasts in the station after the tank is warm again [h].
WASHOUT_H = 4.0
#: The question is asked so far apart where nothing happened [min], and where no more than this
#: share of the time is masked.
_APART_MIN, _MOST_MASKED = 180, 0.1
#: What is believed of the answers there before they are heard: median and spread (the best of three
#: courses of unit normals that go together; computed), and their worth in answers (judgement).
_PRIOR_MEDIAN, _PRIOR_SPREAD, _PRIOR_WORTH = 0.35, 1.1, 6.0
_LEAST_ANSWERS = 8
#: So much wider than stated is an error believed where that cannot be tried [-] (judgement).
_UNTRIED = 1.3
_LEAST_CALM = 8
#: No record of weeks shows that chance is rarer.
_LEAST_P = 1e-7

#: Rise and its error, by course and line: shape (courses, lines, 2).
Answer = NDArray[np.float64]


@dataclass(frozen=True)
class Weighed:
    """What all evidence says of a cool spell.

    Attributes
    ----------
    kg, log_sd : float
        Sucrose eaten if anything grew, mean of what is believed [kg], and the error of its
        logarithm.
    z, p_value : float
        Strength in standard errors, and the chance of as much without growth.
    probability : float
        Chance of growth, evidence and prior together [-].
    readings : tuple of Reading
        What each kind of evidence says, with the course of growth that suits them best.
    """

    kg: float
    log_sd: float
    z: float
    p_value: float
    probability: float
    readings: tuple[Reading, ...]


@dataclass(frozen=True)
class Scales:
    """One tank with its evidence, ready to be asked of any spell.

    Attributes
    ----------
    tank : Tank
    masked : ndarray of bool, shape (n,)
        True in minutes that are no calm hours.
    lines : list of Line
    memories : list of Memory
        Noise of each line.
    courses : list of ndarray, each shape (n,)
        Sucrose eaten by minute for each kg/m3/h at full growth, by kind of growth [%].
    """

    tank: Tank
    masked: NDArray[np.bool_]
    lines: list[Line]
    memories: list[Memory]
    courses: list[Array]

    @classmethod
    def of(
        cls, tank: Tank, temp_degc: Array, bias: Mapping[str, Array], masked: NDArray[np.bool_]
    ) -> Scales:
        """Gather the evidence of a tank.

        Parameters
        ----------
        tank : Tank
        temp_degc : ndarray, shape (n,)
            Its temperature without gaps.
        bias : mapping of str to ndarray, shape (n,)
            Reading minus truth of the pH probes at ``mixed`` and ``limed`` [pH].
        masked : ndarray of bool, shape (n,)
        """
        found = lab_lines(tank)
        if tank.vessel.kind == "liming_tank":
            found += [line for line in [lime_line(tank, temp_degc, bias)] if line is not None]
        lines, memories = [], []
        for line in found:
            calm = ~masked[_minute(line.hours, len(masked))]
            if calm.sum() >= _LEAST_CALM:
                lines.append(line)
                memories.append(memory_of(line.hours[calm], line.pct[calm], line.sd[calm]))
        name = tank.vessel.name
        courses = [eaten_course_pct(tank.minutes, name, temp_degc, *grown) for grown in GROWTHS]
        return cls(tank, masked, lines, memories, courses)

    def weigh(self, start: int, end: int) -> Weighed | None:
        """What the evidence says of a cool spell; None where there is none.

        Parameters
        ----------
        start, end : int
            First minute and the one after the last.
        """
        if not self.lines:
            return None
        own, *calm = self._ask(start, end, [0, *self._calm_shifts(start, end)])
        widths = _widths(calm, len(self.lines))
        z, best = _strength(own, widths)
        others = np.array([_strength(answer, widths)[0] for answer in calm])
        overlap = (end - start) / _APART_MIN
        z, p_value = against(z, others, overlap)
        per_course = [self._readings(answer, widths, start, end) for answer in own]
        beliefs = [believe(readings) for readings in per_course]
        kg, log_sd = self._amount(start, end, beliefs)
        sure = mixed(beliefs).probability
        return Weighed(kg, log_sd, z, p_value, sure, tuple(per_course[best]))

    def _calm_shifts(self, start: int, end: int) -> list[int]:
        """By how much the spell is moved to where nothing is known to have happened [min]."""
        width = end - start + int(60 * WASHOUT_H)
        firsts = range(0, len(self.masked) - (end - start), _APART_MIN)
        return [f - start for f in firsts if self.masked[f : f + width].mean() <= _MOST_MASKED]

    def _ask(self, start: int, end: int, shifts: Sequence[int]) -> list[Answer]:
        """Rise of every line with every course of the spell, moved by so many minutes each."""
        moved = np.array(shifts)
        first_h, last_h = (start + moved) / 60.0, (end + moved) / 60.0 + WASHOUT_H
        # What is expected of the spell reaches no further than its own hours.
        clock = np.arange(max(start - 1, 0), min(end + int(60 * WASHOUT_H) + 2, len(self.masked)))
        answer = np.zeros((len(shifts), len(self.courses), len(self.lines), 2))
        for i, (line, memory) in enumerate(zip(self.lines, self.memories, strict=True)):
            masked = self.masked[_minute(line.hours, len(self.masked))]
            inside, taken = around(line.hours, first_h, last_h, masked)
            expected = np.zeros((len(shifts), len(self.courses), len(line.hours)))
            ask, point = np.nonzero(inside)
            then = line.hours[point] - moved[ask] / 60.0
            for k, course in enumerate(self.courses):
                expected[ask, k, point] = np.interp(then, clock / 60.0, course[clock])
            points = Points(line.hours, line.pct, line.sd, line.by_temp)
            answer[:, :, i] = rises(points, taken, expected, memory)
        return list(answer)

    def _readings(self, answer: Array, widths: Array, start: int, end: int) -> list[Reading]:
        out = []
        for line, (eaten, sd), width in zip(self.lines, answer, widths, strict=True):
            if math.isfinite(sd):
                inside = (line.hours >= start / 60.0) & (line.hours < end / 60.0 + WASHOUT_H)
                count, scale = int(inside.sum()), line.scale_log_sd
                size = float(eaten), float(sd * width)
                out.append(Reading(line.name, *size, line.on_acid, scale, count))
        return out

    def _amount(self, start: int, end: int, beliefs: Sequence[Belief]) -> tuple[float, float]:
        """Sucrose eaten over all courses [kg] and the error of its logarithm.

        Slow growth reaches less of what is eaten at full growth: each course has its own amount.
        """
        fed = np.nan_to_num(self.tank.minutes.station["sucrose_feed_kg_h"][start:end]) / 60.0
        full = np.array([float(fed @ course[start:end]) / 100.0 for course in self.courses])
        means = np.array([b.log_mean for b in beliefs]) + np.log(np.maximum(full, 1e-9))
        weight = softmax(np.array([b.log_odds for b in beliefs]))
        mean = float(weight @ means)
        spread = np.array([b.log_sd for b in beliefs]) ** 2 + (means - mean) ** 2
        variance = float(weight @ spread)
        # The mean, not the middle: findings are added up.
        return math.exp(mean + 0.5 * variance), math.sqrt(variance)


def _minute(hours: Array, n: int) -> NDArray[np.int64]:
    return np.clip(np.floor(hours * 60.0), 0, n - 1).astype(np.int64)


def _widths(calm: Sequence[Answer], lines: int) -> Array:
    """How many times wider the answers of each line lie in calm hours than its error says."""
    out = np.full(lines, _UNTRIED)
    if not calm:
        return out
    stacked = np.stack(calm)
    z, known = stacked[..., 0] / stacked[..., 1], np.isfinite(stacked[..., 1])
    for i in range(lines):
        own = z[:, :, i][known[:, :, i]]
        if len(own) >= _LEAST_ANSWERS:
            out[i] = max(robust_sd(own), 1.0)
    return out


def _strength(answer: Answer, widths: Array) -> tuple[float, int]:
    """Strength of all lines together with the course that suits best, and which that is."""
    weight = 1.0 / (answer[..., 1] * widths) ** 2
    total = weight.sum(axis=1)
    summed = (answer[..., 0] * weight).sum(axis=1)
    z = np.where(total > 0.0, summed / np.sqrt(np.maximum(total, 1e-300)), 0.0)
    best = int(np.argmax(z))
    return float(z[best]), best


def against(z: float, calm: Array, overlap: float) -> tuple[float, float]:
    """Strength of an answer beside those of calm hours.

    Parameters
    ----------
    z : float
        Its strength by its own error.
    calm : ndarray, shape (m,)
        Strength of the same question where nothing happened.
    overlap : float
        How many neighbouring answers rest on the same hours.

    Returns
    -------
    tuple of float
        Standard errors of a normal noise that would make as much as rarely, and that chance, at
        least 1e-7: Student's t, with as many degrees of freedom as the calm answers are worth.
    """
    worth = len(calm) / max(overlap, 1.0)
    median, spread = _PRIOR_MEDIAN, _PRIOR_SPREAD
    if len(calm) >= _LEAST_ANSWERS:
        share = worth / (worth + _PRIOR_WORTH)
        median += share * (float(np.median(calm)) - median)
        spread = math.sqrt((1.0 - share) * spread**2 + share * robust_sd(calm) ** 2)
    chance = float(stdtr(worth + _PRIOR_WORTH, (median - z) / spread))
    if len(calm):
        # What was seen as often in calm hours is no rarer than that, whatever the tail says.
        chance = max(chance, float((calm >= z).mean()))
    chance = min(max(chance, _LEAST_P), 1.0 - _LEAST_P)
    return -float(ndtri(chance)), chance
