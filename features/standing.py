"""Juice held hot: how much sucrose goes while it stands, and how long it may."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from features.belief import Belief, Draws, Estimate, draw, estimate
from features.kinetics import (
    INVERT_PER_SUCROSE,
    inversion_1_h,
    ph_at_process,
    ph_at_sample,
    rs_destruction_1_h,
)
from features.numeric import FloatArray

Basis = Literal["cold", "hot"]
#: Juice standing in a mill cools to its surroundings and no further [degC].
COOLEST_DEGC = 20.0
#: Share of the sucrose whose loss the juice is given time for [%], and the longest time told [h].
TENTH_PCT, LONGEST_H = 0.1, 720.0
#: Where the published inversion kinetics hold (memory).
VALID_TEMP_DEGC, VALID_PH_HOT = (60.0, 130.0), (4.0, 8.0)
#: Lime that took one mill's mixed juice from pH 5.2 to 7.5, per pH and Brix [meq/kg/pH/%]:
#: 0.57 kg lime per t cane (confirmed: Eggleston 2003), about 1.05 t juice per t cane and 15 Brix
#: (common practice); computed. Impurities buffer, so it is taken to go with Brix.
BUFFER_MEQ_KG_PH_BRIX = 0.56
#: Acids made per hexose destroyed (estimate: 1 to 2).
ACIDS_PER_HEXOSE = 1.5
#: The acids made (formic, lactic) hold back their own protons: pH falls no further (memory: pKa).
LOWEST_PH = 3.5
_HEXOSE_G_MOL = 180.156
_STEP_H = 0.25


@dataclass(frozen=True, slots=True)
class Juice:
    """Juice at the start of its hold.

    Attributes
    ----------
    ph : float
        pH on the basis given, 4 to 9 [-].
    basis : {"cold", "hot"}
        pH of a cooled sample, or at the juice's own temperature.
    temp_degc, brix_pct : float
        Temperature [degC], 20 to 130, and dissolved solids [%], above 0 to 80.
    cooling_k_h : float
        Cooling [K/h], not below 0; it ends at `COOLEST_DEGC`.
    purity_pct : float
        Sucrose per 100 dissolved solids [%].
    """

    ph: float
    basis: Basis
    temp_degc: float
    brix_pct: float
    cooling_k_h: float = 0.0
    purity_pct: float = 84.0


@dataclass(frozen=True, slots=True)
class Moment:
    """The juice after some hours; losses are shares of the sucrose at the start [%]."""

    hours: float
    temp_degc: float
    ph: Estimate
    lost_pct: Estimate
    rs_made_pct: Estimate


@dataclass(frozen=True, slots=True)
class Standing:
    """What a hold does.

    Attributes
    ----------
    moments : tuple of Moment
        Start, every full hour, and the end.
    hours_to_tenth_pct : float or None
        Until 0.1 % of the sucrose is lost [h]; None when that takes longer than 30 days.
    beyond : tuple of str
        Conditions met on the way that lie outside the range of the published kinetics.
    """

    moments: tuple[Moment, ...]
    hours_to_tenth_pct: float | None
    beyond: tuple[str, ...]

    @property
    def end(self) -> Moment:
        """The juice at the end of the hold."""
        return self.moments[-1]


@dataclass(frozen=True, slots=True, eq=False)
class _Pot:
    """The juice of every draw, and what drives it."""

    juice: Juice
    ph_ref_degc: float
    rs_start: float
    draws: Draws
    ph_cold: FloatArray
    ph_per_destroyed: FloatArray

    def temp_degc(self, hours: float) -> float:
        """Temperature after some hours [degC]."""
        return max(self.juice.temp_degc - self.juice.cooling_k_h * hours, COOLEST_DEGC)

    def ph(self, hours: float, state: FloatArray, basis: Basis) -> FloatArray:
        """Give the pH of each draw on one basis [-]."""
        lowest = np.minimum(self.ph_cold, LOWEST_PH)
        cold = np.maximum(self.ph_cold - self.ph_per_destroyed * state[1], lowest)
        if basis == "cold":
            return cold
        hot = ph_at_process(cold, self.temp_degc(hours), self.draws.ph_slope, self.ph_ref_degc)
        return np.asarray(hot)

    def reducing_sugars(self, state: FloatArray) -> FloatArray:
        """Reducing sugars per sucrose at the start [-]."""
        made = -INVERT_PER_SUCROSE * np.expm1(-state[0])
        return np.asarray(np.maximum(self.rs_start + made - state[1], 0.0))

    def rs_rate_1_h(self, hours: float, state: FloatArray) -> FloatArray:
        """Rate of destruction of reducing sugars [1/h]."""
        cold = self.ph(hours, state, "cold")
        rate = rs_destruction_1_h(cold, self.temp_degc(hours), self.draws.rs_rate_ph7_1_h)
        return np.asarray(rate)

    def change(self, hours: float, state: FloatArray) -> FloatArray:
        """Growth of dose and of what was destroyed, shape (2, draws) [1/h]."""
        hot = self.ph(hours, state, "hot")
        inverting = inversion_1_h(hot, self.temp_degc(hours), self.juice.brix_pct)
        destroying = self.rs_rate_1_h(hours, state) * self.reducing_sugars(state)
        return np.stack((self.draws.multiplier * inverting, destroying))

    def longest_step_h(self, hours: float, state: FloatArray) -> float:
        """Step in which nothing changes by much [h]: acid brakes its own making."""
        brake = 1.0 + np.log(3.0) * self.ph_per_destroyed * self.reducing_sugars(state)
        fastest = float(np.max(self.rs_rate_1_h(hours, state) * brake))
        return min(_STEP_H, 0.3 / max(fastest, 1e-9), 2.0 / max(self.juice.cooling_k_h, 1e-9))

    def step(self, hours: float, state: FloatArray, length_h: float) -> FloatArray:
        """State one step later (classical Runge-Kutta)."""
        half = 0.5 * length_h
        first = self.change(hours, state)
        second = self.change(hours + half, state + half * first)
        third = self.change(hours + half, state + half * second)
        fourth = self.change(hours + length_h, state + length_h * third)
        return np.asarray(state + length_h / 6.0 * (first + 2.0 * second + 2.0 * third + fourth))

    def after(self, hours: float, state: FloatArray, until_h: float) -> FloatArray:
        """State at a later time."""
        while hours < until_h - 1e-9:
            length = min(self.longest_step_h(hours, state), until_h - hours)
            state = self.step(hours, state, length)
            hours += length
        return state


def stand(juice: Juice, hours: float, belief: Belief) -> Standing:
    """Work out what a hold does to sucrose, reducing sugars and pH.

    Parameters
    ----------
    juice : Juice
        The juice at the start.
    hours : float
        Length of the hold [h], above 0.
    belief : Belief
        Kinetics, and how far they are known.

    Returns
    -------
    Standing
        Course of the hold; intervals hold 90 % of what the belief allows.

    Raises
    ------
    ValueError
        If the hold is not longer than 0 h.

    Notes
    -----
    Sucrose inverts by `features.kinetics.inversion_1_h` at the hot pH; reducing sugars come from
    it and are destroyed by `rs_destruction_1_h`; the acids of that destruction lower the pH.
    Losses by microbes, which work below about 80 degC, are not in it.
    """
    if hours <= 0.0:
        raise ValueError(f"stand: a hold of {hours} h; give more than 0 h")
    pot = _pot(juice, belief, draw(belief))
    state, at, moments = _start(pot), 0.0, []
    for until in [*np.arange(0.0, hours - 1e-6), hours]:
        state, at = pot.after(at, state, float(until)), float(until)
        moments.append(_moment(pot, at, state))
    return Standing(tuple(moments), _hours_to_tenth(juice, belief), _beyond(moments, pot))


def _pot(juice: Juice, belief: Belief, draws: Draws) -> _Pot:
    """Set the juice up for a set of draws."""
    kinetics = belief.kinetics
    cold = np.full_like(draws.ph_slope, juice.ph)
    if juice.basis == "hot":
        cold = np.asarray(
            ph_at_sample(juice.ph, juice.temp_degc, draws.ph_slope, kinetics.ph_ref_degc)
        )
    # Per kg sucrose: grams destroyed to acid, over the buffer of the juice that holds the kg.
    acid_meq = 1e6 / _HEXOSE_G_MOL * ACIDS_PER_HEXOSE * draws.acid
    buffer_meq_ph = BUFFER_MEQ_KG_PH_BRIX * 1e4 / juice.purity_pct
    return _Pot(
        juice,
        kinetics.ph_ref_degc,
        kinetics.rs_per_sucrose_pct / 100.0,
        draws,
        cold,
        acid_meq / buffer_meq_ph,
    )


def _start(pot: _Pot) -> FloatArray:
    return np.zeros((2, pot.ph_cold.shape[0]))


def _moment(pot: _Pot, hours: float, state: FloatArray) -> Moment:
    lost = estimate(-100.0 * np.expm1(-state[0]))
    made = Estimate(*(INVERT_PER_SUCROSE * part for part in (lost.value, lost.low, lost.high)))
    ph = estimate(pot.ph(hours, state, pot.juice.basis))
    return Moment(hours, pot.temp_degc(hours), ph, lost, made)


def _hours_to_tenth(juice: Juice, belief: Belief) -> float | None:
    """Hours until `TENTH_PCT` of the sucrose is lost, by the central values."""
    draws = draw(belief)
    central = Draws(
        draws.multiplier[:1], draws.rs_rate_ph7_1_h[:1], draws.ph_slope[:1], draws.acid[:1]
    )
    pot = _pot(juice, belief, central)
    state, hours, dose = _start(pot), 0.0, -np.log1p(-TENTH_PCT / 100.0)
    while hours < LONGEST_H:
        length = min(pot.longest_step_h(hours, state), LONGEST_H - hours)
        later = pot.step(hours, state, length)
        if later[0, 0] >= dose:
            return hours + _within(pot, hours, state, length, float(dose))
        state, hours = later, hours + length
    return None


def _within(pot: _Pot, hours: float, state: FloatArray, length_h: float, dose: float) -> float:
    """Part of a step after which a dose is reached [h], by halving."""
    low, high = 0.0, length_h
    for _ in range(40):
        middle = 0.5 * (low + high)
        reached = pot.step(hours, state, middle)[0, 0] >= dose
        low, high = (low, middle) if reached else (middle, high)
    return high


def _beyond(moments: list[Moment], pot: _Pot) -> tuple[str, ...]:
    """Conditions outside the range of the published kinetics, in words."""
    kinetics_ph = [
        float(
            ph_at_process(m.ph.value, m.temp_degc, pot.draws.ph_slope[0], pot.ph_ref_degc)
            if pot.juice.basis == "cold"
            else m.ph.value
        )
        for m in moments
    ]
    found = []
    temps = [m.temp_degc for m in moments]
    for what, values, (low, high), unit in (
        ("juice temperature", temps, VALID_TEMP_DEGC, " degC"),
        ("pH of the hot juice", kinetics_ph, VALID_PH_HOT, ""),
    ):
        if min(values) < low or max(values) > high:
            found.append(
                f"{what} {min(values):.3g} to {max(values):.3g}{unit}; "
                f"the published kinetics hold from {low:g} to {high:g}{unit}"
            )
    return tuple(found)
