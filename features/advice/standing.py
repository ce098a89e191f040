"""Juice held hot: how much sucrose goes while it stands, and how long it may."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from features.base import FloatArray, Kinetics, Numeric
from features.kinetics import (
    INVERT_PER_SUCROSE,
    Draws,
    Estimate,
    Prior,
    beyond_words,
    draw,
    estimate,
    hold,
    inversion_1_h,
    ph_at_process,
    ph_at_sample,
)

Basis = Literal["cold", "hot"]
#: Juice standing in a mill cools to its surroundings and no further [degC].
COOLEST_DEGC = 20.0
#: Share of the sucrose whose loss the juice is given time for [%], and the longest time told [h].
TENTH_PCT, LONGEST_H = 0.1, 720.0
#: The acids made (formic, lactic) hold back their own protons: pH falls no further (memory: pKa).
LOWEST_PH = 3.5
#: Sucrose left that counts as none [-], and time that counts as none [h].
_NONE_LEFT, _INSTANT_H = 1e-9, 1e-9


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
    """The juice of every draw at one moment.

    Attributes
    ----------
    hours, temp_degc : float
        Time since the start [h] and temperature [degC].
    sucrose, reducing : ndarray, shape (draws,)
        Left, per sucrose at the start [-].
    ph_cold : ndarray, shape (draws,)
        pH of a cooled sample [-].
    """

    juice: Juice
    kinetics: Kinetics
    multiplier: FloatArray
    hours: float
    temp_degc: float
    sucrose: FloatArray
    reducing: FloatArray
    ph_cold: FloatArray

    def ph(self, basis: Basis) -> FloatArray:
        """Give the pH of each draw on one basis [-]."""
        if basis == "cold":
            return self.ph_cold
        slope, ref = self.kinetics.ph_slope, self.kinetics.ph_ref_degc
        return np.asarray(ph_at_process(self.ph_cold, self.temp_degc, slope, ref))

    def lost_pct(self) -> FloatArray:
        """Sucrose inverted so far [% of that at the start]."""
        return 100.0 * (1.0 - self.sucrose)

    def cooling_k_h(self) -> float:
        """Cooling now [K/h]: none once the juice is as cool as its surroundings."""
        return self.juice.cooling_k_h if self.temp_degc > COOLEST_DEGC else 0.0

    def longest_piece_h(self) -> float:
        """Time for which `hold` may go on by itself [h]: nothing runs out, nothing bends."""
        rates = self._lively() * inversion_1_h(self.ph("hot"), self.temp_degc, self.juice.brix_pct)
        until_cool = np.inf
        if self.cooling_k_h() > 0.0:
            until_cool = (self.temp_degc - COOLEST_DEGC) / self.cooling_k_h()
        return float(min(1.0, until_cool, 0.5 / max(np.max(rates), 1e-9)))

    def after(self, piece_h: float) -> _Pot:
        """Hold a piece of time on; at most `longest_piece_h`."""
        held = hold(
            self.ph_cold,
            self.temp_degc,
            self.juice.brix_pct,
            100.0 * self.reducing / self.sucrose,
            piece_h,
            cooling_k_h=self.cooling_k_h(),
            purity_pct=self.juice.purity_pct * self.sucrose,
            multiplier=self._lively(),
            kinetics=self.kinetics,
        )
        temp = max(self.temp_degc - self.cooling_k_h() * piece_h, COOLEST_DEGC)
        return replace(
            self,
            hours=self.hours + piece_h,
            temp_degc=temp,
            sucrose=np.maximum(self.sucrose * (1.0 - held.sucrose_lost_pct / 100.0), _NONE_LEFT),
            reducing=self.sucrose * held.rs_left_pct / 100.0,
            ph_cold=np.maximum(held.ph_end, np.minimum(self.ph_cold, LOWEST_PH)),
        )

    def until(self, hours: float) -> _Pot:
        """Hold until some hours after the start."""
        pot = self
        while pot.hours < hours - _INSTANT_H:
            pot = pot.after(min(pot.longest_piece_h(), hours - pot.hours))
        return pot

    def _lively(self) -> Numeric:
        """Multiplier of the draws that have any sucrose left."""
        return np.where(self.sucrose > 2.0 * _NONE_LEFT, self.multiplier, 0.0)


def stand(juice: Juice, hours: float, prior: Prior) -> Standing:
    """Work out what a hold does to sucrose, reducing sugars and pH.

    Parameters
    ----------
    juice : Juice
        The juice at the start.
    hours : float
        Length of the hold [h], above 0.
    prior : Belief
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
    Pieces of `features.kinetics.held.hold`, for all draws at once. Losses by microbes, which work
    below about 80 degC, are not in it.
    """
    if hours <= 0.0:
        raise ValueError(f"stand: a hold of {hours} h; give more than 0 h")
    draws = draw(prior)
    pots = [_filled(juice, prior, draws)]
    for until in [*np.arange(1.0, hours - _INSTANT_H), hours]:
        pots.append(pots[-1].until(float(until)))
    return Standing(
        tuple(_moment(pot) for pot in pots),
        _hours_to_tenth(_filled(juice, prior, draws.central())),
        _beyond(pots),
    )


def _filled(juice: Juice, prior: Prior, draws: Draws) -> _Pot:
    """Set the juice up for a set of draws."""
    usual = prior.kinetics
    ph_slope: Numeric = draws.ph_slope
    cold = np.full(draws.ph_slope.shape, juice.ph)
    if juice.basis == "hot":
        cold = np.asarray(ph_at_sample(juice.ph, juice.temp_degc, ph_slope, usual.ph_ref_degc))
    buffer: Numeric = draws.buffer_meq_kg_ph
    rs_rate: Numeric = draws.rs_rate_ph7_1_h
    acid: Numeric = draws.acid_per_hexose
    kinetics = replace(
        usual,
        ph_slope=ph_slope,
        rs_rate_ph7_1_h=rs_rate,
        acid_per_hexose=acid,
        buffer_meq_kg_ph=buffer,
    )
    reducing = np.full(cold.shape, usual.rs_per_sucrose_pct / 100.0)
    whole = np.ones(cold.shape)
    return _Pot(juice, kinetics, draws.multiplier, 0.0, juice.temp_degc, whole, reducing, cold)


def _moment(pot: _Pot) -> Moment:
    lost = estimate(pot.lost_pct())
    made = Estimate(*(INVERT_PER_SUCROSE * part for part in (lost.value, lost.low, lost.high)))
    return Moment(pot.hours, pot.temp_degc, estimate(pot.ph(pot.juice.basis)), lost, made)


def _hours_to_tenth(pot: _Pot) -> float | None:
    """Hours until `TENTH_PCT` of the sucrose is lost, by the central values."""
    while pot.hours < LONGEST_H:
        piece = min(pot.longest_piece_h(), LONGEST_H - pot.hours)
        later = pot.after(piece)
        if later.lost_pct()[0] >= TENTH_PCT:
            return pot.hours + _within(pot, piece)
        if later.temp_degc <= COOLEST_DEGC and _far_from_it(later):
            return None
        pot = later
    return None


def _far_from_it(pot: _Pot) -> bool:
    """Whether juice that cools no more cannot lose `TENTH_PCT`, were it ten times as fast."""
    rate = pot.multiplier[0] * inversion_1_h(pot.ph("hot")[0], pot.temp_degc, pot.juice.brix_pct)
    return bool(pot.lost_pct()[0] + 1000.0 * rate * (LONGEST_H - pot.hours) < TENTH_PCT)


def _within(pot: _Pot, piece_h: float) -> float:
    """Part of a piece after which `TENTH_PCT` is lost [h], by halving."""
    low, high = 0.0, piece_h
    for _ in range(40):
        middle = 0.5 * (low + high)
        reached = pot.after(middle).lost_pct()[0] >= TENTH_PCT
        low, high = (low, middle) if reached else (middle, high)
    return high


def _beyond(pots: list[_Pot]) -> tuple[str, ...]:
    """Conditions outside the ranges of the published formulas, in words."""
    return beyond_words(
        {
            "temp_degc": [pot.temp_degc for pot in pots],
            "ph_hot": [float(pot.ph("hot")[0]) for pot in pots],
            "ph_cold": [float(pot.ph_cold[0]) for pot in pots],
            "brix_pct": [pot.juice.brix_pct for pot in pots],
        }
    )
