"""Mud filters and filtrate tank: juice of the mud, hours old and infected, on its way back.

The filters wash the mud, keep a share of its dissolved matter in the cake and pass the rest on at
once; the tank is well stirred and is emptied at a rate that follows the mill. What it destroys is
destroyed inside the station (`models.simulator.manners` says how the recycle is counted).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.cells import State
from models.simulator.chemistry import inversion_rate_1_h
from models.simulator.parameters import PlantParameters
from models.simulator.reactions import LACTIC_KG_KMOL, RS_PER_SUCROSE, React

Floats = NDArray[np.float64]

#: Washing leaves the filtrate at most this strong, relative to the mud's juice (judgement).
_STRONGEST = 0.95
#: Of what microbes eat and do not turn into lactic acid, this share becomes invert (judgement).
_TO_INVERT = 0.6
#: Lactic bacteria slow down under this pH and stop this far below it (judgement).
_SLOW_PH, _STOP_BELOW = 5.2, 0.7


class FilterStation:
    """Takes the settler's underflow and gives back filtrate; keeps its tank in ``State.filtrate``.

    Attributes
    ----------
    back_m3_h : array, shape (L,)
        Filtrate returned in this step [m3/h].
    cake_share : float
        Share of the mud's dissolved matter that leaves with the cake.
    destroyed_kg_h : array, shape (L,)
        Sucrose destroyed in the tank in the last step.
    """

    def __init__(self, plant: PlantParameters, react: React, lanes: int) -> None:
        manners = plant.manners
        if manners is None or not manners.filtrate_share:
            raise ValueError("this plant returns no filtrate; give it manners with filtrate_share")
        self.plant, self.manners, self.react = plant, manners, react
        self.to_mixed = manners.filtrate_to == "mixed"
        # Filtrate per underflow, and how strong it is. The mud grows with the filtrate returned.
        usual = manners.filtrate_share * p.FEED_M3_H
        self.per_mud = usual / (p.MUD_FLOW_M3_H * (1.0 + usual / p.SETTLER_FEED_M3_H))
        self.strength = min((1.0 - manners.filtrate_cake_share) / self.per_mud, _STRONGEST)
        self.cake_share = 1.0 - self.strength * self.per_mud
        self.eaten_kg_m3 = manners.filtrate_eaten_kg_m3_h * p.STEP_H
        self.by_eating, self.by_inversion = self._yields()
        self.back_m3_h = np.zeros(lanes)
        self.destroyed_kg_h = np.zeros(lanes)

    def give(self, s: State, rate: Floats) -> Floats:
        """Filtrate pumped back now [m3/h]; none to a standing mill."""
        self.back_m3_h = tank(s)[-1] / self.manners.filtrate_age_h * rate
        return self.back_m3_h

    def mix(self, s: State, inlet: Floats, fresh_m3_h: Floats, limed_m3_h: Floats) -> None:
        """Put the filtrate into what flows into primary heater or liming tank."""
        back, held = self.back_m3_h, tank(s)[: c.SPECIES]
        share = back / np.maximum(fresh_m3_h + back, 1e-9)
        if self.to_mixed:
            inlet[:, :, c.PRIMARY] += share * (held - inlet[:, :, c.PRIMARY])
            return
        # The inlet already carries the juice of the primary heater, thinned by filtrate and lime.
        inlet[: c.TEMP, :, c.LIMING] += back / np.maximum(limed_m3_h, 1e-9) * held[: c.TEMP]
        warm = inlet[c.TEMP, :, c.LIMING]
        warm += share * (held[c.TEMP] - warm)

    def take(self, s: State, under_m3_h: Floats) -> None:
        """Filter the underflow into the tank; before anything moves the mud's contents."""
        held = tank(s)
        inflow = self.per_mud * under_m3_h
        fresh = self.strength * s.x[:, :, c.MUD]
        fresh[c.TEMP] = self.manners.filtrate_temp_degc
        held[-1] += p.STEP_H * (inflow - self.back_m3_h)
        held[: c.SPECIES] += (p.STEP_H * inflow / held[-1]) * (fresh - held[: c.SPECIES])

    def rot(self, s: State, infection: Floats, multiplier: Floats) -> None:
        """Let microbes and acid at the tank for one step."""
        held = tank(s)
        sucrose, temp = held[c.SUCROSE], held[c.TEMP]
        solids = sucrose + held[c.RS] + held[c.OTHER]
        ph = 7.0 + held[c.ALKALI] / (self.react.buffer_per_solids * solids)
        alive = np.minimum(np.maximum(1.0 + (ph - _SLOW_PH) / _STOP_BELOW, 0.0), 1.0)
        eaten = np.minimum(self.eaten_kg_m3 * infection * alive, 0.01 * sucrose)
        hot = ph + self.plant.ph_slope * (temp - 25.0)
        brix = solids / (10.05 + 0.0035 * solids)
        rate = self.plant.kinetics_multiplier * multiplier * inversion_rate_1_h(temp, hot, brix)
        # Some hundredths of a per cent an hour: a straight line is exact enough.
        split = sucrose * (rate * p.STEP_H)
        held[: c.TEMP] += self.by_eating * eaten + self.by_inversion * split
        self.destroyed_kg_h = (eaten + split) * (held[-1] / p.STEP_H)

    def _yields(self) -> tuple[Floats, Floats]:
        """What a kilogram of sucrose eaten, or inverted, adds to the contents, shape (6, 1)."""
        eating, inversion = np.zeros((2, c.TEMP, 1))
        lactic = 1.0 / self.plant.sucrose_per_lactic
        to_invert = _TO_INVERT * (1.0 - lactic)
        eating[c.SUCROSE] = inversion[c.SUCROSE] = -1.0
        eating[c.RS], inversion[c.RS] = RS_PER_SUCROSE * to_invert, RS_PER_SUCROSE
        eating[c.OTHER] = 1.0 - lactic - to_invert
        eating[c.LACTIC] = lactic
        eating[c.ALKALI] = -lactic * 1000.0 / LACTIC_KG_KMOL
        return eating, inversion


def tank(s: State) -> Floats:
    """Contents of the filtrate tank and, last, its volume [m3], shape (8, L)."""
    if s.filtrate is None:
        raise ValueError("this state has no filtrate tank; start it with fresh_state of its plant")
    return s.filtrate
