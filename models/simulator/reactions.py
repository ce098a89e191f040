"""What happens inside the cells: inversion, decomposition of invert, acids, growth."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.simulator import cells as c
from models.simulator import parameters as p
from models.simulator.cells import State
from models.simulator.chemistry import (
    inversion_rate_1_h,
    juice_density_kg_m3,
    rs_destruction_rate_1_h,
)
from models.simulator.parameters import PlantParameters

Floats = NDArray[np.float64]

#: Invert made from sucrose [kg/kg] and molar masses [kg/kmol] (computed from the formulae).
RS_PER_SUCROSE = 2.0 * 180.156 / 342.297
_HEXOSE = 180.156
LACTIC_KG_KMOL = 90.078
#: Phosphate keeps this much acid back per pH unit below 7 [meq/L] (estimate).
_HELD_BACK_MEQ_L = 2.0
#: Thermophiles: best temperature, width [K], growth and kill rate [1/h] (estimate).
_BEST_DEGC, _WIDTH_K, _GROWTH_1_H, _KILL_1_H, _SEED = 56.0, 7.0, 1.6, 3.0, 5e-3


class React:
    """Reactions of every cell over one step."""

    def __init__(self, plant: PlantParameters, lanes: int) -> None:
        self.plant = plant
        self.ph = np.full((lanes, c.CELLS), 7.0)
        solids = 0.01 * p.BRIX_PCT * float(juice_density_kg_m3(np.array(p.BRIX_PCT)))
        # Buffer capacity follows the dissolved solids, so boiling water off leaves pH alone.
        self.buffer_per_solids = plant.buffer_meq_l_ph / solids
        self.solids = np.full((lanes, c.CELLS), solids)

    def refresh(self, s: State) -> None:
        """Work out cold pH from the alkali balance."""
        x = s.x
        self.solids = x[c.SUCROSE] + x[c.RS] + x[c.OTHER]
        self.ph = 7.0 + x[c.ALKALI] / (self.buffer_per_solids * self.solids)

    def step(self, s: State, vigour: Floats, multiplier: Floats) -> Floats:
        """React for one step; return sucrose destroyed [kg/h] by cell, shape (L, 14).

        `vigour` of the microbes and `multiplier`, the factor on the plant's kinetics, have one
        value a lane, shape (L,).
        """
        x, plant = s.x, self.plant
        temp = x[c.TEMP]
        hot = self.ph + plant.ph_slope * (temp - 25.0)
        # Good to 0.1 Brix, and far cheaper than the exact way round.
        brix = self.solids / (10.05 + 0.0035 * self.solids)
        faster = (plant.kinetics_multiplier * multiplier)[:, None]
        rate = faster * inversion_rate_1_h(temp, hot, brix)
        gone = x[c.SUCROSE] * (-np.expm1(-rate * p.STEP_H))
        x[c.SUCROSE] -= gone
        self._invert(x, gone)
        self._phosphate(x)
        gone[:, c.LIMING] += self._growth(s, vigour)
        self.refresh(s)
        return np.asarray(gone * s.volume_m3 / p.STEP_H)

    def _invert(self, x: Floats, gone: Floats) -> None:
        plant = self.plant
        rate = rs_destruction_rate_1_h(x[c.TEMP], self.ph, plant.rs_rate_ph7_1_h)
        lost = x[c.RS] * (rate * p.STEP_H)
        x[c.RS] += RS_PER_SUCROSE * gone - lost
        # Decomposed invert stays in solution.
        x[c.OTHER] += lost
        x[c.ALKALI] -= lost * (1000.0 * plant.acid_per_rs / _HEXOSE)

    def _phosphate(self, x: Floats) -> None:
        limed = x[c.PENDING, :, c.LIMING :]
        warm = np.exp(0.0693 * (x[c.TEMP, :, c.LIMING :] - 97.0))
        back = _HELD_BACK_MEQ_L * np.maximum(7.0 - self.ph[:, c.LIMING :], 0.0)
        share = np.minimum(warm * (p.STEP_S / 60.0 / self.plant.phosphate_min), 0.5)
        freed = np.maximum(limed - back, 0.0) * share
        x[c.PENDING, :, c.LIMING :] -= freed
        x[c.ALKALI, :, c.LIMING :] -= freed
        mud = np.clip((self.ph[:, c.MUD] - 6.1) / 0.65, 0.0, 2.0)
        x[c.ALKALI, :, c.MUD] -= self.plant.mud_acid_meq_l_h * p.STEP_H * mud

    def _growth(self, s: State, vigour: Floats) -> Floats:
        """Sucrose eaten in the liming tank over one step [kg/m3]."""
        temp = s.x[c.TEMP, :, c.LIMING]
        bell = np.exp(-(((temp - _BEST_DEGC) / _WIDTH_K) ** 2))
        killed = _KILL_1_H / (1.0 + np.exp(-(temp - 66.0) / 1.5))
        film = s.film
        film += p.STEP_H * film * (_GROWTH_1_H * bell * (1.0 - film) - killed)
        np.clip(film, _SEED, 1.0, out=film)
        # Starting cells do nothing that could be measured.
        eaten = self.plant.microbial_kg_m3_h * p.STEP_H * vigour * bell * (film - _SEED)
        lactic = eaten / self.plant.sucrose_per_lactic
        s.x[c.SUCROSE, :, c.LIMING] -= eaten
        s.x[c.OTHER, :, c.LIMING] += eaten - lactic
        s.x[c.LACTIC, :, c.LIMING] += lactic
        s.x[c.ALKALI, :, c.LIMING] -= lactic * (1000.0 / LACTIC_KG_KMOL)
        return eaten
