"""Layout of the simulated station: well-stirred cells, what flows into which, and the state."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.simulator import parameters as p
from models.simulator.parameters import PlantParameters

Floats = NDArray[np.float64]

#: Cells in flow order. The settler has five moving cells, a slow one and the mud.
PRIMARY, LIMING, SECONDARY, FLASH = 0, 1, 2, 3
CLEAR_FIRST, CLEAR_SECOND, CLEAR_LAST, SLOW, MUD = 4, 5, 8, 9, 10
TANK, HEATER, EVAPORATOR = 11, 12, 13
CELLS = 14
MOVING = 5
#: Cell that feeds each cell (the primary heater's feed is mixed juice).
UPSTREAM = np.array([0, 0, 1, 2, 3, 4, 5, 6, 7, 5, 4, 8, 11, 12])

#: Contents per cell: kg/m3, acids and alkali meq/L, temperature degC.
SUCROSE, RS, OTHER, ALKALI, PENDING, LACTIC, TEMP = range(7)
SPECIES = 7

#: Zones of the truth table, by the cells they hold.
ZONES: dict[str, tuple[int, ...]] = {
    "primary_heater": (0,),
    "liming_tank": (1,),
    "secondary_heater": (2,),
    "flash_tank": (3,),
    "settler": (4, 5, 6, 7, 8, 9),
    "settler:mud": (10,),
    "clear_juice_tank": (11,),
    "clear_juice_heater": (12,),
    "first_evaporator": (13,),
}
#: Zone beside the cells, where filtrate is returned.
FILTRATE_ZONE = "filtrate_tank"
ZONE_OF_CELL = np.array([[c in cells for c in range(CELLS)] for cells in ZONES.values()], float).T

#: Share of the juice that boils off in the flash tank.
FLASH_SHARE = 0.005
#: Heaters close in on their set-point with this time constant [min].
HEATER_MIN = 0.08
#: Cooling at 97 degC of every cell except the settler's [K/h].
COOLING_K_H = np.array([0, 0.4, 0, 0, 0, 0, 0, 0, 0, 0, 0.4, 0.8, 0, 0], float)
#: Temperature lost on the way into a cell [K]: launders, feed well, pipes.
PIPE_LOSS_K = np.array([0, 0, 0, 0, 2.25, 0, 0, 0, 0, 0, 0.4, 1.6, 0, 0], float)
#: Exchange between the moving and the slow part of the settler [m3/h].
EXCHANGE_M3_H = 18.0


@dataclass(slots=True)
class State:
    """Contents and volumes of every cell, one row a lane.

    Attributes
    ----------
    x : array, shape (7, L, 14)
        Contents by species.
    volume_m3 : array, shape (L, 14)
        Juice in each cell [m3].
    film : array, shape (L,)
        Growth of thermophiles in the liming tank (1 = full).
    integral, lime_ratio : array, shape (L,)
        Lime loop: integral term, and lime per juice relative to nominal.
    tank_draw : array, shape (L,)
        Slow average of the flow into the clear-juice tank [m3/h].
    filtrate : array, shape (8, L), or None
        Contents of the filtrate tank and, last, its volume [m3]; None where there is none.
    """

    x: Floats
    volume_m3: Floats
    film: Floats
    integral: Floats
    lime_ratio: Floats
    tank_draw: Floats
    filtrate: Floats | None = None

    def copy(self) -> State:
        """Return a state that shares nothing with this one."""
        return State(
            self.x.copy(),
            self.volume_m3.copy(),
            self.film.copy(),
            self.integral.copy(),
            self.lime_ratio.copy(),
            self.tank_draw.copy(),
            None if self.filtrate is None else self.filtrate.copy(),
        )


def stack(states: list[State]) -> State:
    """Put one-lane states side by side as the lanes of one state."""
    tanks = [s.filtrate for s in states if s.filtrate is not None]
    return State(
        np.concatenate([s.x for s in states], axis=1),
        np.concatenate([s.volume_m3 for s in states]),
        np.concatenate([s.film for s in states]),
        np.concatenate([s.integral for s in states]),
        np.concatenate([s.lime_ratio for s in states]),
        np.concatenate([s.tank_draw for s in states]),
        np.concatenate(tanks, axis=1) if tanks else None,
    )


def cell_shares(plant: PlantParameters) -> Floats:
    """Share of the settler's clear zone in each of its six cells, the slow one last."""
    moving = np.full(MOVING, (1.0 - plant.dead_fraction) / MOVING)
    return np.append(moving, plant.dead_fraction)


def fresh_state(plant: PlantParameters, feed: Floats) -> State:
    """One-lane state near nominal operation, filled with limed feed.

    Parameters
    ----------
    plant : PlantParameters
        The station.
    feed : array, shape (7,)
        Contents of mixed juice.

    Returns
    -------
    State
        Needs some hours of running in before it is of use.
    """
    x = np.repeat(feed[:, None], CELLS, axis=1)[:, None, :].copy()
    x[ALKALI, 0, 1:4] = 0.5 * plant.buffer_meq_l_ph
    x[ALKALI, 0, 4:] = 0.0
    x[PENDING, 0, CLEAR_FIRST:] = 0.0
    x[TEMP, 0] = [72, 72, 103, 100.3, 98, 97.7, 97.5, 97.3, 97, 97, 96, 95, 110, 113]
    volume = np.full((1, CELLS), 5.0)
    volume[0, PRIMARY] = 4.0
    volume[0, FLASH] = 6.0
    volume[0, LIMING] = plant.liming_m3 * p.LIMING_LEVEL_PCT / 100.0
    volume[0, CLEAR_FIRST : SLOW + 1] = plant.settler_m3 * cell_shares(plant)
    volume[0, MUD] = plant.mud_m3 * p.MUD_LEVEL_PCT / 100.0
    volume[0, TANK] = plant.clear_tank_m3 * p.TANK_LEVEL_PCT / 100.0
    volume[0, EVAPORATOR] = plant.evaporator_m3 * p.EVAPORATOR_LEVEL_PCT / 100.0
    one = np.ones(1)
    filtrate = _fresh_filtrate(plant, x[:, :, MUD])
    return State(x, volume, 5e-3 * one, 0.0 * one, one.copy(), 240.0 * one, filtrate)


def _fresh_filtrate(plant: PlantParameters, mud: Floats) -> Floats | None:
    manners = plant.manners
    if manners is None or not manners.filtrate_share:
        return None
    held = 0.8 * mud
    held[TEMP] = manners.filtrate_temp_degc
    volume = np.array([[manners.filtrate_share * p.FEED_M3_H * manners.filtrate_age_h]])
    return np.concatenate([held, volume])


def zones_of(plant: PlantParameters) -> tuple[str, ...]:
    """Zones of a plant in the order of ``Run.destroyed_kg_h``; the filtrate tank last, if any."""
    manners = plant.manners
    here = manners is not None and manners.filtrate_share > 0.0
    return (*ZONES, FILTRATE_ZONE) if here else tuple(ZONES)


def held_kg(state: State) -> float:
    """Sucrose in all vessels of the first lane [kg], the filtrate tank's with it."""
    held = float((state.x[SUCROSE, 0] * state.volume_m3[0]).sum())
    if state.filtrate is not None:
        held += float(state.filtrate[SUCROSE, 0] * state.filtrate[-1, 0])
    return held
