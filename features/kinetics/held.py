"""Juice held hot for hours: sucrose inverts, reducing sugars come and go, and the juice sours.

The three go on together: acid made from reducing sugars lowers the pH, which hastens inversion,
which makes reducing sugars. `hold` integrates them as one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from features.base import FloatArray, Kinetics
from features.kinetics.acid import BUFFER_BRIX_PCT, LN3, hexose_mmol_kg
from features.kinetics.kinetics import (
    INVERT_PER_SUCROSE,
    inversion_1_h,
    ph_at_process,
    rs_destruction_1_h,
)

#: First step of the integration [h]; halved until the result moves by less than this share [-].
_STEP_H, _TOLERANCE = 0.25, 1e-4
_MOST_HALVINGS, _MOST_STEPS = 8, 5000


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """What a hold did; every field has the shape of the arguments, broadcast.

    Attributes
    ----------
    sucrose_lost_pct : ndarray
        Sucrose inverted [% of the sucrose at the start].
    rs_made_pct : ndarray
        Reducing sugars made by it [per 100 sucrose at the start].
    rs_left_pct : ndarray
        Reducing sugars at the end [per 100 sucrose at the start]; they can fall meanwhile.
    ph_end : ndarray
        pH of a cooled sample at the end [-].
    temp_end_degc : ndarray
        Temperature at the end [degC].
    """

    sucrose_lost_pct: FloatArray
    rs_made_pct: FloatArray
    rs_left_pct: FloatArray
    ph_end: FloatArray
    temp_end_degc: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """What drives a hold: temperature over time and constants of the juice."""

    temp_degc: FloatArray
    cooling_k_h: FloatArray
    brix_pct: FloatArray
    ph_per_rs: FloatArray
    multiplier: FloatArray
    kinetics: Kinetics

    def derivatives(self, clock_h: FloatArray, state: FloatArray) -> FloatArray:
        """Change per hour of sucrose, reducing sugars (per sucrose at the start) and pH."""
        sucrose, reducing, ph = state
        temp = self.temp_degc - self.cooling_k_h * clock_h
        hot = ph_at_process(ph, temp, self.kinetics.ph_slope, self.kinetics.ph_ref_degc)
        rate = self.multiplier * inversion_1_h(hot, temp, self.brix_pct)
        destroyed = rs_destruction_1_h(ph, temp, self.kinetics.rs_rate_ph7_1_h) * reducing
        inverted = rate * sucrose
        made = INVERT_PER_SUCROSE * inverted
        return np.stack((-inverted, made - destroyed, -destroyed * self.ph_per_rs))


def hold(  # noqa: PLR0913 - each is a property of the juice or of the hold
    ph_cold: ArrayLike,
    temp_degc: ArrayLike,
    brix_pct: ArrayLike,
    rs_per_sucrose_pct: ArrayLike,
    hours: ArrayLike,
    *,
    cooling_k_h: ArrayLike = 0.0,
    purity_pct: ArrayLike = 84.0,
    multiplier: ArrayLike = 1.0,
    kinetics: Kinetics | None = None,
) -> Held:
    """Hold juice in a vessel with nothing flowing in or out.

    Parameters
    ----------
    ph_cold : array_like
        pH of a cooled sample at the start [-], 6 to 9.
    temp_degc : array_like
        Temperature at the start [degC], 60 to 130 from start to end; cooler juice hardly
        inverts, but may feed microbes, which are not part of this.
    brix_pct : array_like
        Dissolved solids [% by mass], above 0 and below 80.
    rs_per_sucrose_pct : array_like
        Reducing sugars per 100 sucrose at the start [%].
    hours : array_like
        Length of the hold [h], 0 to 240.
    cooling_k_h : array_like
        Linear cooling [K/h]; negative for heating.
    purity_pct : array_like
        Sucrose in the dissolved solids [%].
    multiplier : array_like
        Times the published inversion rate [-].
    kinetics : Kinetics or None
        The site's slope of pH, destruction rate, acid and buffer; defaults where None. Its own
        multiplier is not used.

    Returns
    -------
    Held
        Arrays of the common shape of the arguments.

    Raises
    ------
    ValueError
        If hours are negative, longer than 240 or not a number, or Brix is out of range.

    Notes
    -----
    Runge and Kutta's fourth-order steps, halved until no result moves by more than 1e-4 of
    itself (then good to 1e-5); the tests integrate the same equations with scipy. Sources as in
    `features.kinetics` and `features.kinetics.acid`. The level of the rates is a floor and a shape
    (see `inversion_1_min`); the figures advise.
    """
    site = Kinetics() if kinetics is None else kinetics
    juice, rest = (ph_cold, temp_degc, brix_pct, rs_per_sucrose_pct), (purity_pct, multiplier)
    given = (np.asarray(value, float) for value in (*juice, hours, cooling_k_h, *rest))
    return _held(np.broadcast_arrays(*given), site)


def _held(given: Sequence[FloatArray], site: Kinetics) -> Held:
    """Hold juice; the arguments of `hold` in their order, as arrays of one shape."""
    ph, temp, brix, rs_pct, length, cooling, purity, times = given
    _check(length, brix)
    # What buffers the juice thickens with it: acid against buffer does not depend on Brix.
    hexose = hexose_mmol_kg(BUFFER_BRIX_PCT, purity, 100.0)
    per_rs = np.asarray(hexose * site.acid_per_hexose / site.buffer_meq_kg_ph)
    course = _Course(temp, cooling, brix, per_rs, times, site)
    start = np.stack((np.ones_like(ph), rs_pct / 100.0, ph))
    end = _converged(course, start, length)
    lost = 1.0 - end[0]
    return Held(
        sucrose_lost_pct=100.0 * lost,
        rs_made_pct=100.0 * INVERT_PER_SUCROSE * lost,
        rs_left_pct=100.0 * end[1],
        ph_end=end[2],
        temp_end_degc=temp - cooling * length,
    )


def _check(hours: FloatArray, brix_pct: FloatArray) -> None:
    """Refuse what cannot be held."""
    if not bool(np.all((hours >= 0.0) & (hours <= 240.0))):
        raise ValueError("hold: hours must be from 0 to 240; give the length of the hold in hours")
    if not bool(np.all((brix_pct > 0.0) & (brix_pct < 80.0))):
        raise ValueError("hold: Brix must lie above 0 and below 80 %; give per cent by mass")


def _converged(course: _Course, start: FloatArray, hours: FloatArray) -> FloatArray:
    """State at the end of the hold, with steps as short as it takes."""
    hottest = np.maximum(course.temp_degc, course.temp_degc - course.cooling_k_h * hours)
    destroyed = rs_destruction_1_h(start[2], hottest, course.kinetics.rs_rate_ph7_1_h)
    fastest = destroyed * (1.0 + LN3 * start[1] * course.ph_per_rs)
    needed = hours * np.maximum(1.0 / _STEP_H, 2.0 * fastest)
    steps = int(np.clip(np.ceil(np.max(needed, initial=2.0)), 2, _MOST_STEPS))
    end = _integrate(course, start, hours, steps)
    for _ in range(_MOST_HALVINGS):
        steps *= 2
        before, end = end, _integrate(course, start, hours, steps)
        change = np.abs(end - before)
        # The loss is what is missing of 1; the other two are judged as they are.
        small = _TOLERANCE * np.stack((np.abs(1.0 - end[0]), np.abs(end[1]), np.abs(end[2])))
        if bool(np.all(change <= small)):
            break
    return end


def _integrate(course: _Course, start: FloatArray, hours: FloatArray, steps: int) -> FloatArray:
    """State at the end of the hold."""
    step, state = hours / steps, start
    for number in range(steps):
        clock = step * number
        first = course.derivatives(clock, state)
        second = course.derivatives(clock + 0.5 * step, state + 0.5 * step * first)
        third = course.derivatives(clock + 0.5 * step, state + 0.5 * step * second)
        fourth = course.derivatives(clock + step, state + step * third)
        state = state + step / 6.0 * (first + 2.0 * second + 2.0 * third + fourth)
    return state
